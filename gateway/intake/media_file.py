"""A media file before it is decoded: what its first bytes say it is, whether it may be read, and its digest."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from gateway.errors.media import (
    MediaChangedError,
    MediaFormatError,
    MediaMissingError,
    MediaNotReadableError,
    MediaTooLargeError,
)

MAX_PIXELS = 40_000_000
"""Pixels of one picture: five times a 4K display, which no ultrasound display reaches."""
MAX_SIDE = 65_535
"""Rows and Columns are unsigned 16-bit numbers (PS3.5 6.2, VR US)."""
MAX_STILL_BYTES = 256 * 2**20
"""Bytes of a still: more than `MAX_PIXELS` of 24-bit colour without compression need."""


class MediaFormat(StrEnum):
    """File formats that are accepted; the value is the name shown to people."""

    PNG = "PNG"
    JPEG = "JPEG"
    TIFF = "TIFF"
    BMP = "BMP"
    GIF = "GIF"
    AVI = "AVI"
    MP4 = "MP4"

    @property
    def is_movie(self) -> bool:
        """Whether the format holds frames instead of one picture."""
        return self in {MediaFormat.AVI, MediaFormat.MP4}

    @property
    def may_hold_several(self) -> bool:
        """Whether a file may hold one picture or several."""
        return self in {MediaFormat.PNG, MediaFormat.TIFF, MediaFormat.GIF}


_ACCEPTED = (
    (0, b"\x89PNG\r\n\x1a\n", MediaFormat.PNG),
    (0, b"\xff\xd8\xff", MediaFormat.JPEG),
    (0, b"II*\x00", MediaFormat.TIFF),
    (0, b"MM\x00*", MediaFormat.TIFF),
    (0, b"BM", MediaFormat.BMP),
    (0, b"GIF87a", MediaFormat.GIF),
    (0, b"GIF89a", MediaFormat.GIF),
    (8, b"AVI ", MediaFormat.AVI),
    (4, b"ftyp", MediaFormat.MP4),
)
# What clinics also have lying about; named so that the message can say what was found.
_OTHERS = (
    (4, b"ftypqt  ", "a QuickTime movie"),
    (4, b"ftypavif", "an AVIF picture"),
    (4, b"ftypheic", "an HEIC picture"),
    (4, b"ftypmif1", "an HEIF picture"),
    (128, b"DICM", "a DICOM file"),
    (8, b"WEBP", "a WebP picture"),
    (8, b"WAVE", "a sound"),
    (0, b"\x1a\x45\xdf\xa3", "a Matroska or WebM movie"),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "a Windows Media file"),
    (0, b"\x00\x00\x01\xba", "an MPEG program stream"),
    (0, b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (0, b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (0, b"II+\x00", "a BigTIFF picture"),
    (0, b"MM\x00+", "a BigTIFF picture"),
    (0, b"\x93NUMPY", "a NumPy file; scan lines need scan_lines: beside it"),
    (0, b"%PDF", "a PDF"),
    (0, b"PK\x03\x04", "a ZIP archive"),
    (4, b"moov", "a QuickTime movie"),
    (4, b"mdat", "a QuickTime movie"),
    (4, b"wide", "a QuickTime movie"),
)
HEAD_BYTES = 132
"""Enough for every mark above."""
MEDIA_ENDINGS = frozenset(
    f".{ending}"
    for ending in (
        *("png", "jpg", "jpeg", "tif", "tiff", "bmp", "gif", "webp", "heic", "dcm", "npy"),
        *("avi", "mp4", "mov", "m4v", "mkv", "webm", "wmv", "mpg", "mpeg"),
    )
)
"""Endings by which a file is taken for a picture or movie when a folder is searched for forgotten ones."""


def sniff(head: bytes) -> MediaFormat | None:
    """Return the accepted format that the first bytes show, or None."""
    if _named(head):
        return None
    return next((kind for offset, mark, kind in _ACCEPTED if head[offset:].startswith(mark)), None)


def _named(head: bytes) -> str:
    return next((words for offset, mark, words in _OTHERS if head[offset:].startswith(mark)), "")


def accepted_format(head: bytes, name: str) -> MediaFormat:
    """Return the accepted format that the first bytes show.

    Raises
    ------
    MediaFormatError
        If they show none.
    """
    found = sniff(head)
    if found is None:
        raise MediaFormatError(
            "this is not a still or loop of an accepted format",
            where=name,
            was=_named(head) or _plain_words(head),
            fix="export stills as PNG, JPEG, TIFF, BMP or GIF, loops as AVI or MP4",
        )
    return found


def _plain_words(head: bytes) -> str:
    is_text = all(byte >= 32 or byte in b"\t\r\n\f" for byte in head)
    return "text" if is_text else f"bytes that begin {head[:8].hex(' ')}"


@dataclass(frozen=True, slots=True)
class FileStamp:
    """What tells cheaply whether a file is still the one that was opened."""

    size: int
    modified_ns: int
    inode: int


def stamp_of(path: Path, name: str) -> FileStamp:
    """Return the stamp of a regular file that is not empty.

    Raises
    ------
    MediaMissingError
        If it is not there.
    MediaNotReadableError
        If it is no regular file, or empty.
    """
    try:
        found = path.stat()
    except FileNotFoundError as error:
        raise MediaMissingError("the file is not there", where=name, fix="copy it there or mend the name") from error
    except (OSError, ValueError) as error:
        raise _refused(error, name) from error
    # Opening a pipe or device could wait for ever, so the kind is asked first.
    if not stat.S_ISREG(found.st_mode):
        what = "a folder" if stat.S_ISDIR(found.st_mode) else "neither a file nor a folder"
        raise MediaNotReadableError("this is not a file", where=name, was=what, fix="name a media file")
    if found.st_size == 0:
        raise MediaNotReadableError("the file is empty", where=name, was="0 bytes", fix="copy it again")
    return FileStamp(found.st_size, found.st_mtime_ns, found.st_ino)


def ensure_same_file(path: Path, name: str, stamp: FileStamp) -> None:
    """Refuse a file that changed since it was opened.

    Raises
    ------
    MediaChangedError
        If size, time of change or identity differ.
    """
    if stamp_of(path, name) != stamp:
        raise MediaChangedError("the file changed while the exam was read", where=name, fix="hand the exam over again")


def read_head(path: Path, name: str) -> bytes:
    """Return the first bytes of a regular file.

    Raises
    ------
    MediaMissingError, MediaNotReadableError
    """
    stamp_of(path, name)
    try:
        with path.open("rb") as file:
            return file.read(HEAD_BYTES)
    except OSError as error:
        raise _refused(error, name) from error


def read_still_bytes(path: Path, name: str) -> bytes:
    """Return the whole content of a still, so that digest and pixels come from the same bytes.

    Raises
    ------
    MediaMissingError, MediaNotReadableError
    MediaTooLargeError
        Beyond `MAX_STILL_BYTES`.
    """
    stamp = stamp_of(path, name)
    if stamp.size > MAX_STILL_BYTES:
        raise MediaTooLargeError(
            "the file is too large for a still",
            where=name,
            was=f"{stamp.size} bytes",
            fix=f"at most {MAX_STILL_BYTES} bytes are read",
        )
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refused(error, name) from error


def digest_of(path: Path, name: str) -> str:
    """Return the SHA-256 of a file in hexadecimal, read in pieces.

    Raises
    ------
    MediaNotReadableError
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise _refused(error, name) from error


def _refused(error: OSError | ValueError, name: str) -> MediaNotReadableError:
    reason = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else str(error)
    return MediaNotReadableError("the file cannot be read", where=name, was=reason.lower(), fix="check its permissions")


def ensure_possible_size(columns: int, rows: int, name: str) -> None:
    """Refuse a picture size beyond the limits, before anything is decoded.

    Raises
    ------
    MediaTooLargeError
    """
    if columns > MAX_SIDE or rows > MAX_SIDE or columns * rows > MAX_PIXELS:
        raise MediaTooLargeError(
            "the picture is too large",
            where=name,
            was=f"{columns} x {rows} pixels",
            fix=f"at most {MAX_PIXELS} pixels and {MAX_SIDE} on a side are read",
        )
