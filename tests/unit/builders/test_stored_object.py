from __future__ import annotations

import dataclasses
import io
from datetime import timedelta

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEGLSLossless,
    MultiFrameGrayscaleByteSecondaryCaptureImageStorage,
    MultiFrameGrayscaleWordSecondaryCaptureImageStorage,
    MultiFrameTrueColorSecondaryCaptureImageStorage,
    RLELossless,
    SecondaryCaptureImageStorage,
    UltrasoundImageStorage,
    UltrasoundMultiFrameImageStorage,
)

from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.series import plan_series
from gateway.builders.stored_object import is_completed_object
from gateway.errors.dicom_objects import DicomEncodingError
from gateway.errors.media import MediaChangedError
from gateway.intake.dicom_structure import structure_of
from gateway.model.calibration import Calibration
from gateway.model.capture import CorrectableAttribute, FrameTiming
from gateway.model.destination_override import DestinationOverride
from gateway.validation import Severity, check_file
from tests.unit.builders.completed_objects import ACQUIRED, CAPTURE, EXAM, completed, opened, originals
from tests.unit.builders.invented_captures import FULL_EXAM, FULL_LOOP, Ledger, build
from tests.unit.intake.invented_objects import device_object, region


def elements_of(path) -> dict[int, bytes]:
    """Every element of the top level as it stands in the file; read by walking, not by decoding."""
    structure = structure_of(path.read_bytes(), path.name)
    return {span.tag: bytes(structure.data[span.start : span.end]) for span in structure.elements}


def packed(ds: Dataset, syntax) -> Dataset:
    ds.compress(syntax)
    return ds


SOURCES = {
    "explicit": device_object,
    "implicit": lambda: device_object(syntax=ImplicitVRLittleEndian),
    "loop": lambda: device_object(5),
    "colour": lambda: device_object(colour=True),
    "rle": lambda: packed(device_object(4), RLELossless),
    "jpeg-ls": lambda: packed(device_object(4), JPEGLSLossless),
    "secondary capture": lambda: device_object(sop_class=SecondaryCaptureImageStorage),
    "secondary capture, word": lambda: device_object(sop_class=SecondaryCaptureImageStorage, bits=16),
}


@pytest.mark.parametrize("name", SOURCES)
def test_pixels_and_encoding_are_untouched(name, tmp_path):
    done = completed(SOURCES[name](), tmp_path)
    before, after = elements_of(tmp_path / "old" / "IM0001.dcm"), elements_of(done.built.path)
    assert after[0x7FE00010] == before[0x7FE00010]
    assert done.out.file_meta.TransferSyntaxUID == done.source.file_meta.TransferSyntaxUID
    assert done.built.transfer_syntax_uid == done.source.file_meta.TransferSyntaxUID
    assert done.built.keeps_encoding
    assert done.built.size_bytes == done.built.path.stat().st_size


@pytest.mark.parametrize("name", SOURCES)
def test_the_checker_finds_no_error(name, tmp_path):
    done = completed(SOURCES[name](), tmp_path)
    assert [f for f in check_file(done.built.path).findings if f.severity is Severity.ERROR] == []


@pytest.mark.parametrize("name", ["explicit", "implicit", "rle"])
def test_what_the_exam_says_nothing_about_survives_byte_for_byte(name, tmp_path):
    ds = SOURCES[name]()
    ds.add_new(0x00091001, "UN", b"\x00\xff\x80ab")
    ds.add_new(0x00090010, "LO", "OTHER BLOCK")
    ds.PerformedProcedureStepID = "STEP 7"
    nested = Dataset()
    nested.CodeValue, nested.CodingSchemeDesignator, nested.CodeMeaning = "x", "99OLD", "kept"
    ds.PerformedProtocolCodeSequence = [nested]
    ds["PerformedProtocolCodeSequence"].is_undefined_length = True
    ds.add_new(0xFFFCFFFC, "OB", bytes(8))  # Data Set Trailing Padding, after the pixels
    done = completed(ds, tmp_path)
    before, after = elements_of(tmp_path / "old" / "IM0001.dcm"), elements_of(done.built.path)
    kept = (0x00190010, 0x00191001, 0x00191002, 0x00090010, 0x00091001, 0x00400253, 0x00400260, 0x00280301, 0xFFFCFFFC)
    assert {tag: after[tag] for tag in kept} == {tag: before[tag] for tag in kept}


