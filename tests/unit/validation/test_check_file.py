"""Files of any bytes: a report always, an exception never."""

from __future__ import annotations

import zlib
from io import BytesIO

import pydicom
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydicom.uid import DeflatedExplicitVRLittleEndian, ExplicitVRBigEndian, ImplicitVRLittleEndian

from gateway.validation import FileReport, Severity, check_bytes, check_dataset, check_file
from gateway.validation.part10 import NotDicomError, parse
from tests.conformance.clean_objects import CLEAN_OBJECTS, STILL, comprehensive_report, file_bytes, ultrasound_still

CLEAN = {name: file_bytes(make()) for name, make in CLEAN_OBJECTS.items()}


def codes(report: FileReport) -> set[str]:
    return {finding.code for finding in report.findings}


def test_a_file_that_is_not_there_is_a_finding(tmp_path):
    assert codes(check_file(tmp_path / "nowhere.dcm")) == {"file-unreadable"}


def test_a_folder_is_a_finding(tmp_path):
    assert codes(check_file(tmp_path)) == {"file-unreadable"}


@pytest.mark.parametrize(
    "content", [b"", b"\0", b"hello" * 100, b"\0" * 128 + b"DICM", b"\x89PNG\r\n\x1a\n" + b"\0" * 999]
)
def test_a_file_of_something_else_is_a_finding(tmp_path, content):
    path = tmp_path / "file"
    path.write_bytes(content)
    assert codes(check_file(path)) == {"not-dicom"}


def test_a_clean_file_says_its_class_and_transfer_syntax(tmp_path):
    path = tmp_path / "file.dcm"
    path.write_bytes(CLEAN["us-image"])
    assert check_file(path) == FileReport("1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.1.2.1", ())


@pytest.mark.parametrize(
    "transfer_syntax", [ImplicitVRLittleEndian, ExplicitVRBigEndian, DeflatedExplicitVRLittleEndian]
)
@pytest.mark.parametrize("name", ["us-image", "comprehensive-sr"])
def test_the_same_object_is_clean_in_every_plain_encoding(name, transfer_syntax):
    dataset = CLEAN_OBJECTS[name]()
    dataset.file_meta.TransferSyntaxUID = transfer_syntax
    if transfer_syntax == ExplicitVRBigEndian and "PixelData" in dataset:
        dataset["PixelData"].VR = "OW"
    report = check_bytes(file_bytes(dataset))
    assert report.findings == ()
    assert report.transfer_syntax_uid == transfer_syntax


def test_a_file_cut_short_says_where_and_blames_nothing_for_missing():
    content = CLEAN["us-image"]
    report = check_bytes(content[: len(content) - 100])
    assert codes(report) == {"dataset-damaged"}
    assert "byte" in report.findings[0].message


def test_file_meta_that_names_another_instance_is_found():
    other = STILL[:-1] + "8"
    content = CLEAN["us-image"].replace(STILL.encode(), other.encode(), 1)
    assert codes(check_bytes(content)) == {"meta-disagrees"}


def test_an_unknown_transfer_syntax_is_a_warning():
    content = CLEAN["us-image"].replace(b"1.2.840.10008.1.2.1\0", b"1.2.840.10008.1.9.1\0", 1)
    report = check_bytes(content)
    assert [(finding.code, finding.severity) for finding in report.findings] == [
        ("transfer-syntax-unknown", Severity.WARNING)
    ]


def test_a_class_without_table_is_a_note():
    dataset = ultrasound_still()
    dataset.SOPClassUID = dataset.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.7"
    found = check_bytes(file_bytes(dataset)).findings
    assert [(finding.code, finding.severity) for finding in found] == [("no-table", Severity.NOTE)]


def test_a_dataset_without_class_is_an_error():
    dataset = ultrasound_still()
    del dataset.SOPClassUID
    assert [finding.attribute for finding in check_dataset(dataset)] == ["(0008,0016)"]


def test_sequences_nested_without_end_are_refused():
    level = b"\x40\x00\x30\xa7SQ\0\0\xff\xff\xff\xff\xfe\xff\x00\xe0\xff\xff\xff\xff"
    content = CLEAN["us-image"]
    start = parse(content)
    assert start.damage == ""
    assert "nested" in parse(content + level * 5000).damage


def test_a_deflated_dataset_that_is_no_stream_is_damaged():
    dataset = ultrasound_still()
    dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    content = file_bytes(dataset)
    broken = content[:300] + b"\xff" * (len(content) - 300)
    assert codes(check_bytes(broken)) <= {"dataset-damaged", "not-dicom"}


def test_a_deflated_dataset_that_grows_without_bound_is_refused(monkeypatch):
    monkeypatch.setattr("gateway.validation.part10.INFLATED_BYTES", 1 << 16)
    dataset = ultrasound_still()
    dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    content = file_bytes(dataset)
    machine = zlib.compressobj(wbits=-15)
    bomb = machine.compress(b"\0" * (1 << 20)) + machine.flush()
    head_length = 132 + 12 + int.from_bytes(content[140:144], "little")
    assert "larger" in parse(content[:head_length] + bomb).damage


def test_what_is_read_is_what_pydicom_reads():
    """Every value of the report, element by element, against an independent reader."""

    def compare(item, dataset):
        assert set(item) == {int(tag) for tag in dataset.keys()}  # noqa: SIM118 - a dataset iterates over elements
        for element in dataset:
            ours = item[int(element.tag)]
            if element.VR == "SQ":
                assert len(ours.items) == len(element.value)
                for inner, theirs in zip(ours.items, element.value, strict=True):
                    compare(inner, theirs)
            elif element.is_empty:
                assert ours.empty
            elif element.VM == 1 and element.VR in {"CS", "UI", "SH", "LO", "DA", "US", "FD", "FL"}:
                assert ours.first() == element.value

    for make in (comprehensive_report, ultrasound_still):
        content = file_bytes(make())
        compare(parse(content).dataset, pydicom.dcmread(BytesIO(content)))


@given(data=st.data(), name=st.sampled_from(sorted(CLEAN)))
@settings(max_examples=300, deadline=None)
def test_no_change_of_bytes_stops_the_checker(data, name):
    content = bytearray(CLEAN[name])
    for _ in range(data.draw(st.integers(1, 12))):
        position = data.draw(st.integers(132, len(content) - 1))
        content[position] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(content)))
    assert isinstance(check_bytes(bytes(content)), FileReport)
    assert isinstance(check_bytes(bytes(content[:cut])), FileReport)


@given(st.binary(max_size=400))
@settings(max_examples=300, deadline=None)
def test_no_bytes_after_the_prefix_stop_the_checker(tail):
    assert isinstance(check_bytes(b"\0" * 128 + b"DICM" + tail), FileReport)


@given(st.binary(max_size=300))
def test_bytes_without_prefix_are_never_dicom(content):
    if content[128:132] != b"DICM":
        with pytest.raises(NotDicomError):
            parse(content)
