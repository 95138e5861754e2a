"""Rules between attributes: each broken once in an otherwise clean object, and only its own finding appears."""

from __future__ import annotations

import pydicom.config
import pytest
from pydicom.datadict import tag_for_keyword
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.encaps import encapsulate
from pydicom.sequence import Sequence
from pydicom.uid import JPEG2000Lossless, JPEGBaseline8Bit, JPEGLSLossless

from gateway.validation import Severity, check_bytes, check_dataset
from tests.conformance.clean_objects import (
    comprehensive_report,
    encapsulated_pdf,
    file_bytes,
    ultrasound_loop,
    ultrasound_still,
)

# ISO/IEC 10918-1 B.2.2: SOI, SOF0 with 8 bits, lines, samples a line, one component; 48 lines of 64 samples.
SOF0 = b"\xff\xd8\xff\xc0\x00\x0b\x08\x00\x30\x00\x40\x01\x01\x11\x00"
# ISO/IEC 14495-1 C.2.2: the same frame header under its own marker.
SOF55 = SOF0.replace(b"\xff\xc0", b"\xff\xf7")
# ISO/IEC 15444-1 A.5.1: SOC, SIZ with grid 64 by 48.
SIZ = (
    b"\xff\x4f\xff\x51\x00\x29\x00\x00"
    b"\x00\x00\x00\x40\x00\x00\x00\x30"
    b"\x00\x00\x00\x00\x00\x00\x00\x00"
)  # fmt: skip


def codes(dataset: Dataset) -> set[str]:
    """Return the codes of both ways in, which have to agree."""
    in_memory = {finding.code for finding in check_dataset(dataset)}
    on_disk = {finding.code for finding in check_bytes(file_bytes(dataset)).findings}
    assert in_memory == on_disk
    return in_memory


def compressed(head: bytes, transfer_syntax: str, frames: int = 1) -> Dataset:
    dataset = ultrasound_still() if frames == 1 else ultrasound_loop()
    dataset.file_meta.TransferSyntaxUID = transfer_syntax
    dataset.PixelData = encapsulate([head + b"\0" * 20] * frames)
    dataset["PixelData"].is_undefined_length = True
    return dataset


def changed(make, **values) -> Dataset:
    dataset = make()
    for keyword, value in values.items():
        if keyword.endswith("UID"):
            # The library warns of such values where they are set, and this is about setting them.
            tag = tag_for_keyword(keyword)
            dataset[tag] = DataElement(tag, "UI", value, validation_mode=pydicom.config.IGNORE)
        else:
            setattr(dataset, keyword, value)
    return dataset


def region_changed(**values) -> Dataset:
    dataset = ultrasound_still()
    for keyword, value in values.items():
        setattr(dataset.SequenceOfUltrasoundRegions[0], keyword, value)
    return dataset


@pytest.mark.parametrize(
    ("dataset", "code"),
    [
        (region_changed(RegionLocationMaxX1=64), "region-outside-image"),
        (region_changed(RegionLocationMaxY1=48), "region-outside-image"),
        (region_changed(RegionLocationMinX0=40, RegionLocationMaxX1=30), "region-inverted"),
        (region_changed(RegionFlags=0x22), "region-flags-reserved"),
        (region_changed(PhysicalDeltaX=0.0), "region-without-scale"),
        (region_changed(RegionSpatialFormat=6), "value-not-enumerated"),
        (changed(ultrasound_still, PixelSpacing=[0.0625, 0.07]), "pixel-spacing-contradicts-region"),
        (changed(ultrasound_still, HighBit=15), "high-bit-wrong"),
        (changed(ultrasound_still, PixelData=b"\0" * 100), "pixel-length-wrong"),
        (changed(ultrasound_still, StudyInstanceUID="1.02.3"), "uid-format"),
        (changed(ultrasound_still, ImageLaterality="X"), "value-not-enumerated"),
        (changed(ultrasound_still, Laterality="R"), "not-allowed-here"),
        (changed(ultrasound_loop, NumberOfFrames=0), "frame-count-impossible"),
        (changed(ultrasound_loop, StopTrim=4), "frame-number-beyond-frames"),
        (changed(ultrasound_loop, FrameTime=0), "frame-time-impossible"),
        (changed(ultrasound_loop, FrameIncrementPointer=[0x00181063, 0x00181060]), "frame-pointer-target-missing"),
        (changed(encapsulated_pdf, EncapsulatedDocument=b"PK\3\4" + b"\0" * 22), "document-not-pdf"),
        (changed(encapsulated_pdf, EncapsulatedDocumentLength=12), "document-length-wrong"),
        (changed(encapsulated_pdf, HL7InstanceIdentifier="1.2.3"), "not-allowed-here"),
    ],
)
def test_one_broken_rule_gives_its_one_finding(dataset, code):
    found = codes(dataset)
    assert code in found
    assert found <= {code, "value-not-enumerated"}


