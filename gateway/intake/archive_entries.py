"""What the directory of a ZIP archive says, checked before anything is unpacked (APPNOTE.TXT 6.3.10 of ZIP)."""

from __future__ import annotations

import re
import stat
import unicodedata
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import BinaryIO, Final

from gateway.errors.archives import (
    ArchiveDamagedError,
    ArchiveEncryptedError,
    ArchiveEntryKindError,
    ArchiveNameError,
    ArchiveOverlapError,
    ArchivePathError,
    ArchiveTooLargeError,
    ArchiveVariantError,
)

_ENCRYPTED: Final = 0x0001 | 0x0040 | 0x2000
"""Bits of the general purpose flag: encrypted, strongly encrypted, directory masked (4.4.4)."""
_NAMES_IN_UTF8: Final = 0x0800
_METHODS: Final = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_LOCAL_HEADER_BYTES: Final = 30
_LONGEST_STEP_BYTES: Final = 255
_LONGEST_PATH: Final = 400
_SYSTEM_FOLDER: Final = "__MACOSX"
"""Where one system keeps notes of its own beside every file (common practice)."""


@dataclass(frozen=True, slots=True)
class ArchiveLimits:
    """Beyond these an archive is refused.

    Parameters
    ----------
    entries : int
    entry_bytes, total_bytes : int
        Unpacked.
    ratio : int
        Unpacked bytes over the archive's bytes, once more than `ratio_from_bytes` are unpacked: black pictures
        without compression shrink a thousandfold, so a small archive may.
    """

    entries: int = 20_000
    entry_bytes: int = 4 * 2**30
    total_bytes: int = 16 * 2**30
    ratio: int = 300
    ratio_from_bytes: int = 256 * 2**20


@dataclass(frozen=True, slots=True)
class ArchiveEntry:
    """One entry that may be unpacked.

    Parameters
    ----------
    info : ZipInfo
    path : str
        As it stands in the archive.
    steps : tuple of str
        Folders and file, without a single folder at the top of the archive.
    is_left_out : bool
        Whether it is a system's own note and no part of the exam.
    """

    info: zipfile.ZipInfo
    path: str
    steps: tuple[str, ...]
    is_folder: bool
    is_left_out: bool

    @property
    def size_bytes(self) -> int:
        """Unpacked."""
        return self.info.file_size


def checked_entries(
    file: BinaryIO, opened: zipfile.ZipFile, size: int, limits: ArchiveLimits, name: str
) -> tuple[ArchiveEntry, ...]:
    """Return the entries of an archive, or refuse it.

    Parameters
    ----------
    file : BinaryIO
        The archive.
    opened : ZipFile
        The same, its directory read.
    size : int
        Its bytes.

    Raises
    ------
    ArchiveError
    """
    infos = opened.infolist()
    _refuse_size(infos, size, limits, name)
    paths = [_path_of(info, name) for info in infos]
    for info, path in zip(infos, paths, strict=True):
        _refuse_kind(info, f"{name}/{path}")
    _refuse_same_names(infos, paths, name)
    _refuse_overlaps(file, infos, opened.start_dir, name)
    kept = [path for path in paths if not _is_system_note(path)]
    top = _single_folder(kept)
    entries = []
    for info, path in zip(infos, paths, strict=True):
        left_out = _is_system_note(path)
        steps = tuple(path.split("/"))
        entries.append(ArchiveEntry(info, path, steps if left_out else steps[top:], info.is_dir(), left_out))
    return tuple(entries)


def single_folder(entries: Sequence[ArchiveEntry]) -> str:
    """Return the name of the one folder in which all entries lie, or nothing."""
    kept = [entry.path for entry in entries if not entry.is_left_out]
    return kept[0].split("/")[0] if _single_folder(kept) else ""


def _refuse_size(infos: Sequence[zipfile.ZipInfo], size: int, limits: ArchiveLimits, name: str) -> None:
    total = sum(info.file_size for info in infos)
    largest = max((info.file_size for info in infos), default=0)
    was = ""
    if len(infos) > limits.entries:
        was = f"{len(infos)} entries, at most {limits.entries}"
    elif largest > limits.entry_bytes:
        was = f"an entry of {largest} bytes, at most {limits.entry_bytes}"
    elif total > limits.total_bytes:
        was = f"{total} bytes, at most {limits.total_bytes}"
    elif total > limits.ratio_from_bytes and total > limits.ratio * size:
        was = f"{total} bytes from {size}, at most {limits.ratio} times"
    if was:
        raise ArchiveTooLargeError(
            "the archive is too large unpacked", where=name, was=was, fix="check where it is from"
        )


# ---------------------------------------------------------------- names


