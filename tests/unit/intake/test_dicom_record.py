from __future__ import annotations

import io
import struct
import zlib

import pytest
from pydicom.dataset import Dataset
from pydicom.uid import DeflatedExplicitVRLittleEndian, ExplicitVRLittleEndian, ImplicitVRLittleEndian

from gateway.errors import GatewayError
from gateway.errors.dicom_objects import DicomEncodingError, DicomNotReadableError
from gateway.errors.document import DocumentTooLargeError
from gateway.errors.media import MediaError, MediaMissingError
from gateway.intake.dicom_record import dicom_record, record_from
from gateway.mapping.located.tree import plain
from tests.unit.intake.invented_objects import device_object, region, write_object


def bytes_of(ds: Dataset) -> bytes:
    buffer = io.BytesIO()
    ds.save_as(buffer, enforce_file_format=True)
    return buffer.getvalue()


def stated(ds: Dataset) -> dict[str, object]:
    found = plain(record_from(bytes_of(ds), "old/IM0001.dcm").root)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian, DeflatedExplicitVRLittleEndian])
def test_attributes_stand_under_their_keywords_in_every_encoding(syntax):
    ds = device_object(
        syntax=syntax, PatientName="Holm^Maija=保^舞", SpecificCharacterSet="ISO_IR 192", PatientID="1e3"
    )
    found = stated(ds)
    assert found["PatientName"] == "Holm^Maija=保^舞"
    assert found["PatientID"] == "1e3"
    assert found["ImageType"][0] == "ORIGINAL"
    assert found["ImageType"][3] == "0001"
    assert found["Rows"] == "48"
    assert found["TransferSyntaxUID"] == str(syntax)
    assert "PixelData" not in found


def test_numbers_keep_the_digits_of_the_file():
    found = stated(device_object(PatientWeight="070.50", SequenceOfUltrasoundRegions=[region(0.07)]))
    assert found["PatientWeight"] == "070.50"
    assert found["SequenceOfUltrasoundRegions"][0]["PhysicalDeltaX"] == repr(0.07 / 10)
    assert found["SequenceOfUltrasoundRegions"][0]["RegionFlags"] == "2"


def test_items_of_a_sequence_are_a_list_and_every_path_has_its_place():
    ds = device_object(SequenceOfUltrasoundRegions=[region(0.1), region(0.2)])
    document = record_from(bytes_of(ds), "old/IM0001.dcm")
    assert len(plain(document.root)["SequenceOfUltrasoundRegions"]) == 2
    place = document.place(("SequenceOfUltrasoundRegions", 1, "PhysicalDeltaX"))
    assert str(place) == "old/IM0001.dcm (SequenceOfUltrasoundRegions[1].PhysicalDeltaX)"


def test_an_attribute_without_value_is_nothing():
    assert "AccessionNumber" not in stated(device_object(AccessionNumber=""))


def test_private_attributes_and_bulk_are_left_out():
    ds = device_object()
    ds.add_new(0x00282000, "OB", b"\0" * 64)  # ICC Profile
    assert not [key for key in stated(ds) if key.startswith("(") or key == "ICCProfile"]


def test_a_number_that_is_none_stays_the_text_that_it_is():
    data = bytes_of(device_object(PatientWeight="70.5")).replace(b"70.5", b"abcd")
    assert plain(record_from(data, "x").root)["PatientWeight"] == "abcd"


def test_one_value_that_cannot_be_decoded_costs_that_value_alone():
    dataset = struct.pack("<HH2sH", 0x0028, 0x0010, b"US", 3) + b"abc"
    dataset += struct.pack("<HH2sH", 0x0028, 0x0011, b"US", 2) + b"\x40\0"
    found = plain(record_from(_with_dataset(device_object(), dataset), "x").root)
    assert "Rows" not in found
    assert found["Columns"] == "64"


def test_a_file_is_read_by_its_path(tmp_path):
    path = write_object(device_object(PatientID="INV-1"), tmp_path / "IM0001")
    assert plain(dicom_record(path).root)["PatientID"] == "INV-1"
    assert str(dicom_record(path, "old/IM0001").place(("PatientID",))) == "old/IM0001 (PatientID)"
    with pytest.raises(MediaMissingError):
        dicom_record(tmp_path / "none")


