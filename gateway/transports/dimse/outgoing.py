"""A stored object on its way out: checked against what it is said to be, and read without being held in memory."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self, cast

from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.filebase import DicomBytesIO
from pydicom.filereader import read_dataset
from pydicom.filewriter import write_dataset
from pydicom.tag import Tag

_LONG_FORMS = {b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR", b"UT", b"UV"}
_PIXEL_DATA = struct.pack("<HH", 0x7FE0, 0x0010)
_UNDEFINED_LENGTH = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class OutgoingFile:
    """One DICOM file to send.

    Parameters
    ----------
    path : Path
        A DICOM file with File Meta Information (PS3.10 7.1).
    sop_class_uid, sop_instance_uid, transfer_syntax_uid : str
        What the file is; checked against its File Meta Information before anything is sent.
    """

    path: Path
    sop_class_uid: str
    sop_instance_uid: str
    transfer_syntax_uid: str


class NotAsDescribedError(ValueError):
    """The file is not the object that it is said to be."""


def read_file_meta(path: Path) -> tuple[dict[int, str], int]:
    """Return the text values of the File Meta Information by tag, and the offset of the data set.

    Raises
    ------
    OSError
        If the file cannot be read.
    NotAsDescribedError
        If it is not a DICOM file (PS3.10 7.1).
    """
    with path.open("rb") as file:
        head = file.read(144)
        if head[128:132] != b"DICM" or head[132:140] != b"\x02\x00\x00\x00UL\x04\x00":
            raise NotAsDescribedError("this is not a DICOM file with File Meta Information")
        length = int.from_bytes(head[140:144], "little")
        meta = file.read(length)
    if len(meta) != length:
        raise NotAsDescribedError("the file ends within its File Meta Information")
    values: dict[int, str] = {}
    at = 0
    while at + 8 <= length:
        group, element, vr = struct.unpack_from("<HH2s", meta, at)
        start = at + (12 if vr in _LONG_FORMS else 8)
        size = int.from_bytes(meta[start - 4 if vr in _LONG_FORMS else at + 6 : start], "little")
        values[group << 16 | element] = meta[start : start + size].rstrip(b"\0 ").decode("ascii", "replace")
        at = start + size
    return values, 144 + length


@dataclass(frozen=True, slots=True)
class EncodedDataSet:
    """An encoded data set: some bytes, a range of a file, some bytes."""

    head: bytes
    path: Path
    offset: int
    length: int
    tail: bytes

    @property
    def total(self) -> int:
        """Length in bytes."""
        return len(self.head) + self.length + len(self.tail)

    def open(self) -> DataSetReader:
        """Open it for reading from its first byte."""
        return DataSetReader(self)


class DataSetReader(io.RawIOBase):
    """Reads an `EncodedDataSet` piece after piece."""

    def __init__(self, data_set: EncodedDataSet) -> None:
        file = data_set.path.open("rb", buffering=0)
        file.seek(data_set.offset)
        self._file = file
        self._pieces: list[tuple[BinaryIO, int]] = [
            (io.BytesIO(data_set.head), len(data_set.head)),
            (cast("BinaryIO", file), data_set.length),
            (io.BytesIO(data_set.tail), len(data_set.tail)),
        ]

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def readinto(self, buffer: object) -> int:
        """Read some bytes; 0 at the end."""
        view = memoryview(cast("bytearray", buffer))
        while self._pieces:
            source, left = self._pieces[0]
            if left:
                count = cast("io.RawIOBase", source).readinto(view[:left]) or 0
                self._pieces[0] = (source, left - count)
                return count
            self._pieces.pop(0)
        return 0

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def as_stored(file: OutgoingFile) -> EncodedDataSet:
    """Return the data set as it lies in the file.

    Raises
    ------
    OSError
        If the file cannot be read.
    NotAsDescribedError
        If it is another object, or in another transfer syntax, than `file` says.
    """
    meta, offset = read_file_meta(file.path)
    expected = {0x00020002: file.sop_class_uid, 0x00020003: file.sop_instance_uid, 0x00020010: file.transfer_syntax_uid}
    for tag, value in expected.items():
        if meta.get(tag) != value:
            raise NotAsDescribedError(f"the file's {Tag(tag)} is not what was announced for it")
    return EncodedDataSet(b"", file.path, offset, file.path.stat().st_size - offset, b"")


def as_implicit_little_endian(file: OutgoingFile) -> EncodedDataSet:
    """Return the data set of an Explicit VR Little Endian file in the default transfer syntax.

    Every conformant peer takes the default transfer syntax (PS3.5 10.1), some nothing else. Native Pixel Data has the
    same bytes in both (PS3.5 A.1, A.2), so they stay in the file, and only what is around them is encoded anew.

    Raises
    ------
    OSError
        If the file cannot be read.
    NotAsDescribedError
        If it is not the object that `file` says, or its Pixel Data are encapsulated after all.
    """
    as_stored(file)
    with file.path.open("rb") as source:
        before = dcmread(source, stop_before_pixels=True)
        at = source.tell()
        element = source.read(12)
        if element[:4] != _PIXEL_DATA:
            return EncodedDataSet(_implicit(dcmread(file.path)), file.path, 0, 0, b"")
        length = int.from_bytes(element[8:12], "little")
        if length == _UNDEFINED_LENGTH:
            raise NotAsDescribedError("the Pixel Data are encapsulated, which Explicit VR Little Endian does not allow")
        source.seek(at + 12 + length)
        rest = source.read()
    head = _implicit(before) + _PIXEL_DATA + length.to_bytes(4, "little")
    tail = _implicit(read_dataset(io.BytesIO(rest), is_implicit_VR=False, is_little_endian=True)) if rest else b""
    return EncodedDataSet(head, file.path, at + 12, length, tail)


def _implicit(data_set: Dataset) -> bytes:
    buffer = DicomBytesIO()
    buffer.is_implicit_VR = True
    buffer.is_little_endian = True
    plain = Dataset()
    plain.update(data_set)
    write_dataset(buffer, plain)
    return buffer.getvalue()