def test_a_structure_after_the_pixels_is_still_ordered(tmp_path):
    ds = device_object()
    ds.add_new(0x7FE10010, "LO", "BLOCK AFTER")
    ds.add_new(0x7FE11001, "OB", b"after")
    tags = list(elements_of(completed(ds, tmp_path).built.path))
    assert tags == sorted(tags)
    assert tags[-2:] == [0x7FE10010, 0x7FE11001]


def test_missing_attributes_are_completed(tmp_path):
    out = completed(device_object(), tmp_path).out
    assert (out.PatientID, out.PatientName, out.PatientBirthDate) == ("INV-1", "Holm^Maija", "19580314")
    assert out.ImageLaterality == "R"
    assert out.AnatomicRegionSequence[0].CodeMeaning == "Eye"
    assert out.ViewCodeSequence[0].CodeMeaning == "Transverse"
    assert out.AcquisitionTime == "093410"
    assert out.InstitutionName == "Invented clinic"
    assert out.SyntheticData == "YES"


def test_the_device_that_made_it_stays_its_equipment_and_the_gateway_is_named_after_earlier_ones(tmp_path):
    earlier = Dataset()
    earlier.Manufacturer = "Invented importer"
    purpose = Dataset()
    purpose.CodeValue, purpose.CodingSchemeDesignator, purpose.CodeMeaning = "MEDIM", "DCM", "Portable Media Importer"
    earlier.PurposeOfReferenceCodeSequence = [purpose]
    out = completed(device_object(ContributingEquipmentSequence=[earlier]), tmp_path).out
    assert out.Manufacturer == "Invented Instruments"
    first, second = out.ContributingEquipmentSequence
    assert first.Manufacturer == "Invented importer"
    # PS3.16 CID 7005
    assert second.PurposeOfReferenceCodeSequence[0].CodeValue == "109103"
    assert second.ManufacturerModelName == "Eye ultrasound gateway"
    assert second.ContributionDateTime


def test_every_replaced_value_is_kept_after_earlier_ones(tmp_path):
    earlier, values = Dataset(), Dataset()
    values.PatientID = "FIRST"
    earlier.ModifiedAttributesSequence = [values]
    earlier.AttributeModificationDateTime, earlier.ModifyingSystem = "20200101", "another system"
    earlier.SourceOfPreviousValues, earlier.ReasonForTheAttributeModification = "", "COERCE"
    ds = device_object(OriginalAttributesSequence=[earlier], StudyDescription="old words", Laterality="R")
    done = completed(ds, tmp_path)
    first, second = done.out.OriginalAttributesSequence
    assert first.ModifyingSystem == "another system"
    assert first.ModifiedAttributesSequence[0].PatientID == "FIRST"
    assert second.ReasonForTheAttributeModification == "COERCE"
    before = second.ModifiedAttributesSequence[0]
    assert before.StudyDescription == "old words"
    assert before.Laterality == "R"
    assert "Laterality" not in done.out
    for keyword in (
        "StudyInstanceUID",
        "SeriesInstanceUID",
        "SOPInstanceUID",
        "SeriesNumber",
        "InstanceNumber",
        "StudyID",
    ):
        assert before[keyword].value == done.source[keyword].value
        assert done.out[keyword].value != done.source[keyword].value


def test_nothing_that_came_in_goes_missing(tmp_path):
    ds = device_object(
        Laterality="R", InstanceCreatorUID="1.2.3", ImageComments="own words", RequestAttributesSequence=[Dataset()],
        OperatorsName="Old^Operator", TransducerType="LINEAR", MechanicalIndex="0.3",
    )  # fmt: skip
    done = completed(ds, tmp_path)
    before = originals(done.out, "COERCE")
    for element in done.source:
        if element.is_empty or element.keyword == "ImageComments":
            continue
        assert done.out.get(element.tag) == element or before.get(element.tag) == element, element.keyword
    assert done.out.ImageComments.endswith("own words")


def test_it_is_a_new_instance_that_names_the_old_one(tmp_path):
    done = completed(device_object(), tmp_path)
    assert done.out.SOPInstanceUID != done.source.SOPInstanceUID
    (reference,) = done.out.SourceImageSequence
    assert reference.ReferencedSOPInstanceUID == done.source.SOPInstanceUID
    assert reference.ReferencedSOPClassUID == done.source.SOPClassUID
    assert list(done.out.ImageType)[:2] == ["ORIGINAL", "PRIMARY"]


