"""Whether a movie file is whole, seen from its outermost parts: RIFF chunks of AVI, boxes of MP4.

A decoder makes do with what is left of a cut file. Both formats say at their top level how long they are, so a file
that ends before its last part does is known to be cut, however well its first frames play.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from gateway.errors.media import MediaNotReadableError
from gateway.intake.media_file import MediaFormat


@dataclass(frozen=True, slots=True)
class Shortfall:
    """How a movie file is incomplete, in words for a message."""

    words: str


def shortfall_of(path: Path, media_format: MediaFormat, name: str) -> Shortfall | None:
    """Return how the file is incomplete, or None where its outermost parts are all there.

    Raises
    ------
    MediaNotReadableError
        If the file cannot be read.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            return _avi_shortfall(file, size) if media_format is MediaFormat.AVI else _mp4_shortfall(file, size)
    except OSError as error:
        raise MediaNotReadableError(
            "the file cannot be read", where=name, was=str(error), fix="copy it again"
        ) from error


def _avi_shortfall(file: BinaryIO, size: int) -> Shortfall | None:
    """Walk the chunks: a long AVI is a row of them, ``AVI `` and then ``AVIX`` (OpenDML 1.02)."""
    position = 0
    while position + 12 <= size:
        file.seek(position)
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:12] not in {b"AVI ", b"AVIX"}:
            # What follows the last RIFF chunk is padding or a foreign note.
            return None
        length = int.from_bytes(head[4:8], "little")
        if length == 0:
            return Shortfall("the recording was never finished: its header holds no length")
        position += 8 + length + length % 2
        # The pad byte after an odd last chunk is left out by some writers.
        if position - length % 2 > size:
            return Shortfall(f"{size} bytes of {position - length % 2}")
    return None


def count_empty_avi_frames(path: Path) -> int:
    """Return how many frames of an AVI are empty chunks: recorders leave one where they dropped a frame.

    An empty chunk asks for the frame before to be shown once more; decoders skip it.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        return _empty_frames(file, 0, size)


def _empty_frames(file: BinaryIO, start: int, end: int) -> int:
    count, position = 0, start
    while position + 8 <= end:
        file.seek(position)
        kind, length = file.read(4), int.from_bytes(file.read(4), "little")
        if kind in {b"RIFF", b"LIST"}:
            if file.read(4) in {b"AVI ", b"AVIX", b"movi", b"rec "}:
                count += _empty_frames(file, position + 12, min(position + 8 + length, end))
        elif kind[2:] in {b"db", b"dc"} and length == 0:
            count += 1
        position += 8 + length + length % 2
    return count


def _mp4_shortfall(file: BinaryIO, size: int) -> Shortfall | None:
    """Walk the boxes, which follow one another to the end of the file (ISO/IEC 14496-12, 4.2)."""
    kinds = set()
    for kind, end in _boxes(file, size):
        kinds.add(kind)
        if end > size:
            return Shortfall(f"{size} bytes of {end}")
    if b"moov" not in kinds:
        return Shortfall("the recording was never finished: its table of frames (moov) is missing")
    return None


def _boxes(file: BinaryIO, size: int) -> Iterator[tuple[bytes, int]]:
    """Yield kind and end of each box at the top level."""
    position = 0
    while position < size:
        file.seek(position)
        head = file.read(16)
        length, kind, least = int.from_bytes(head[:4], "big"), head[4:8], 8
        if length == 1:
            length, least = int.from_bytes(head[8:16], "big"), 16
        elif length == 0:
            length = size - position
        if length < least or len(head) < 8:
            # Padding, or the rest of a box header: nothing that could hold frames begins here.
            yield b"", position + least if len(head) < 8 else size
            return
        position += length
        yield kind, position
