"""Images say everything the exam states, nothing it does not, and the same exam gives the same bytes."""

from __future__ import annotations

import dataclasses
import hashlib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset

import gateway
from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions, GeneralEquipment
from gateway.builders.series import plan_series
from gateway.errors.objects import ValueNotAllowedError, ValueTooLongError
from gateway.model.capture import AcquisitionSettings, Capture, FrameRange
from gateway.model.laterality import Eye
from gateway.model.media import ColourModel
from gateway.model.people import PersonName
from gateway.model.position import ProbePosition, Scan, Zone
from tests.unit.builders.invented_captures import (
    BARE_EXAM,
    BARE_LOOP,
    BARE_STILL,
    FULL_EXAM,
    FULL_LOOP,
    FULL_STILL,
    LOOP_FACTS,
    Frames,
    Ledger,
    build,
    facts,
)
from tests.unit.builders.test_attributes import paths

CAPTURES = [(FULL_EXAM, FULL_STILL), (FULL_EXAM, FULL_LOOP), (BARE_EXAM, BARE_STILL), (BARE_EXAM, BARE_LOOP)]
STANDARD_EXTENDED = {
    "AcousticCouplingMediumFlag",
    "AcousticCouplingMediumCodeSequence",
    "AcquisitionContextSequence",
    "LensStatusCodeSequence",
    "ObjectSoundSpeed",
    "OphthalmicUltrasoundMethodCodeSequence",
    "PatientEyeMovementCommanded",
    "PatientEyeMovementCommandCodeSequence",
    "SoundSpeedCorrectionMechanismCodeSequence",
    "VitreousStatusCodeSequence",
}


def read(exam, capture: Capture, folder: Path, **how) -> Dataset:
    return dcmread(build(exam, capture, folder, **how).path)


def context_items(dataset: Dataset) -> dict[str, object]:
    items = {}
    for item in dataset.AcquisitionContextSequence:
        value = item.get("NumericValue", item.get("TextValue"))
        if value is None:
            value = item.ConceptCodeSequence[0].CodeValue
        items.setdefault(item.ConceptNameCodeSequence[0].CodeValue, []).append(value)
    return items


@pytest.mark.parametrize(("exam", "capture"), CAPTURES)
def test_the_same_capture_twice_is_the_same_file(
    exam, capture: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = build(exam, capture, tmp_path / "a")
    monkeypatch.setattr(gateway, "__version__", "99.0.0", raising=False)
    second = build(exam, capture, tmp_path / "b")
    assert first.path.read_bytes() == second.path.read_bytes()
    assert first.sha256 == second.sha256 == hashlib.sha256(first.path.read_bytes()).hexdigest()
    assert first.size_bytes == first.path.stat().st_size


def test_the_package_version_is_nowhere_in_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gateway, "__version__", "98.76.54", raising=False)
    assert b"98.76.54" not in build(FULL_EXAM, FULL_STILL, tmp_path).path.read_bytes()


def test_the_creation_moment_is_the_ledgers_and_not_part_of_the_uid(tmp_path: Path) -> None:
    first = build(FULL_EXAM, FULL_STILL, tmp_path / "a")
    later = build(FULL_EXAM, FULL_STILL, tmp_path / "b", ledger=Ledger(datetime(2026, 3, 2, 23, 30, tzinfo=UTC)))
    assert first.sop_instance_uid == later.sop_instance_uid
    dataset = dcmread(later.path)
    # Half an hour before midnight UTC is after midnight on the session's clock, +0100.
    assert (dataset.InstanceCreationDate, dataset.InstanceCreationTime) == ("20260303", "003000")
    assert dataset.TimezoneOffsetFromUTC == "+0100"


@pytest.mark.parametrize(
    ("change", "source"),
    [
        ({"eye": Eye.RIGHT}, None),
        ({"comment": "Another comment."}, None),
        ({"kept": FrameRange(1, 5)}, None),
        ({}, Frames(dataclasses.replace(LOOP_FACTS, source_sha256="0" * 64))),
        ({}, Frames(dataclasses.replace(LOOP_FACTS, derivation=()))),
    ],
)
def test_another_content_is_another_instance(change: dict[str, object], source: Frames | None, tmp_path: Path) -> None:
    first = build(FULL_EXAM, FULL_LOOP, tmp_path)
    changed = dataclasses.replace(FULL_LOOP, **change)
    assert build(FULL_EXAM, changed, tmp_path, source=source).sop_instance_uid != first.sop_instance_uid