def test_the_same_object_and_exam_are_the_same_bytes_and_any_other_are_another_instance(tmp_path):
    one = completed(device_object(), tmp_path / "1")
    again = completed(device_object(), tmp_path / "2")
    assert one.built.path.read_bytes() == again.built.path.read_bytes()
    other_source = completed(device_object(PatientSize="1.7"), tmp_path / "3")
    other_eye = completed(device_object(ImageLaterality="L"), tmp_path / "4", CorrectableAttribute.EYE)
    uids = {each.built.sop_instance_uid for each in (one, again, other_source, other_eye)}
    assert len(uids) == 3


@pytest.mark.parametrize(
    ("ds", "sop_class"),
    [
        (device_object, UltrasoundImageStorage),
        (lambda: device_object(sop_class=SecondaryCaptureImageStorage, colour=True), UltrasoundImageStorage),
        (
            lambda: device_object(4, sop_class=MultiFrameGrayscaleByteSecondaryCaptureImageStorage),
            UltrasoundMultiFrameImageStorage,
        ),
        (
            lambda: device_object(4, sop_class=MultiFrameTrueColorSecondaryCaptureImageStorage, colour=True),
            UltrasoundMultiFrameImageStorage,
        ),
        # 16 bits and MONOCHROME1 are none of the ultrasound terms (PS3.3 C.8.5.6.1.2, .13)
        (lambda: device_object(sop_class=SecondaryCaptureImageStorage, bits=16), SecondaryCaptureImageStorage),
        (
            lambda: device_object(3, sop_class=MultiFrameGrayscaleWordSecondaryCaptureImageStorage, bits=16),
            MultiFrameGrayscaleWordSecondaryCaptureImageStorage,
        ),
        (
            lambda: device_object(
                sop_class=SecondaryCaptureImageStorage, PhotometricInterpretation="MONOCHROME1"
            ),
            SecondaryCaptureImageStorage,
        ),
    ],
)  # fmt: skip
def test_what_can_be_an_ultrasound_image_becomes_one(ds, sop_class, tmp_path):
    done = completed(ds(), tmp_path)
    assert done.out.SOPClassUID == sop_class == done.out.file_meta.MediaStorageSOPClassUID
    if done.source.SOPClassUID != sop_class:
        assert originals(done.out, "COERCE").SOPClassUID == done.source.SOPClassUID


def test_a_loop_without_times_takes_those_of_the_exam(tmp_path):
    ds = device_object(4, sop_class=MultiFrameGrayscaleByteSecondaryCaptureImageStorage)
    del ds.FrameTime
    ds.FrameIncrementPointer = 0x00182001  # Page Number Vector
    ds.PageNumberVector = [1, 2, 3, 4]
    out = completed(ds, tmp_path, timing=FrameTiming(frame_rate_hz=25)).out
    assert (out.FrameTime, out.FrameIncrementPointer) == (40, 0x00181063)
    assert originals(out, "COERCE").FrameIncrementPointer == 0x00182001


def test_regions_of_the_device_are_kept_as_they_came(tmp_path):
    ds = device_object(SequenceOfUltrasoundRegions=[region(0.1), region(0.1)])
    done = completed(ds, tmp_path, calibration=Calibration(0.1, 0.1))
    before, after = elements_of(tmp_path / "old" / "IM0001.dcm"), elements_of(done.built.path)
    assert after[0x00186011] == before[0x00186011]


def test_the_exams_scale_completes_an_object_without_one(tmp_path):
    out = completed(device_object(), tmp_path, calibration=Calibration(0.1, 0.1)).out
    assert out.SequenceOfUltrasoundRegions[0].PhysicalDeltaX == pytest.approx(0.01)


