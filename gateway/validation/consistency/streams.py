"""Looks at the first bytes of a compressed frame: of which family it is and what size it claims.

ISO/IEC 10918-1 B.2 (JPEG markers), 14495-1 C.2 (JPEG-LS), 15444-1 A.5 (JPEG 2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gateway.standard.transfer_syntaxes import Stream

_START_OF_FRAME: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_JPEG_LS_FRAME: Final = 0xF7
_STANDALONE: Final = frozenset({0x01, *range(0xD0, 0xD9)})


@dataclass(frozen=True, slots=True)
class StreamHead:
    """What the head of a frame says.

    Parameters
    ----------
    rows, columns : int
        0 where the head does not reach so far.
    """

    stream: Stream
    rows: int = 0
    columns: int = 0


def stream_head(head: bytes) -> StreamHead | None:
    """Return what the head of a still-picture stream says, or None where it is none that is known here."""
    if head[:4] == b"\xff\x4f\xff\x51" and len(head) >= 24:
        numbers = [int.from_bytes(head[at : at + 4], "big") for at in range(8, 24, 4)]
        return StreamHead(Stream.JPEG_2000, numbers[1] - numbers[3], numbers[0] - numbers[2])
    if head[:4] == b"\xff\x4f\xff\x51":
        return StreamHead(Stream.JPEG_2000)
    if head[:12] == b"\0\0\0\x0cjP  \r\n\x87\n":
        return StreamHead(Stream.JPEG_2000)
    if head[:3] == b"\xff\xd8\xff":
        return _jpeg(head)
    return None


def _jpeg(head: bytes) -> StreamHead | None:
    at = 2
    while at + 9 <= len(head) and head[at] == 0xFF:
        marker = head[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker in _STANDALONE:
            at += 2
            continue
        if marker in _START_OF_FRAME or marker == _JPEG_LS_FRAME:
            stream = Stream.JPEG_LS if marker == _JPEG_LS_FRAME else Stream.JPEG
            return StreamHead(
                stream, int.from_bytes(head[at + 5 : at + 7], "big"), int.from_bytes(head[at + 7 : at + 9], "big")
            )
        at += 2 + int.from_bytes(head[at + 2 : at + 4], "big")
    return None