def test_an_image_cannot_enter_a_series_of_the_other_eye(tmp_path: Path) -> None:
    placement = plan_series(FULL_EXAM, BuildOptions())[FULL_STILL.id]
    other = dataclasses.replace(FULL_STILL, eye=Eye.LEFT)
    context = BuildContext(BuildOptions(), Ledger(), tmp_path)
    with pytest.raises(ValueNotAllowedError):
        build_image(FULL_EXAM, other, Frames(facts()), placement, context)


def test_a_held_neighbour_changes_no_byte(tmp_path: Path) -> None:
    alone = dataclasses.replace(FULL_EXAM, captures=(FULL_LOOP,))
    assert build(alone, FULL_LOOP, tmp_path / "a").sha256 == build(FULL_EXAM, FULL_LOOP, tmp_path / "b").sha256


@pytest.mark.parametrize(("exam", "capture"), CAPTURES)
def test_every_attribute_has_an_origin(exam, capture: Capture, tmp_path: Path) -> None:
    built = build(exam, capture, tmp_path)
    written = set(paths(dcmread(built.path)))
    if capture.kind == "loop":
        written -= {"PixelData"}  # streamed to the file beside the dataset
    assert written == set(built.attribute_origins)
    assert all(built.attribute_origins.values())


@pytest.mark.parametrize("eye", list(Eye))
def test_the_eye_is_told_in_one_value_and_one_code_and_never_by_series(eye: Eye, tmp_path: Path) -> None:
    """PS3.3 C.7.6.1 Image Laterality; 10.5: R is Right (24028007), L is Left (7771000); C.7.3.1 Laterality 2C."""
    dataset = read(FULL_EXAM, dataclasses.replace(FULL_STILL, eye=eye), tmp_path)
    assert dataset.ImageLaterality == {"right": "R", "left": "L"}[eye.value]
    assert "Laterality" not in dataset
    region = dataset.AnatomicRegionSequence[0]
    assert (region.CodeValue, region.CodingSchemeDesignator) == ("81745001", "SCT")
    side = region.AnatomicRegionModifierSequence[0]
    assert side.CodeValue == {"right": "24028007", "left": "7771000"}[eye.value]
    assert dataset.SeriesDescription.startswith({"right": "OD", "left": "OS"}[eye.value])
    others = {"right": ("7771000", "24028007"), "left": ("24028007", "7771000")}[eye.value]
    assert others[0] not in str(dataset)


@pytest.mark.parametrize(
    ("scan", "view"),
    [
        (Scan.TRANSVERSE, "62824007"),
        (Scan.LONGITUDINAL, "38717003"),
        (Scan.AXIAL_HORIZONTAL, "24422004"),
        (Scan.AXIAL_VERTICAL, "24422004"),
        (Scan.AXIAL_OBLIQUE, "24422004"),
        (Scan.MACULA, None),
        (Scan.ORBITAL, None),
        (Scan.OTHER, None),
    ],
)
def test_views_are_coded_where_a_code_exists(scan: Scan, view: str | None, tmp_path: Path) -> None:
    """Codes of PS3.16 CID 6 and CID 6312."""
    position = ProbePosition(scan, "swept" if scan is Scan.OTHER else "")
    dataset = read(BARE_EXAM, dataclasses.replace(BARE_STILL, position=position), tmp_path)
    found = dataset.ViewCodeSequence[0].CodeValue if "ViewCodeSequence" in dataset else None
    assert found == view
    assert "ViewModifierCodeSequence" not in dataset
    assert ("swept" if scan is Scan.OTHER else scan.value.replace("-", " ")) in dataset.ImageComments


def test_position_stands_in_codes_and_in_words(tmp_path: Path) -> None:
    dataset = read(FULL_EXAM, FULL_LOOP, tmp_path)
    modifiers = [item.CodeValue for item in dataset.AnatomicRegionSequence[0].AnatomicRegionModifierSequence]
    assert modifiers == ["7771000", "ZPOLE", "255551008", "CLOCK0130", "21114003"]
    items = context_items(dataset)
    assert items["111014"] == ["CLOCK0130"]
    assert items["SCANDIR"] == ["21114003"]
    assert items["ZONE"] == ["ZPOLE"]
    assert items["MARKER"] == ["nasal"]
    first_line = dataset.ImageComments.splitlines()[0]
    assert first_line.startswith("OS (left eye): axial oblique 1:30 o'clock, posterior pole; superotemporal")
    assert "probe marker nasal" in first_line
    assert "gaze primary" in first_line


def test_a_licensed_site_gets_standard_clock_codes(tmp_path: Path) -> None:
    """1.30 o'clock position in SNOMED CT: HL7 FHIR R5 clockface value set."""
    dataset = read(FULL_EXAM, FULL_LOOP, tmp_path, options=BuildOptions(snomed_extended=True))
    assert context_items(dataset)["111014"] == ["260319007"]