def _path_of(info: zipfile.ZipInfo, name: str) -> str:
    """Return the path of an entry without the slash at the end of a folder."""
    # The library cuts a name at its first NUL; the name as written is judged.
    written = info.orig_filename
    if not info.flag_bits & _NAMES_IN_UTF8 and not written.isascii():
        raise ArchiveNameError(
            "the character set of a name is not stated", where=name, was=_shown(written), fix="zip it with UTF-8 names"
        )
    path = written.removesuffix("/")
    steps = path.split("/")
    is_plain = all(step.strip(" .") and step == step.strip() for step in steps)
    if not is_plain or re.search(r"[\\\x00-\x1f\x7f-\x9f]", written) or re.match("[A-Za-z]:", written):
        raise ArchivePathError("this is not a path inside the folder", where=name, was=_shown(written), fix=_AGAIN)
    if len(path) > _LONGEST_PATH or any(len(step.encode("utf-8", "replace")) > _LONGEST_STEP_BYTES for step in steps):
        raise ArchivePathError("a name is too long", where=name, was=f"{len(path)} characters", fix="shorten it")
    return path


_AGAIN = "zip the folder itself, with relative names"


def _shown(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text[:60])


def _key(path: str) -> str:
    """Return what two names share that are one file on some machine."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def _refuse_same_names(infos: Sequence[zipfile.ZipInfo], paths: Sequence[str], name: str) -> None:
    files: set[str] = set()
    folders: dict[str, str] = {}
    for info, path in zip(infos, paths, strict=True):
        steps = path.split("/")
        for count in range(1, len(steps) + info.is_dir()):
            folder = "/".join(steps[:count])
            if folders.setdefault(_key(folder), folder) != folder:
                raise _same(folder, name)
        if not info.is_dir():
            if _key(path) in files:
                raise _same(path, name)
            files.add(_key(path))
    both = files & folders.keys()
    if both:
        raise _same(folders[min(both)], name)


def _same(path: str, name: str) -> ArchiveNameError:
    return ArchiveNameError("two entries have one name", where=name, was=_shown(path), fix="rename one and zip again")


def _is_system_note(path: str) -> bool:
    steps = path.split("/")
    return steps[0] == _SYSTEM_FOLDER or steps[-1] == ".DS_Store"


def _single_folder(paths: Sequence[str]) -> int:
    """Return 1 where everything lies in one folder at the top, else 0."""
    tops = {path.split("/")[0] for path in paths}
    return int(len(tops) == 1 and any("/" in path for path in paths))


# ---------------------------------------------------------------- what entries are, and where they lie


def _refuse_kind(info: zipfile.ZipInfo, where: str) -> None:
    if info.flag_bits & _ENCRYPTED:
        raise ArchiveEncryptedError("an entry is encrypted", where=where, fix="zip it without a password")
    # The upper half holds a Unix mode where the archive was made there (4.4.15); elsewhere it is 0.
    kind = stat.S_IFMT(info.external_attr >> 16)
    if kind not in {0, stat.S_IFREG, stat.S_IFDIR} or (kind and (kind == stat.S_IFDIR) is not info.is_dir()):
        what = "a link" if kind == stat.S_IFLNK else f"a mode of {kind:o}"
        raise ArchiveEntryKindError(
            "an entry is neither a file nor a folder", where=where, was=what, fix="zip it with links followed"
        )
    if info.compress_type not in _METHODS:
        raise ArchiveVariantError(
            "this compression inside ZIP is not read",
            where=where,
            was=f"method {info.compress_type}",
            fix="zip it with usual settings",
        )
    if info.is_dir() and info.file_size:
        raise ArchiveDamagedError(
            "a folder with content", where=where, was=f"{info.file_size} bytes", fix="zip it again"
        )


def _refuse_overlaps(file: BinaryIO, infos: Sequence[zipfile.ZipInfo], directory_at: int, name: str) -> None:
    """Hold the places of all entries against one another; the lengths of local headers are read from the file."""
    places = []
    for info in infos:
        file.seek(max(info.header_offset, 0))
        header = file.read(_LOCAL_HEADER_BYTES)
        if info.header_offset < 0 or header[:4] != b"PK\x03\x04" or len(header) < _LOCAL_HEADER_BYTES:
            raise ArchiveDamagedError(
                "the archive is damaged",
                where=f"{name}/{_shown(info.filename)}",
                was="no entry where the directory says",
            )
        extra = int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little")
        places.append((info.header_offset, info.header_offset + _LOCAL_HEADER_BYTES + extra + info.compress_size))
    places.sort()
    # The directory comes after all entries; what reaches into it shares bytes as well.
    places.append((directory_at, directory_at))
    shared = next((after for before, after in pairwise(places) if after[0] < before[1]), None)
    if shared:
        raise ArchiveOverlapError("two entries share bytes", where=name, was=f"at byte {shared[0]}", fix=_COPY)


_COPY = "copy or zip it again"
