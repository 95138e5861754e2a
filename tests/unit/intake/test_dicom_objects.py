from __future__ import annotations

import dataclasses
from datetime import UTC, timedelta

import numpy as np
import pytest
from pydicom.config import disable_value_validation
from pydicom.dataset import Dataset
from pydicom.uid import (
    EncapsulatedPDFStorage,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEGLSLossless,
    RLELossless,
    SecondaryCaptureImageStorage,
)

from gateway.errors import GatewayError, Place
from gateway.errors.dicom_objects import (
    DicomContradictionError,
    DicomEncodingError,
    DicomKindError,
    DicomNotReadableError,
)
from gateway.errors.media import MediaDamagedError, MediaError, MediaKindError
from gateway.intake.dicom_agreement import check_object
from gateway.intake.dicom_objects import open_dicom_object
from gateway.model.burned_in_text import BurnedInText
from gateway.model.calibration import Calibration, PixelRegion
from gateway.model.capture import (
    AcquisitionSettings,
    Capture,
    CaptureKind,
    CorrectableAttribute,
    FrameTiming,
)
from gateway.model.media import ColourModel, ObjectSource
from tests.unit.builders.completed_objects import ACQUIRED, CAPTURE, EXAM, opened
from tests.unit.intake.invented_objects import COLUMNS, ROWS, device_object, pixels, region, write_object


def coded(value: str, scheme: str = "SCT") -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, "x"
    return item


def region_of_eye(side: str, scheme: str = "SCT") -> Dataset:
    item = coded("81745001")
    item.AnatomicRegionModifierSequence = [coded(side, scheme)]
    return item


# ---------------------------------------------------------------- opening