def test_every_way_of_cutting_a_file_gives_an_error_of_ours_or_less_text():
    data = bytes_of(device_object(PatientName="Secret^Name", SequenceOfUltrasoundRegions=[region()]))
    errors = []
    for length in range(0, len(data) - 3072, 3):
        try:
            record_from(data[:length], "x")
        except GatewayError as error:
            errors.append(str(error))
    assert len(errors) > 100
    assert not [error for error in errors if "Secret" in error]


def _with_dataset(ds: Dataset, dataset: bytes) -> bytes:
    """File meta information of one object before the bytes of another dataset."""
    data = bytes_of(ds)
    end_of_meta = 144 + int.from_bytes(data[140:144], "little")
    return data[:end_of_meta] + dataset


SEQUENCE = struct.pack("<HH2sHI", 0x0040, 0x0555, b"SQ", 0, 0xFFFFFFFF)
NAME = struct.pack("<HH2sH", 0x0010, 0x0010, b"PN", 2) + b"a "
ITEM = struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)


def test_a_thousand_levels_are_refused_before_any_decoder_sees_them():
    data = _with_dataset(device_object(), (SEQUENCE + ITEM) * 1000)
    with pytest.raises(DicomNotReadableError, match="nested more than"):
        record_from(data, "x")


def test_levels_with_stated_lengths_are_refused_too():
    dataset = b""
    for _ in range(1000):
        item = struct.pack("<HHI", 0xFFFE, 0xE000, len(dataset)) + dataset
        dataset = struct.pack("<HH2sHI", 0x0040, 0x0555, b"SQ", 0, len(item)) + item
    with pytest.raises(DocumentTooLargeError, match="nested too deeply"):
        record_from(_with_dataset(device_object(), dataset), "x")


def test_a_bomb_is_not_inflated():
    machine = zlib.compressobj(9, wbits=-zlib.MAX_WBITS)
    chunk = bytes(1 << 24)
    packed = b"".join(machine.compress(chunk) for _ in range(20)) + machine.flush()
    with pytest.raises(DicomNotReadableError, match="larger than any"):
        record_from(_with_dataset(device_object(syntax=DeflatedExplicitVRLittleEndian), packed), "x")


@pytest.mark.parametrize(
    ("dataset", "why"),
    [
        (struct.pack("<HH2sH", 0x0010, 0x0010, b"PN", 0xFFFE) + b"Secret^Name", "reaches beyond the end"),
        (struct.pack("<HH2sH", 0x0010, 0x0010, b"p?", 4) + b"abcd", "no value representation"),
        (NAME.replace(b"\x10\0\x10\0", b"\x10\0\x20\0") + NAME, "out of order"),
        (SEQUENCE + struct.pack("<HHI", 0xFFFE, 0xE00D, 0), "delimiter"),
        (SEQUENCE + NAME, "item"),
        (struct.pack("<HHI", 0xFFFE, 0xE000, 0), "outside any sequence"),
    ],
)  # fmt: skip
def test_lengths_and_tags_that_lead_nowhere_are_named(dataset, why):
    with pytest.raises(DicomNotReadableError, match=why) as caught:
        record_from(_with_dataset(device_object(), dataset), "x")
    assert "Secret" not in str(caught.value)


def test_big_endian_and_unknown_encodings_are_refused():
    data = bytes_of(device_object())
    for uid, what in ((b"1.2.840.10008.1.2.2", "retired"), (b"1.2.840.10008.1.2.9", "not known")):
        with pytest.raises(DicomEncodingError, match=what):
            record_from(data.replace(b"1.2.840.10008.1.2.1", uid, 1), "x")


@pytest.mark.parametrize("data", [b"", b"\0" * 128 + b"DICM", b"\0" * 300, b"\0" * 128 + b"DICM" + b"\xff" * 64])
def test_what_is_no_dicom_file_is_said_to_be_none(data):
    with pytest.raises(MediaError):
        record_from(data, "x")