@pytest.mark.parametrize(
    ("head", "transfer_syntax"),
    [(SOF0, JPEGBaseline8Bit), (SOF55, JPEGLSLossless), (SIZ, JPEG2000Lossless)],
)
def test_a_stream_of_the_right_family_and_size_is_clean(head, transfer_syntax):
    dataset = compressed(head, transfer_syntax)
    dataset.LossyImageCompression = "01"
    assert codes(dataset) == set()


@pytest.mark.parametrize(
    ("head", "transfer_syntax"),
    [(SOF0, JPEGLSLossless), (SOF55, JPEGBaseline8Bit), (b"\0" * 16, JPEG2000Lossless), (SIZ, JPEGLSLossless)],
)
def test_a_stream_of_another_family_is_found(head, transfer_syntax):
    dataset = compressed(head, transfer_syntax)
    dataset.LossyImageCompression = "01"
    assert codes(dataset) == {"stream-not-of-transfer-syntax"}


@pytest.mark.parametrize(
    ("head", "transfer_syntax"),
    [
        (SOF0.replace(b"\x00\x30", b"\x00\x31"), JPEGBaseline8Bit),
        (SOF55.replace(b"\x00\x40", b"\x00\x41"), JPEGLSLossless),
        (SIZ.replace(b"\x00\x30", b"\x00\x32"), JPEG2000Lossless),
    ],
)
def test_a_stream_of_another_size_is_found(head, transfer_syntax):
    dataset = compressed(head, transfer_syntax)
    dataset.LossyImageCompression = "01"
    assert codes(dataset) == {"stream-size-differs"}


def test_a_lossy_transfer_syntax_with_flag_00_is_found():
    """PS3.3 C.7.6.1.1.5."""
    assert codes(compressed(SOF0, JPEGBaseline8Bit)) == {"lossy-flag-contradicts-encoding"}


def test_a_lossy_transfer_syntax_without_flag_is_found():
    dataset = compressed(SOF0, JPEGBaseline8Bit)
    del dataset.LossyImageCompression
    assert codes(dataset) == {"type-1c-missing"}


def test_a_frame_that_is_missing_is_found():
    dataset = compressed(SOF55, JPEGLSLossless, frames=3)
    assert codes(dataset) == set()
    dataset.PixelData = encapsulate([SOF55 + b"\0" * 20] * 2, has_bot=False)
    dataset["PixelData"].is_undefined_length = True
    assert codes(dataset) == {"fragments-fewer-than-frames"}


def test_an_offset_table_of_other_length_is_found():
    dataset = compressed(SOF55, JPEGLSLossless, frames=3)
    dataset.PixelData = encapsulate([SOF55 + b"\0" * 20] * 4)
    dataset["PixelData"].is_undefined_length = True
    assert codes(dataset) == {"offset-table-wrong"}


def test_plain_pixels_under_a_compressed_transfer_syntax_are_found():
    dataset = ultrasound_still()
    dataset.file_meta.TransferSyntaxUID = JPEGLSLossless
    assert {finding.code for finding in check_dataset(dataset)} == {"pixel-encoding-differs"}


def test_extended_offsets_want_their_lengths():
    """PS3.3 C.7.6.3.1.8: with one fragment for each frame the lengths are needed."""
    dataset = compressed(SOF55, JPEGLSLossless, frames=3)
    dataset.PixelData = encapsulate([SOF55 + b"\0" * 20] * 3, has_bot=False)
    dataset["PixelData"].is_undefined_length = True
    dataset.ExtendedOffsetTable = b"\0" * 24
    assert codes(dataset) == {"type-1c-missing"}
    dataset.ExtendedOffsetTableLengths = b"\0" * 24
    assert codes(dataset) == set()


def test_colour_images_have_three_samples():
    dataset = changed(ultrasound_still, PhotometricInterpretation="RGB")
    assert codes(dataset) == {"samples-contradict-photometric"}


def test_grey_ultrasound_of_16_bits_is_found():
    dataset = changed(ultrasound_still, BitsAllocated=16, BitsStored=16, HighBit=15)
    dataset.PixelData = dataset.PixelData * 2
    assert codes(dataset) == {"ultrasound-bits"}


