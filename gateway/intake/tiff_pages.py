"""The directories of a TIFF file (TIFF 6.0, section 2): which pictures it holds, and whether their data are there."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO, Final

from gateway.errors.media import MediaTooLargeError
from gateway.intake.media_file import ensure_possible_size
from gateway.intake.still_structure import damaged, truncated

MOST_PAGES: Final = 100_000
"""Pictures of one file: an hour at 25 frames a second."""
_MOST_VALUES: Final = 2**20
_LETTERS: Final = {1: "B", 3: "H", 4: "I"}
_SUBFILE, _COLUMNS, _ROWS = 254, 256, 257
_PLACES: Final = ((273, 279), (324, 325))
"""Where strips or tiles begin, and how long they are."""
_REDUCED, _MASK = 1, 4


@dataclass(frozen=True, slots=True)
class TiffPage:
    """One directory.

    Parameters
    ----------
    number : int
        Its place in the chain, from 0.
    is_picture : bool
        Whether it is a picture of its own, and no reduced version of another one or a mask.
    """

    number: int
    is_picture: bool


def tiff_pages(file: BinaryIO, name: str) -> tuple[TiffPage, ...]:
    """Walk the chain of directories.

    Raises
    ------
    MediaTruncatedError
        If a directory or a picture's data lie beyond the end.
    MediaDamagedError
        If the chain leads in a circle, or holds no picture.
    MediaTooLargeError
        For more than `MOST_PAGES`, or too large a picture.
    """
    tiff = _opened(file, name)
    at = tiff.number_at(4, "I")
    pages: list[TiffPage] = []
    seen: set[int] = set()
    while at:
        if at in seen:
            raise damaged(name, "directories that lead in a circle")
        if len(pages) == MOST_PAGES:
            raise MediaTooLargeError(
                "the file holds too many pictures", where=name, was=f"over {MOST_PAGES}", fix="split it"
            )
        seen.add(at)
        entries, at = _directory(tiff, at)
        kind = entries.get(_SUBFILE, (0,))[0]
        is_picture = not kind & (_REDUCED | _MASK)
        if is_picture:
            _check_picture(entries, tiff)
        pages.append(TiffPage(len(pages), is_picture))
    if not any(page.is_picture for page in pages):
        raise damaged(name, "a TIFF without a picture")
    return tuple(pages)


@dataclass(frozen=True, slots=True)
class _Tiff:
    """A file with its length and order of bytes."""

    file: BinaryIO
    name: str
    size: int
    order: str

    def bytes_at(self, at: int, count: int) -> bytes:
        if at + count > self.size:
            raise truncated(self.name, f"{self.size} bytes of at least {at + count}")
        self.file.seek(at)
        return self.file.read(count)

    def number_at(self, at: int, letter: str) -> int:
        content = self.bytes_at(at, struct.calcsize(self.order + letter))
        (found,) = struct.unpack(self.order + letter, content)
        return int(found)


def _opened(file: BinaryIO, name: str) -> _Tiff:
    size = file.seek(0, 2)
    file.seek(0)
    return _Tiff(file, name, size, "<" if file.read(2) == b"II" else ">")


def _directory(tiff: _Tiff, at: int) -> tuple[Mapping[int, tuple[int, ...]], int]:
    """Return the whole numbers of a directory by tag, and where the next one begins."""
    count = tiff.number_at(at, "H")
    table = tiff.bytes_at(at + 2, 12 * count + 4)
    wanted = {_SUBFILE, _COLUMNS, _ROWS, *(tag for pair in _PLACES for tag in pair)}
    entries: dict[int, tuple[int, ...]] = {}
    for start in range(0, 12 * count, 12):
        tag, kind, length = struct.unpack_from(tiff.order + "HHI", table, start)
        if tag in wanted and kind in _LETTERS and length:
            entries[tag] = _values(tiff, kind, length, table[start + 8 : start + 12])
    (following,) = struct.unpack_from(tiff.order + "I", table, 12 * count)
    return entries, following


def _values(tiff: _Tiff, kind: int, length: int, place: bytes) -> tuple[int, ...]:
    if length > _MOST_VALUES:
        raise damaged(tiff.name, f"a list of {length} numbers")
    pattern = f"{tiff.order}{length}{_LETTERS[kind]}"
    needed = struct.calcsize(pattern)
    if needed > 4:
        (at,) = struct.unpack(tiff.order + "I", place)
        place = tiff.bytes_at(at, needed)
    return struct.unpack(pattern, place[:needed])


def _check_picture(entries: Mapping[int, tuple[int, ...]], tiff: _Tiff) -> None:
    size, name = tiff.size, tiff.name
    columns, rows = entries.get(_COLUMNS, (0,))[0], entries.get(_ROWS, (0,))[0]
    if not columns or not rows:
        raise damaged(name, f"a size of {columns} x {rows}")
    ensure_possible_size(columns, rows, name)
    for starts, lengths in _PLACES:
        ends = [at + length for at, length in zip(entries.get(starts, ()), entries.get(lengths, ()), strict=False)]
        if ends and max(ends) > size:
            raise truncated(name, f"{size} bytes of at least {max(ends)}")
