"""Files appear whole or not at all, and their bytes are those of the Standard's reference layout."""

from __future__ import annotations

import hashlib
from io import BytesIO
from pathlib import Path

import pytest
from pydicom import dcmread, dcmwrite

from gateway.builders.options import IMPLEMENTATION_CLASS_UID, IMPLEMENTATION_VERSION_NAME
from gateway.builders.part10 import atomic_file, digest_of, write_part10
from gateway.builders.pixel_data import EXPLICIT_VR_LITTLE_ENDIAN
from tests.unit.builders.invented_captures import FULL_EXAM, FULL_STILL, build


def test_file_meta_information_names_us_and_not_the_library(tmp_path: Path) -> None:
    """PS3.10 Table 7.1-1."""
    built = build(FULL_EXAM, FULL_STILL, tmp_path)
    data = built.path.read_bytes()
    assert data[:132] == bytes(128) + b"DICM"
    meta = dcmread(built.path).file_meta
    assert meta.FileMetaInformationVersion == b"\x00\x01"
    assert meta.MediaStorageSOPClassUID == built.sop_class_uid
    assert meta.MediaStorageSOPInstanceUID == built.sop_instance_uid
    assert meta.ImplementationClassUID == IMPLEMENTATION_CLASS_UID
    assert meta.ImplementationVersionName == IMPLEMENTATION_VERSION_NAME
    assert len(IMPLEMENTATION_VERSION_NAME) <= 16


def test_the_library_would_write_the_same_bytes(tmp_path: Path) -> None:
    """pydicom's own dcmwrite of what it has read."""
    data = build(FULL_EXAM, FULL_STILL, tmp_path).path.read_bytes()
    buffer = BytesIO()
    dcmwrite(buffer, dcmread(BytesIO(data)), enforce_file_format=True)
    assert buffer.getvalue() == data


def test_an_error_halfway_leaves_the_target_as_it_was(tmp_path: Path) -> None:
    target = tmp_path / "x.dcm"
    target.write_bytes(b"before")

    def break_off() -> None:
        with atomic_file(target) as file:
            file.write(b"half")
            raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        break_off()
    assert target.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [target]


def test_digest_and_size_are_those_of_the_file(tmp_path: Path) -> None:
    dataset = dcmread(build(FULL_EXAM, FULL_STILL, tmp_path).path)
    target = tmp_path / "new folder" / "x.dcm"
    sha256, size = write_part10(dataset, target, EXPLICIT_VR_LITTLE_ENDIAN)
    data = target.read_bytes()
    assert (sha256, size) == (hashlib.sha256(data).hexdigest(), len(data))
    with target.open("rb") as file:
        assert digest_of(file) == (sha256, size)