def test_more_bits_stored_than_allocated_are_found():
    dataset = changed(ultrasound_still, BitsStored=16, HighBit=15)
    assert codes(dataset) == {"bits-stored-wrong"}


def test_pixel_spacing_that_agrees_with_the_region_is_clean():
    """Ten times the region's centimetres, rows first (PS3.3 10.7.1.1, C.8.5.5)."""
    assert codes(changed(ultrasound_still, PixelSpacing=[0.0625, 0.0625])) == set()


def test_a_frame_time_vector_has_one_value_for_each_frame_and_starts_with_0():
    dataset = ultrasound_loop()
    del dataset.FrameTime
    dataset.FrameIncrementPointer, dataset.FrameTimeVector = 0x00181065, [0, 50, 51]
    assert codes(dataset) == set()
    dataset.FrameTimeVector = [50, 51]
    assert codes(dataset) == {"frame-time-vector-length", "frame-time-vector-start"}


def test_a_frame_time_beside_the_vector_that_is_pointed_to_must_not_stand():
    dataset = ultrasound_loop()
    dataset.FrameIncrementPointer, dataset.FrameTimeVector = 0x00181065, [0, 50, 51]
    assert codes(dataset) == {"not-allowed-here"}


def coordinates_of(report: Dataset) -> Dataset:
    def walk(item):
        for child in item.get("ContentSequence", []):
            if child.get("ValueType") == "SCOORD":
                yield child
            yield from walk(child)

    return next(walk(report))


@pytest.mark.parametrize(
    ("kind", "numbers", "code"),
    [
        ("POINT", [1.0, 2.0, 3.0, 4.0], "graphic-data-count"),
        ("CIRCLE", [1.0, 2.0], "graphic-data-count"),
        ("ELLIPSE", [1.0, 2.0, 3.0, 4.0], "graphic-data-count"),
        ("POLYLINE", [1.0, 2.0], "graphic-data-count"),
        ("POLYLINE", [1.0, 2.0, 3.0], "graphic-data-count"),
        ("POINT", [-1.0, 2.0], "coordinate-outside-image"),
    ],
)
def test_graphic_types_have_their_number_of_points(kind, numbers, code):
    """PS3.3 C.18.6.1.2."""
    report = comprehensive_report()
    item = coordinates_of(report)
    item.GraphicType, item.GraphicData = kind, numbers
    assert codes(report) == {code}


def test_coordinates_without_an_image_are_found():
    report = comprehensive_report()
    del coordinates_of(report).ContentSequence
    assert codes(report) == {"coordinates-without-image"}


def test_what_the_tree_refers_to_must_be_listed_as_evidence():
    report = comprehensive_report()
    reference = coordinates_of(report).ContentSequence[0].ReferencedSOPSequence[0]
    reference.ReferencedSOPInstanceUID = "1.2.3.4"
    assert codes(report) == {"reference-not-in-evidence"}


def test_the_path_of_a_finding_counts_items_from_1():
    found = check_dataset(region_changed(PhysicalDeltaX=None))
    assert [(finding.attribute, finding.section) for finding in found] == [
        ("(0018,6011)[1].(0018,602C)", "PS3.3 C.8.5.5")
    ]
    assert found[0].message.startswith("SequenceOfUltrasoundRegions[1].PhysicalDeltaX is empty")


def test_overlays_are_checked_in_every_group():
    """PS3.3 C.9.2: overlay groups are 6000 to 601E, even."""
    dataset = ultrasound_still()
    dataset.add_new(0x60020010, "US", 48)
    found = check_dataset(dataset)
    assert "(6002,0011)" in {finding.attribute for finding in found}
    assert {finding.section for finding in found} == {"PS3.3 C.9.2"}


def test_a_rule_of_a_newer_edition_is_a_warning():
    """PS3.3 C.18.1: a qualifier in place of a value became 1C after 2020a."""
    report = comprehensive_report()

    def numbers(item):
        for child in item.get("ContentSequence", []):
            if child.get("ValueType") == "NUM":
                yield child
            yield from numbers(child)

    next(numbers(report)).MeasuredValueSequence = Sequence([])
    found = check_dataset(report)
    assert [(finding.severity, finding.edition) for finding in found] == [(Severity.WARNING, "2024e")]


def test_patient_values_do_not_appear_in_messages():
    dataset = changed(ultrasound_still, PatientSex="Q")
    found = check_dataset(dataset)
    assert [finding.code for finding in found] == ["value-not-enumerated"]
    assert "Q" not in found[0].message.replace("PatientSex", "")
