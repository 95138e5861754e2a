"""AVI files put together byte by byte, as RIFF and Microsoft's AVI header define them; no library has a say in them."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

GREYS = b"".join(bytes((level, level, level, 0)) for level in range(256))
"""A palette in which each index is its own grey."""


def chunk(kind: bytes, content: bytes) -> bytes:
    return kind + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def chunk_list(kind: bytes, *chunks: bytes) -> bytes:
    return chunk(b"LIST", kind + b"".join(chunks))


def bottom_up(picture: NDArray[np.uint8]) -> bytes:
    """Lay a picture out as a device-independent bitmap: last line first, lines padded to four bytes."""
    lines = picture.reshape(picture.shape[0], -1)
    return np.pad(lines, ((0, 0), (0, -lines.shape[1] % 4)))[::-1].tobytes()


def avi(
    frames: Sequence[bytes],
    width: int,
    height: int,
    *,
    bits: int,
    compression: bytes = b"\0\0\0\0",
    palette: bytes = b"",
    stated: int | None = None,
    with_index: bool = True,
) -> bytes:
    """Return an AVI of one video track at 20 frames per second.

    `stated` is the number of frames that its headers claim; an empty frame is an empty chunk.
    """
    stated = len(frames) if stated is None else stated
    largest = max(len(frame) for frame in frames)
    main = struct.pack("<14I", 50_000, 0, 0, 0x10, stated, 0, 1, largest, width, height, 0, 0, 0, 0)
    stream = struct.pack(
        "<4s4sIHHIIIIIIII4H", b"vids", compression, 0, 0, 0, 0, 1, 20, 0, stated, largest, 0, 0, 0, 0, width, height
    )
    bitmap = struct.pack("<IiiHH4sIiiII", 40, width, height, 1, bits, compression, largest, 0, 0, len(palette) // 4, 0)
    header = chunk_list(
        b"hdrl",
        chunk(b"avih", main),
        chunk_list(b"strl", chunk(b"strh", stream), chunk(b"strf", bitmap + palette)),
    )
    body = header + chunk_list(b"movi", *(chunk(b"00db", frame) for frame in frames))
    if with_index:
        body += chunk(b"idx1", _index(frames))
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"AVI " + body


def _index(frames: Sequence[bytes]) -> bytes:
    entries, offset = [], 4
    for frame in frames:
        entries.append(struct.pack("<4sIII", b"00db", 0x10 if frame else 0, offset, len(frame)))
        offset += 8 + len(frame) + len(frame) % 2
    return b"".join(entries)