@pytest.mark.parametrize(
    ("position", "structure"),
    [
        (ProbePosition(Scan.MACULA), "MACULA"),
        (ProbePosition(Scan.ORBITAL), "363654007"),
        (ProbePosition(Scan.LONGITUDINAL, zone=Zone.CILIARY_BODY), "29534007"),
        (ProbePosition(Scan.LONGITUDINAL, zone=Zone.EQUATOR), None),
    ],
)
def test_the_structure_is_told_where_the_scan_names_one(
    position: ProbePosition, structure: str | None, tmp_path: Path
) -> None:
    dataset = read(BARE_EXAM, dataclasses.replace(BARE_STILL, position=position), tmp_path)
    found = dataset.get("PrimaryAnatomicStructureSequence")
    assert (found[0].CodeValue if found else None) == structure
    if found:
        assert found[0].PrimaryAnatomicStructureModifierSequence[0].CodeValue == "7771000"


def test_circumstances_are_told_in_attributes_context_and_words(tmp_path: Path) -> None:
    dataset = read(FULL_EXAM, FULL_STILL, tmp_path)
    assert dataset.keys() >= {dataset[keyword].tag for keyword in STANDARD_EXTENDED}
    assert dataset.ObjectSoundSpeed == 1550
    assert (dataset.MechanicalIndex, dataset.SoftTissueThermalIndex) == (0.18, 0.2)
    assert (dataset.TransducerType, dataset.DepthOfScanField) == ("SECTOR_MECH", 40)
    items = context_items(dataset)
    assert (items["110832"], items["GAIN"], items["DISPLAYGAIN"], items["DYNRANGE"]) == ([1550], [84], [-3], [60])
    assert items["LIDSTATE"] == ["LIDCLOSED"]
    assert items["127301"] == ["386760001"]
    assert items["CAUTION"] == ["suspected open globe", "poor cooperation"]
    for words in ("through lid", "gel", "84 dB", "1550 m/s", "Caution: suspected open globe", "Second line."):
        assert words in dataset.ImageComments


def test_what_is_not_stated_is_left_out(tmp_path: Path) -> None:
    dataset = read(BARE_EXAM, BARE_STILL, tmp_path)
    absent = (STANDARD_EXTENDED - {"AcquisitionContextSequence"}) | {
        "AcquisitionDateTime",
        "BurnedInAnnotation",
        "DepthOfScanField",
        "OperatorsName",
        "PixelSpacing",
        "RequestAttributesSequence",
        "SequenceOfUltrasoundRegions",
        "SyntheticData",
        "TransducerType",
    }
    assert not {keyword for keyword in absent if keyword in dataset}
    assert dataset.ContentDate is None or dataset.ContentDate == ""
    assert set(context_items(dataset)) == {"SCANDIR"}


def test_words_without_a_code_travel_as_text(tmp_path: Path) -> None:
    settings = AcquisitionSettings(couplant="methylcellulose", anaesthetic="none", depth_mm=37.5)
    dataset = read(BARE_EXAM, dataclasses.replace(BARE_STILL, settings=settings), tmp_path)
    assert "AcousticCouplingMediumFlag" not in dataset
    assert "DepthOfScanField" not in dataset  # holds whole millimetres only
    assert context_items(dataset)["127301"] == ["none"]
    assert "couplant methylcellulose" in dataset.ImageComments
    assert "depth 37.5 mm" in dataset.ImageComments


def test_people_order_and_patient_are_kept_apart(tmp_path: Path) -> None:
    dataset = read(FULL_EXAM, FULL_STILL, tmp_path)
    assert dataset.OperatorsName == "Lind^Tove"
    assert dataset.PerformingPhysicianName == "Dahl^Erik"
    assert dataset.ReferringPhysicianName == "Åström^Liv"
    assert dataset.RequestingPhysician == "Berg^Nora"
    assert str(dataset.PatientName) == "Kim^Mira=金^美羅=김^미라"
    assert dataset.SpecificCharacterSet == "ISO_IR 192"
    request = dataset.RequestAttributesSequence[0]
    assert request.ReasonForTheRequestedProcedure == "mass seen in right fundus"
    assert (request.RequestedProcedureID, dataset.StudyID, dataset.AccessionNumber) == ("RP-1", "RP-1", "A-1001")
    assert dataset.SyntheticData == "YES"