def test_a_corrected_eye_is_corrected_everywhere_and_the_wrong_one_kept(tmp_path):
    structure, side = Dataset(), Dataset()
    side.CodeValue, side.CodingSchemeDesignator, side.CodeMeaning = "7771000", "SCT", "Left"
    structure.CodeValue, structure.CodingSchemeDesignator, structure.CodeMeaning = "5665001", "SCT", "Retina"
    structure.PrimaryAnatomicStructureModifierSequence = [side]
    ds = device_object(ImageLaterality="L", PrimaryAnatomicStructureSequence=[structure])
    out = completed(ds, tmp_path, CorrectableAttribute.EYE).out
    assert out.ImageLaterality == "R"
    assert "PrimaryAnatomicStructureSequence" not in out
    before = originals(out, "CORRECT")
    assert before.ImageLaterality == "L"
    assert before.PrimaryAnatomicStructureSequence[0].CodeMeaning == "Retina"


def test_nothing_of_a_wrong_patient_stays_but_as_an_earlier_value(tmp_path):
    ds = device_object(PatientID="OTHER-9", PatientName="Other^Name", PatientAge="041Y", Allergies="latex")
    out = completed(ds, tmp_path, CorrectableAttribute.PATIENT_ID, CorrectableAttribute.PATIENT_NAME).out
    assert (out.PatientID, out.PatientName) == ("INV-1", "Holm^Maija")
    assert "PatientAge" not in out
    assert "Allergies" not in out
    before = originals(out, "CORRECT")
    assert (before.PatientID, before.PatientAge, before.Allergies) == ("OTHER-9", "041Y", "latex")


def test_lossy_history_and_burned_in_annotation_survive(tmp_path):
    ds = device_object(
        LossyImageCompression="01", LossyImageCompressionRatio="12.5", LossyImageCompressionMethod="ISO_10918_1"
    )
    ds.BurnedInAnnotation = "YES"
    out = completed(ds, tmp_path).out
    assert (out.LossyImageCompression, out.LossyImageCompressionRatio, out.LossyImageCompressionMethod) == (
        "01", 12.5, "ISO_10918_1",
    )  # fmt: skip
    assert out.BurnedInAnnotation == "YES"


def test_of_loss_nothing_is_said_that_nobody_knows(tmp_path):
    assert "LossyImageCompression" not in completed(device_object(), tmp_path).out