@pytest.mark.parametrize("syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian, RLELossless, JPEGLSLossless])
@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("frames", [1, 4])
def test_frames_are_the_pixels_that_were_put_in(syntax, colour, frames, tmp_path):
    ds = device_object(frames, colour=colour)
    if syntax in {RLELossless, JPEGLSLossless}:
        ds.compress(syntax)
    elif syntax == ImplicitVRLittleEndian:
        ds = device_object(frames, colour=colour, syntax=syntax)
    kind = CaptureKind.LOOP if frames > 1 else CaptureKind.STILL
    source = open_dicom_object(write_object(ds, tmp_path / "x.dcm"), kind, name="x.dcm")
    assert isinstance(source, ObjectSource)
    assert np.array_equal(np.stack(list(source.frames())), pixels(frames, colour=colour))
    facts = source.facts
    assert (facts.rows, facts.columns, facts.frame_count) == (ROWS, COLUMNS, frames)
    assert facts.colour is (ColourModel.RGB if colour else ColourModel.GREY)
    assert facts.frame_rate_hz == (20 if frames > 1 else None)


def test_sixteen_bits_are_shown_through_the_objects_window(tmp_path):
    ds = device_object(bits=16, sop_class=SecondaryCaptureImageStorage, WindowCenter="1000", WindowWidth="2000")
    frame = next(opened(ds, tmp_path).frames())
    expected = np.clip(pixels(bits=16)[0].astype(float) / 2000 * 255, 0, 255).round()
    assert np.abs(frame - expected).max() <= 1


def test_monochrome1_is_shown_the_right_way_round(tmp_path):
    ds = device_object(sop_class=SecondaryCaptureImageStorage, PhotometricInterpretation="MONOCHROME1")
    assert np.array_equal(next(opened(ds, tmp_path).frames()), 255 - pixels()[0])


def test_palettes_are_written_out(tmp_path):
    ds = device_object(PhotometricInterpretation="PALETTE COLOR")
    for number, colour in enumerate(("Red", "Green", "Blue")):
        setattr(ds, f"{colour}PaletteColorLookupTableDescriptor", [256, 0, 16])
        table = (np.arange(256) if number == 0 else np.full(256, 10 * number)).astype(np.uint16) * 257
        setattr(ds, f"{colour}PaletteColorLookupTableData", table.tobytes())
    frame = next(opened(ds, tmp_path).frames())
    assert np.array_equal(frame[..., 0], pixels()[0])
    assert (frame[..., 1] == 10).all()


@pytest.mark.parametrize(
    ("ds", "kind", "error"),
    [
        (lambda: device_object(3), CaptureKind.STILL, MediaKindError),
        (device_object, CaptureKind.LOOP, MediaKindError),
        (lambda: device_object(sop_class=EncapsulatedPDFStorage), CaptureKind.STILL, DicomKindError),
        (lambda: device_object(Rows=0), CaptureKind.STILL, DicomNotReadableError),
        (lambda: device_object(Rows=65000, Columns=65000), CaptureKind.STILL, MediaError),
        (lambda: device_object(BitsAllocated=32), CaptureKind.STILL, MediaError),
        (lambda: device_object(Rows=400), CaptureKind.STILL, MediaDamagedError),
        (lambda: device_object(3, NumberOfFrames=5), CaptureKind.LOOP, MediaDamagedError),
    ],
)
def test_what_cannot_be_the_capture_is_refused(ds, kind, error, tmp_path):
    path = write_object(ds(), tmp_path / "x.dcm")
    with pytest.raises(error) as caught:
        open_dicom_object(path, kind, name="old/x.dcm")
    assert "old/x.dcm" in str(caught.value)


def test_an_object_without_pixels_is_no_picture(tmp_path):
    ds = device_object()
    del ds.PixelData
    with pytest.raises(DicomKindError, match="no picture"):
        open_dicom_object(write_object(ds, tmp_path / "x.dcm"), CaptureKind.STILL, name="x.dcm")


def test_an_encoding_that_nobody_here_can_look_into_is_refused(tmp_path):
    ds = device_object()
    ds.compress(RLELossless)
    ds.file_meta.TransferSyntaxUID = "1.2.840.10008.1.2.4.201"  # HTJ2K
    path = write_object(ds, tmp_path / "x.dcm")
    with pytest.raises(DicomEncodingError, match="cannot be shown here"):
        open_dicom_object(path, CaptureKind.STILL, name="x.dcm")


def test_a_damaged_frame_is_found_when_the_object_is_opened(tmp_path):
    ds = device_object(4)
    ds.compress(JPEGLSLossless)
    path = write_object(ds, tmp_path / "x.dcm")
    data = bytearray(path.read_bytes())
    at = data.rfind(b"\xff\xd8\xff")
    data[at : at + 4] = b"\0\0\0\0"
    path.write_bytes(data)
    with pytest.raises(MediaDamagedError):
        open_dicom_object(path, CaptureKind.LOOP, name="x.dcm")


# ---------------------------------------------------------------- contradictions


EYE, TIME = "captures[0].eye", "captures[0].acquired"


@pytest.mark.parametrize(
    ("stated", "field", "keyword", "correction"),
    [
        ({"PatientID": "SECRET-9"}, "patient.id", "PatientID", CorrectableAttribute.PATIENT_ID),
        ({"IssuerOfPatientID": "SECRET"}, "patient.issuer", "IssuerOfPatientID", CorrectableAttribute.PATIENT_ISSUER),
        ({"PatientName": "Secret^Name"}, "patient.name", "PatientName", CorrectableAttribute.PATIENT_NAME),
        ({"PatientBirthDate": "19010101"}, "patient.birth_date", "PatientBirthDate", CorrectableAttribute.BIRTH_DATE),
        ({"PatientSex": "M"}, "patient.sex", "PatientSex", CorrectableAttribute.SEX),
        ({"ImageLaterality": "L"}, EYE, "ImageLaterality", CorrectableAttribute.EYE),
        ({"ImageLaterality": "B"}, EYE, "ImageLaterality", CorrectableAttribute.EYE),
        ({"Laterality": "L"}, EYE, "Laterality", CorrectableAttribute.EYE),
        (
            {"AnatomicRegionSequence": [region_of_eye("7771000")]},
            EYE,
            "AnatomicRegionSequence[0].AnatomicRegionModifierSequence",
            CorrectableAttribute.EYE,
        ),
        # The retired code of left, G-A101 in SNOMED RT (pydicom's table of retired codes)
        (
            {"AnatomicRegionSequence": [region_of_eye("G-A101", "SRT")]},
            EYE,
            "AnatomicRegionSequence[0].AnatomicRegionModifierSequence",
            CorrectableAttribute.EYE,
        ),
        (
            {"AcquisitionDate": "20260302", "AcquisitionTime": "093412"},
            TIME,
            "AcquisitionTime",
            CorrectableAttribute.ACQUIRED,
        ),
        ({"AcquisitionDateTime": "20260302093410+0000"}, TIME, "AcquisitionDateTime", CorrectableAttribute.ACQUIRED),
    ],
)
def test_a_contradiction_names_both_places_and_can_be_corrected(stated, field, keyword, correction, tmp_path):
    source = opened(device_object(**stated), tmp_path)
    exam = dataclasses.replace(EXAM, origins={field: Place("exam.yaml", 3, 5, field)})
    with pytest.raises(DicomContradictionError) as caught:
        check_object(exam, CAPTURE, "captures[0]", source)
    words = str(caught.value)
    assert words.startswith(f"exam.yaml:3:5 ({field})")
    assert f"old/IM0001.dcm ({keyword})" in words
    assert f"corrects: [{correction.value}]" in words
    assert "SECRET" not in words
    assert "Secret" not in words
    check_object(EXAM, dataclasses.replace(CAPTURE, corrects=(correction,)), "captures[0]", source)


@pytest.mark.parametrize(
    "stated",
    [
        {},
        {"PatientID": "INV-1", "PatientName": "HOLM^MAIJA", "PatientBirthDate": "19580314", "PatientSex": "F"},
        {"ImageLaterality": "R", "AnatomicRegionSequence": [region_of_eye("24028007")]},
        {"AnatomicRegionSequence": [region_of_eye("G-A100", "SRT")]},
        {"AcquisitionDateTime": "20260302083410.5+0000"},
        {"AcquisitionDate": "20260302", "AcquisitionTime": "083410", "TimezoneOffsetFromUTC": "+0000"},
        {"AcquisitionDateTime": "2026"},
        {"PatientName": "Holm^Maija=保^舞", "SpecificCharacterSet": "ISO_IR 192"},
    ],
)
def test_what_says_the_same_or_nothing_is_no_contradiction(stated, tmp_path):
    ds = device_object(**stated)
    check_object(EXAM, CAPTURE, "captures[0]", opened(ds, tmp_path))


def test_a_birth_date_of_the_time_before_dicom_is_read_and_stays_out_of_warnings_and_logs(tmp_path, caplog):
    """ACR-NEMA wrote dates with dots (PS3.5 6.2, DA)."""
    with disable_value_validation():
        source = opened(device_object(PatientBirthDate="1958.03.14"), tmp_path)
    check_object(EXAM, CAPTURE, "captures[0]", source)
    assert "1958" not in caplog.text


def test_several_contradictions_are_named_at_once(tmp_path):
    source = opened(device_object(PatientID="OTHER", PatientName="O^T", ImageLaterality="L"), tmp_path)
    with pytest.raises(DicomContradictionError) as caught:
        check_object(EXAM, CAPTURE, "captures[0]", source)
    for keyword in ("PatientID", "PatientName", "ImageLaterality"):
        assert f"({keyword})" in str(caught.value)


def test_correcting_one_thing_corrects_no_other(tmp_path):
    source = opened(device_object(PatientID="OTHER", ImageLaterality="L"), tmp_path)
    capture = dataclasses.replace(CAPTURE, corrects=(CorrectableAttribute.EYE,))
    with pytest.raises(DicomContradictionError, match="the patient"):
        check_object(EXAM, capture, "captures[0]", source)


ACQUIRED_VALUES: list[tuple[dict[str, object], dict[str, object], str]] = [
    ({"SequenceOfUltrasoundRegions": [region(0.2)]}, {"calibration": Calibration(0.1, 0.1)}, "SequenceOfUltra"),
    (
        {"SequenceOfUltrasoundRegions": [region(0.1)]},
        {"calibration": Calibration(0.1, 0.1, region=PixelRegion(0, 0, 9, 9))},
        "SequenceOfUltrasoundRegions",
    ),
    ({"PixelSpacing": [0.2, 0.2]}, {"calibration": Calibration(0.1, 0.1)}, "PixelSpacing"),
    ({"MechanicalIndex": "0.4"}, {"settings": AcquisitionSettings(mechanical_index=0.18)}, "MechanicalIndex"),
    ({"DepthOfScanField": "50"}, {"settings": AcquisitionSettings(depth_mm=40)}, "DepthOfScanField"),
]


@pytest.mark.parametrize(("stated", "exam_says", "keyword"), ACQUIRED_VALUES)
def test_acquired_values_cannot_be_corrected(stated, exam_says, keyword, tmp_path):
    capture: Capture = dataclasses.replace(CAPTURE, corrects=tuple(CorrectableAttribute), **exam_says)
    with pytest.raises(DicomContradictionError, match=keyword):
        check_object(EXAM, capture, "captures[0]", opened(device_object(**stated), tmp_path))


@pytest.mark.parametrize(
    "timing", [FrameTiming(frame_rate_hz=25), FrameTiming(frame_times_ms=(0, 50, 100, 190)), FrameTiming(20.5)]
)
def test_other_frame_times_than_the_objects_are_a_contradiction(timing, tmp_path):
    capture = dataclasses.replace(CAPTURE, kind=CaptureKind.LOOP, timing=timing)
    with pytest.raises(DicomContradictionError, match="FrameTime"):
        check_object(EXAM, capture, "captures[0]", opened(device_object(4), tmp_path, capture))


@pytest.mark.parametrize("timing", [FrameTiming(), FrameTiming(20), FrameTiming(frame_times_ms=(0, 50, 100, 150))])
def test_the_same_frame_times_are_none(timing, tmp_path):
    capture = dataclasses.replace(CAPTURE, kind=CaptureKind.LOOP, timing=timing)
    check_object(EXAM, capture, "captures[0]", opened(device_object(4), tmp_path, capture))


def test_one_of_several_regions_with_the_exams_scale_is_enough(tmp_path):
    ds = device_object(SequenceOfUltrasoundRegions=[region(0.2), region(0.1)])
    capture = dataclasses.replace(CAPTURE, calibration=Calibration(0.1, 0.1))
    check_object(EXAM, capture, "captures[0]", opened(ds, tmp_path))


def test_a_second_of_difference_is_a_contradiction_and_less_is_none(tmp_path):
    source = opened(device_object(AcquisitionDate="20260302", AcquisitionTime="093410"), tmp_path)
    for late_ms, refused in ((0, False), (999, False), (1000, True)):
        capture = dataclasses.replace(CAPTURE, acquired=ACQUIRED + timedelta(milliseconds=late_ms))
        try:
            check_object(EXAM, capture, "captures[0]", source)
        except GatewayError:
            assert refused
        else:
            assert not refused


@pytest.mark.parametrize(("flag", "identifies"), [("YES", False), ("NO", True)])
def test_another_word_on_text_in_the_picture_is_a_contradiction(flag, identifies, tmp_path):
    capture = dataclasses.replace(CAPTURE, burned_in_text=BurnedInText(identifies))
    source = opened(device_object(BurnedInAnnotation=flag), tmp_path)
    with pytest.raises(DicomContradictionError, match="text in the picture"):
        check_object(EXAM, capture, "captures[0]", source)
    check_object(EXAM, CAPTURE, "captures[0]", source)
    agreeing = dataclasses.replace(CAPTURE, burned_in_text=BurnedInText(not identifies))
    check_object(EXAM, agreeing, "captures[0]", source)


def test_an_object_carries_the_time_of_the_devices_own_clock(tmp_path):
    session = dataclasses.replace(EXAM.session, device=dataclasses.replace(EXAM.session.device, clock_ahead_s=130))
    exam = dataclasses.replace(EXAM, session=session)
    ahead = CAPTURE.acquired + timedelta(seconds=130)
    source = opened(device_object(AcquisitionDateTime=f"{ahead.astimezone(UTC):%Y%m%d%H%M%S}+0000"), tmp_path)
    check_object(exam, CAPTURE, "captures[0]", source)
    with pytest.raises(DicomContradictionError, match="the time"):
        check_object(EXAM, CAPTURE, "captures[0]", source)
