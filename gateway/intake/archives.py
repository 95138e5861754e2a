"""Exams that come as one ZIP archive: unpacked wholly into a private folder, or refused before anything is used.

What the directory of an archive says is checked first, entry by entry (`archive_entries`); then each entry is written
in pieces, its length and checksum held against what was stated.
"""

from __future__ import annotations

import lzma
import os
import shutil
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Final

from gateway.errors import GatewayError
from gateway.errors.archives import (
    ArchiveDamagedError,
    ArchiveError,
    ArchiveNameError,
    ArchiveTooLargeError,
    ArchiveVariantError,
)
from gateway.errors.document import SeveralProblemsError
from gateway.errors.media import MediaMissingError, MediaNotReadableError
from gateway.intake.archive_entries import ArchiveEntry, ArchiveLimits, checked_entries, single_folder

_PIECE: Final = 2**20
_LARGEST_DIRECTORY: Final = 8 * 2**20
"""Bytes of the central directory: 20 000 entries with long names."""
_MARKS: Final = (b"PK\x03\x04", b"PK\x05\x06")
_END: Final = b"PK\x05\x06"
_END_BYTES: Final = 22
_LONGEST_COMMENT: Final = 2**16


def is_archive(path: Path) -> bool:
    """Whether a path is a ZIP archive: by its first bytes, or by its name where it is too short for them."""
    try:
        with path.open("rb") as file:
            head = file.read(4)
    except OSError:
        return False
    return head in _MARKS or path.suffix.lower() == ".zip"


@dataclass(frozen=True, slots=True)
class Unpacked:
    """Where an archive was unpacked.

    Parameters
    ----------
    folder : Path
        Holds what the archive holds. A single folder at its top is this one and gives it its name; else its name is the
        archive's without ending.
    left_out : tuple of str
        Entries that one system adds for itself and that were not unpacked.
    """

    folder: Path
    left_out: tuple[str, ...]


@contextmanager
def unpacked(archive: Path, limits: ArchiveLimits | None = None) -> Iterator[Unpacked]:
    """Unpack an archive into a folder that only this user may enter, and remove it at the end.

    Parameters
    ----------
    archive : Path
    limits : ArchiveLimits, optional
        Beyond which it is refused.

    Raises
    ------
    ArchiveError
        Its subclasses name the reason: damaged, a variant that is not read, encrypted, names that lead out of the
        folder or cannot be known, links, too large, entries that share bytes.
    MediaMissingError, MediaNotReadableError
        If the file is not there or cannot be read, or the folder cannot be written.
    """
    found = limits or ArchiveLimits()
    with tempfile.TemporaryDirectory(prefix="exam-", ignore_cleanup_errors=True) as private:
        inside = _unpack(archive, Path(private), found)
        try:
            yield inside
        except GatewayError as error:
            _name_archive(error, inside.folder, archive)
            raise


def _name_archive(error: GatewayError, folder: Path, archive: Path) -> None:
    """Let an error name the archive that a person knows instead of the folder it was unpacked into."""
    problems = error.problems if isinstance(error, SeveralProblemsError) else ()
    for one in (error, *problems):
        one.was = one.was.replace(str(folder), str(archive))
        if isinstance(one.where, str):
            one.where = one.where.replace(str(folder), str(archive))
        else:
            one.where = replace(one.where, file=one.where.file.replace(str(folder), str(archive)))


def _unpack(archive: Path, private: Path, limits: ArchiveLimits) -> Unpacked:
    name = archive.name
    try:
        with archive.open("rb") as file:
            size = _refuse_large_directory(file, name)
            with _opened(file, name) as opened:
                entries = checked_entries(file, opened, size, limits, name)
                target = private / (single_folder(entries) or archive.stem.strip(". ") or "exam")
                target.mkdir(mode=0o700)
                wanted = [entry for entry in entries if not entry.is_left_out]
                _refuse_full_disk(wanted, target, name)
                for entry in wanted:
                    _write(opened, entry, target, name)
    except GatewayError:
        raise
    except FileNotFoundError as error:
        raise MediaMissingError("there is no such archive", where=name, fix="mend the path") from error
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise MediaNotReadableError(
            "the archive cannot be unpacked", where=name, was=reason, fix="check permissions and space on the disk"
        ) from error
    return Unpacked(target, tuple(entry.path for entry in entries if entry.is_left_out))