@pytest.mark.parametrize("syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian])
@pytest.mark.parametrize(
    ("character_set", "words"),
    [
        ("ISO_IR 100", "Ögonklinik Åbo"),
        ("ISO_IR 144", "Глаз"),
        ("ISO_IR 192", "眼科"),
        (["", "ISO 2022 IR 87"], "眼科"),
    ],
)
def test_texts_come_into_utf_8_and_earlier_ones_stay_readable(character_set, words, syntax, tmp_path):
    nested = Dataset()
    nested.CodeValue, nested.CodingSchemeDesignator, nested.CodeMeaning = "x", "99OLD", words
    ds = device_object(
        syntax=syntax, SpecificCharacterSet=character_set, StationName="R", InstitutionalDepartmentName=words,
        SeriesDescription=words, PerformedProtocolCodeSequence=[nested],
    )  # fmt: skip
    done = completed(ds, tmp_path)
    assert done.out.SpecificCharacterSet == "ISO_IR 192"
    assert done.out.InstitutionalDepartmentName == words
    assert done.out.PerformedProtocolCodeSequence[0].CodeMeaning == words
    assert originals(done.out, "COERCE").SeriesDescription == words
    assert words.encode("utf-8") in elements_of(done.built.path)[0x00081040]


def test_a_corrected_name_stays_readable_in_its_own_character_set(tmp_path):
    ds = device_object(SpecificCharacterSet="ISO_IR 100", PatientName="Åkesson^Örjan")
    out = completed(ds, tmp_path, CorrectableAttribute.PATIENT_NAME).out
    assert originals(out, "CORRECT").PatientName == "Åkesson^Örjan"


def test_texts_of_no_stated_character_set_are_not_guessed(tmp_path):
    ds = device_object(InstitutionalDepartmentName="PLACE")
    buffer = io.BytesIO()
    ds.save_as(buffer, enforce_file_format=True)
    broken = dcmread(io.BytesIO(buffer.getvalue().replace(b"PLACE", b"\xd6gonk")))
    with pytest.raises(DicomEncodingError, match="no character set is stated"):
        completed(broken, tmp_path)


@pytest.mark.parametrize(
    ("stated", "offset"),
    [
        ({}, None),  # Content Time alone: nobody said in which zone it is
        ({"AcquisitionDate": "20260302", "AcquisitionTime": "093410"}, "+0100"),
        ({"TimezoneOffsetFromUTC": "+0000", "AcquisitionDate": "20260302", "AcquisitionTime": "083410"}, "+0000"),
    ],
)
def test_an_offset_from_utc_is_said_of_the_objects_times_only_where_it_is_known(stated, offset, tmp_path):
    out = completed(device_object(**stated), tmp_path).out
    assert out.get("TimezoneOffsetFromUTC") == offset
    assert out.StudyTime == ("083000" if offset == "+0000" else "093000")
    assert out.StudyID == "202603020930"


def test_a_corrected_time_replaces_the_wrong_one(tmp_path):
    ds = device_object(AcquisitionDate="20260302", AcquisitionTime="213410")
    out = completed(ds, tmp_path, CorrectableAttribute.ACQUIRED).out
    assert out.AcquisitionTime == f"{ACQUIRED:%H%M%S}"
    assert originals(out, "CORRECT").AcquisitionTime == "213410"


def test_a_destinations_own_value_wins_and_the_objects_is_kept(tmp_path):
    options = BuildOptions(
        overrides=(DestinationOverride("archive", "InstitutionName", "Their word", "they ask for it"),)
    )
    out = completed(device_object(InstitutionName="On the device"), tmp_path, options=options).out
    assert out.InstitutionName == "Their word"
    assert originals(out, "COERCE").InstitutionName == "On the device"


def test_signatures_of_the_other_instance_do_not_stand_over_this_one(tmp_path):
    signature = Dataset()
    signature.MACIDNumber = 1
    ds = device_object()
    ds.add_new(0xFFFAFFFA, "SQ", Sequence([signature]))
    out = completed(ds, tmp_path).out
    assert 0xFFFAFFFA not in out
    assert 0xFFFAFFFA in originals(out, "COERCE")


def test_a_source_that_changes_after_it_was_opened_is_refused_and_leaves_nothing(tmp_path):
    source = opened(device_object(), tmp_path)
    path = tmp_path / "old" / "IM0001.dcm"
    data = bytearray(path.read_bytes())
    data[-5] ^= 0xFF
    path.write_bytes(data)
    options = BuildOptions()
    context = BuildContext(options, Ledger(), tmp_path / "out")
    with pytest.raises(MediaChangedError):
        build_image(EXAM, CAPTURE, source, plan_series(EXAM, options)[CAPTURE.id], context)
    assert list((tmp_path / "out").iterdir()) == []


def test_origins_tell_the_exam_a_rule_or_the_object(tmp_path):
    origins = completed(device_object(), tmp_path).built.attribute_origins
    assert origins["ImageLaterality"] == "captures[0].eye"
    assert origins["Manufacturer"] == "object: old/IM0001.dcm"
    assert origins["(0019,1001)"] == "object: old/IM0001.dcm"
    assert origins["SOPInstanceUID"].startswith("rule:")


def test_completed_objects_are_told_from_loops_of_the_gateway(tmp_path):
    assert is_completed_object(completed(packed(device_object(3), JPEGLSLossless), tmp_path).built.path)
    assert not is_completed_object(build(FULL_EXAM, FULL_LOOP, tmp_path).path)


def test_an_order_of_another_study_goes_with_it(tmp_path):
    request = Dataset()
    request.RequestedProcedureID = "OLD-1"
    ds = device_object(RequestAttributesSequence=[request], AccessionNumber="OLD-A")
    out = completed(ds, tmp_path / "1").out
    assert "RequestAttributesSequence" not in out
    assert out.AccessionNumber == ""
    assert originals(out, "COERCE").AccessionNumber == "OLD-A"
    same = dataclasses.replace(EXAM, order=dataclasses.replace(EXAM.order, study_instance_uid=ds.StudyInstanceUID))
    request_of_exam = completed(ds, tmp_path / "2", exam=same).out.RequestAttributesSequence[0]
    assert request_of_exam.StudyInstanceUID == ds.StudyInstanceUID


def test_times_that_agree_within_a_second_stay_as_the_device_wrote_them(tmp_path):
    ds = device_object(AcquisitionDate="20260302", AcquisitionTime="093410.73")
    out = completed(ds, tmp_path, acquired=ACQUIRED + timedelta(milliseconds=500)).out
    assert out.AcquisitionTime == "093410.73"
