"""Files: the same dataset gives the same bytes, and a file appears whole or not at all (PS3.10 7)."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from threading import get_ident
from typing import BinaryIO

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.filebase import DicomFileLike
from pydicom.filewriter import write_dataset, write_file_meta_info
from pydicom.uid import UID

from gateway.builders.attributes import AttributeWriter
from gateway.builders.options import IMPLEMENTATION_CLASS_UID, IMPLEMENTATION_VERSION_NAME

_CHUNK_BYTES = 1 << 20


def write_part10(content: AttributeWriter | Dataset, path: Path, transfer_syntax_uid: str) -> tuple[str, int]:
    """Write a DICOM file whose pixel data, if any, are in the dataset.

    Returns
    -------
    sha256 : str
        Hexadecimal digest of the file.
    size : int
        Bytes.
    """
    dataset = content.dataset if isinstance(content, AttributeWriter) else content
    data = part10_bytes(dataset, transfer_syntax_uid)
    with atomic_file(path) as file:
        file.write(data)
    return hashlib.sha256(data).hexdigest(), len(data)


def part10_bytes(dataset: Dataset, transfer_syntax_uid: str) -> bytes:
    """Return preamble, file meta information and dataset, the last in Explicit VR Little Endian, as bytes."""
    head = file_head(str(dataset.SOPClassUID), str(dataset.SOPInstanceUID), transfer_syntax_uid)
    return head + dataset_bytes(dataset)


def file_head(sop_class_uid: str, sop_instance_uid: str, transfer_syntax_uid: str) -> bytes:
    """Return preamble, prefix and file meta information (PS3.10 7.1).

    The implementation named is ours, not the library's: its version must not show in the bytes.
    """
    meta = FileMetaDataset()
    meta.FileMetaInformationVersion = b"\x00\x01"
    meta.MediaStorageSOPClassUID = UID(sop_class_uid)
    meta.MediaStorageSOPInstanceUID = UID(sop_instance_uid)
    meta.TransferSyntaxUID = UID(transfer_syntax_uid)
    meta.ImplementationClassUID = UID(IMPLEMENTATION_CLASS_UID)
    meta.ImplementationVersionName = IMPLEMENTATION_VERSION_NAME
    buffer = BytesIO()
    write_file_meta_info(_explicit_little_endian(buffer), meta, enforce_standard=True)
    return bytes(128) + b"DICM" + buffer.getvalue()


def dataset_bytes(dataset: Dataset) -> bytes:
    """Return a dataset in Explicit VR Little Endian: one content, one string of bytes."""
    buffer = BytesIO()
    write_dataset(_explicit_little_endian(buffer), dataset, parent_encoding="utf-8")
    return buffer.getvalue()


def _explicit_little_endian(buffer: BytesIO) -> DicomFileLike:
    file_like = DicomFileLike(buffer)
    file_like.is_little_endian = True
    file_like.is_implicit_VR = False
    return file_like


@contextmanager
def atomic_file(path: Path) -> Iterator[BinaryIO]:
    """Open a file for reading and writing that takes its name only when all of it is on disk.

    On an error the target is left as it was and the temporary file removed.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.{get_ident()}.part")
    try:
        with temporary.open("w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def digest_of(file: BinaryIO) -> tuple[str, int]:
    """Return SHA-256 and size of an open file, read from its start in pieces."""
    file.seek(0)
    digest = hashlib.sha256()
    size = 0
    while chunk := file.read(_CHUNK_BYTES):
        digest.update(chunk)
        size += len(chunk)
    return digest.hexdigest(), size