def _refuse_large_directory(file: BinaryIO, name: str) -> int:
    """Look for the end record before the library reads a directory of any length; return the size of the file."""
    size = file.seek(0, os.SEEK_END)
    tail_bytes = min(size, _END_BYTES + _LONGEST_COMMENT)
    file.seek(size - tail_bytes)
    tail = file.read(tail_bytes)
    at = tail.rfind(_END)
    if at < 0 or at + _END_BYTES > len(tail):
        raise _damaged(name, f"{size} bytes without an end record")
    directory_bytes = int.from_bytes(tail[at + 12 : at + 16], "little")
    if directory_bytes == 2**32 - 1:
        # A ZIP64 archive: its directory lies before the two records of 56 and 20 bytes that precede this one.
        file.seek(max(size - tail_bytes + at - 76, 0))
        record = file.read(56)
        directory_bytes = int.from_bytes(record[40:48], "little")
    if directory_bytes > _LARGEST_DIRECTORY:
        raise ArchiveTooLargeError(
            "the archive holds too many entries", where=name, was=f"a directory of {directory_bytes} bytes", fix=_SPLIT
        )
    return size


_SPLIT = "hand over one exam in each archive"


def _damaged(name: str, was: str) -> ArchiveDamagedError:
    return ArchiveDamagedError("the archive is damaged", where=name, was=was, fix="copy or zip it again")


_FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    struct.error,
    ValueError,
    OverflowError,
    IndexError,
)


def _guarded(name: str, error: Exception) -> ArchiveError:
    """Return what an error of the library means."""
    if isinstance(error, NotImplementedError | RuntimeError | zipfile.LargeZipFile):
        return ArchiveVariantError(
            "this variant of ZIP is not read", where=name, was=str(error)[:80].lower(), fix="zip it with usual settings"
        )
    if isinstance(error, UnicodeError):
        return ArchiveNameError("a name is not the UTF-8 that it claims to be", where=name, fix="zip it again")
    return _damaged(name, str(error)[:80].lower() or type(error).__name__)


@contextmanager
def _opened(file: BinaryIO, name: str) -> Iterator[zipfile.ZipFile]:
    file.seek(0)
    opened = _run(name, lambda: zipfile.ZipFile(file))
    with opened:
        yield opened


def _run(name: str, action: Callable[[], zipfile.ZipFile]) -> zipfile.ZipFile:
    try:
        return action()
    except (*_FAULTS, NotImplementedError, RuntimeError) as error:
        raise _guarded(name, error) from error


def _refuse_full_disk(entries: Sequence[ArchiveEntry], target: Path, name: str) -> None:
    needed, free = sum(entry.size_bytes for entry in entries), shutil.disk_usage(target).free
    if needed > free:
        raise ArchiveTooLargeError(
            "the disk has no room for the archive", where=name, was=f"{needed} bytes, {free} free", fix="make room"
        )


def _write(opened: zipfile.ZipFile, entry: ArchiveEntry, target: Path, name: str) -> None:
    path = target.joinpath(*entry.steps)
    if entry.is_folder:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        return
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    # Nothing is written through a file that stands there already, however it came to be.
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0), 0o600)
    written = 0
    with os.fdopen(descriptor, "wb") as out:
        try:
            with opened.open(entry.info) as content:
                while piece := content.read(_PIECE):
                    written += len(piece)
                    if written > entry.size_bytes:
                        break
                    out.write(piece)
        except (*_FAULTS, NotImplementedError, RuntimeError) as error:
            raise _guarded(f"{name}/{entry.path}", error) from error
    if written != entry.size_bytes:
        raise _damaged(f"{name}/{entry.path}", f"{written} of {entry.size_bytes} bytes")