def test_a_time_in_another_offset_is_brought_to_the_sessions_clock(tmp_path: Path) -> None:
    """PS3.3 C.12.1.1.8: one Timezone Offset From UTC holds for all dates and times of an object."""
    moment = datetime(2026, 3, 2, 8, 34, 10, tzinfo=UTC)
    dataset = read(FULL_EXAM, dataclasses.replace(FULL_STILL, acquired=moment), tmp_path)
    assert (dataset.ContentDate, dataset.ContentTime) == ("20260302", "093410")
    assert dataset.AcquisitionDateTime == "20260302093410+0100"


def test_lossy_sources_say_so_and_others_say_they_are_not(tmp_path: Path) -> None:
    """PS3.3 C.7.6.1.1.5."""
    loop = read(FULL_EXAM, FULL_LOOP, tmp_path)
    assert (loop.LossyImageCompression, loop.LossyImageCompressionMethod) == ("01", "ISO_14496_10")
    assert loop.LossyImageCompressionRatio == 37.1235
    assert loop.ImageType == ["ORIGINAL", "PRIMARY", "OPHTHALMIC", "0001"]
    assert "Luma" in loop.DerivationDescription
    assert read(FULL_EXAM, FULL_STILL, tmp_path).LossyImageCompression == "00"


def test_colour_is_rgb_by_pixel_and_claims_nothing_about_colour_flow(tmp_path: Path) -> None:
    """PS3.3 C.8.5.6.1.2 and .16; whether the colours mean flow is not stated."""
    dataset = read(BARE_EXAM, BARE_STILL, tmp_path, source=Frames(facts(colour=ColourModel.RGB)))
    assert (dataset.SamplesPerPixel, dataset.PhotometricInterpretation, dataset.PlanarConfiguration) == (3, "RGB", 0)
    assert "UltrasoundColorDataPresent" not in dataset
    assert "PresentationLUTShape" not in dataset


def test_an_a_scan_claims_no_two_dimensional_mode(tmp_path: Path) -> None:
    capture = dataclasses.replace(BARE_STILL, position=ProbePosition(Scan.A_SCAN))
    assert read(BARE_EXAM, capture, tmp_path).ImageType == ["ORIGINAL", "PRIMARY", "OPHTHALMIC"]


@pytest.mark.parametrize("general", list(GeneralEquipment))
def test_device_and_gateway_both_stand_in_the_equipment(general: GeneralEquipment, tmp_path: Path) -> None:
    """PS3.3 C.12.1.1.5; purposes of PS3.16 CID 7005."""
    dataset = read(FULL_EXAM, FULL_STILL, tmp_path, options=BuildOptions(general_equipment=general))
    other = dataset.ContributingEquipmentSequence[0]
    makers = [dataset.Manufacturer, other.Manufacturer]
    if general is GeneralEquipment.DEVICE:
        assert other.PurposeOfReferenceCodeSequence[0].CodeValue == "109102"
    else:
        makers.reverse()
        assert other.PurposeOfReferenceCodeSequence[0].CodeValue == "109101"
    assert makers == ["Workstation A maker (invented)", "Eye ultrasound gateway project"]


def test_private_codes_are_declared_and_only_where_used(tmp_path: Path) -> None:
    """PS3.3 C.12.1.1.1, PS3.16 8: a private scheme is identified by a UID and who answers for it."""
    scheme = read(FULL_EXAM, FULL_STILL, tmp_path).CodingSchemeIdentificationSequence[0]
    assert scheme.CodingSchemeDesignator.startswith("99")
    assert scheme.CodingSchemeUID.startswith("2.25.")
    capture = dataclasses.replace(BARE_STILL, position=ProbePosition(Scan.TRANSVERSE))
    assert "CodingSchemeIdentificationSequence" not in read(BARE_EXAM, capture, tmp_path)


def test_an_identifier_that_is_too_long_is_refused_and_never_cut(tmp_path: Path) -> None:
    exam = dataclasses.replace(BARE_EXAM, patient=dataclasses.replace(BARE_EXAM.patient, id="9" * 65))
    with pytest.raises(ValueTooLongError) as error:
        build(exam, BARE_STILL, tmp_path)
    assert "999" not in str(error.value)
    assert not list(tmp_path.iterdir())


def test_names_in_any_script_come_back_character_for_character(tmp_path: Path) -> None:
    name = PersonName("Ζωή^Ælfgifu-Łucja", "山田^太郎", "やまだ^たろう")
    exam = dataclasses.replace(BARE_EXAM, patient=dataclasses.replace(BARE_EXAM.patient, name=name))
    assert str(read(exam, BARE_STILL, tmp_path).PatientName) == "Ζωή^Ælfgifu-Łucja=山田^太郎=やまだ^たろう"
