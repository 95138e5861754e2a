"""The measurement report as a dataset: what is said, how negatives are said, and that it is the same for ever."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pydicom
import pytest
from pydicom.dataset import Dataset

from gateway.builders.built import BuiltObject
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.sr.report import COMPREHENSIVE_SR, build_measurement_report
from gateway.errors.document import EyeContradictionError, PointOutsidePictureError
from gateway.errors.objects import ReferencedImageMissingError
from gateway.model.calibration import Point
from gateway.model.coded import TextOrCode
from gateway.model.exam import MeasuredExam
from gateway.model.finding import Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasuredValue, Quantity, TissueSpeed, Unit
from gateway.model.order import Order, RequestedProcedure
from gateway.model.people import PersonName
from gateway.standard.codes import CodedConcept, concept
from tests.unit.builders.sr.invented_exam import (
    FixedLedger,
    a_context,
    a_held_part,
    a_measured_exam,
    an_exam,
    built_images,
    findings,
    values,
)


def report_of(measured: MeasuredExam, folder: Path, images: tuple[BuiltObject, ...] | None = None) -> Dataset:
    images = built_images(measured.exam) if images is None else images
    return pydicom.dcmread(build_measurement_report(measured, images, a_context(folder)).path)


def name_of(item: Dataset) -> str:
    return str(item.ConceptNameCodeSequence[0].CodeMeaning) if "ConceptNameCodeSequence" in item else ""


READERS: dict[str, Callable[[Dataset], object]] = {
    "CODE": lambda item: item.ConceptCodeSequence[0].CodeMeaning,
    "NUM": lambda item: item.MeasuredValueSequence[0]["NumericValue"].value.original_string,
    "TEXT": lambda item: item.TextValue,
    "PNAME": lambda item: item.PersonName,
    "DATE": lambda item: item.Date,
    "TIME": lambda item: item.Time,
    "UIDREF": lambda item: item.UID,
    "IMAGE": lambda item: item.ReferencedSOPSequence[0].ReferencedSOPInstanceUID,
}


def value_of(item: Dataset) -> str:
    return str(READERS[item.ValueType](item))


def children(item: Dataset, name: str | None = None, relationship: str | None = None) -> list[Dataset]:
    return [
        child
        for child in item.get("ContentSequence", [])
        if name in (None, name_of(child)) and relationship in (None, child.RelationshipType)
    ]


def only(item: Dataset, name: str, relationship: str | None = None) -> Dataset:
    (child,) = children(item, name, relationship)
    return child


def walk(item: Dataset) -> Iterator[Dataset]:
    yield item
    for child in children(item):
        yield from walk(child)


def groups(report: Dataset) -> dict[str, Dataset]:
    found = children(only(report, "Imaging Measurements"), "Measurement Group")
    return {value_of(only(group, "Tracking Identifier")): group for group in found}


# ------------------------------------------------------------------ the document


def test_the_document_is_a_preliminary_unverified_comprehensive_sr(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    assert report.SOPClassUID == report.file_meta.MediaStorageSOPClassUID == COMPREHENSIVE_SR
    assert (report.Modality, report.InstanceNumber) == ("SR", 1)
    assert (report.PreliminaryFlag, report.VerificationFlag) == ("PRELIMINARY", "UNVERIFIED")
    assert report.CompletionFlag == "COMPLETE"
    assert list(report.ReferencedPerformedProcedureStepSequence) == []
    assert report.ManufacturerModelName == "Eye ultrasound gateway"
    template = report.ContentTemplateSequence[0]
    assert (template.MappingResource, template.TemplateIdentifier) == ("DCMR", "1500")
    assert report.CodingSchemeIdentificationSequence[0].CodingSchemeDesignator == "99EYEUSGW"


def test_a_held_part_makes_the_report_partial_and_is_named(tmp_path: Path) -> None:
    measured = dataclasses.replace(a_measured_exam(), held=(a_held_part(),))
    report = report_of(measured, tmp_path)
    assert (report.CompletionFlag, report.CompletionFlagDescription) == ("PARTIAL", "held: m9")


def test_content_date_and_time_are_the_first_build_on_the_clock_of_the_session(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    assert (report.ContentDate, report.ContentTime) == ("20260302", "111530.250000")
    assert report.TimezoneOffsetFromUTC == "+0100"


def test_every_image_is_evidence_whether_the_tree_points_to_it_or_not(tmp_path: Path) -> None:
    measured = MeasuredExam(an_exam(findings=()), values()[:1])
    report = report_of(measured, tmp_path)
    (study,) = report.CurrentRequestedProcedureEvidenceSequence
    assert study.StudyInstanceUID == report.StudyInstanceUID
    listed = [
        (series.SeriesInstanceUID, instance.ReferencedSOPClassUID, instance.ReferencedSOPInstanceUID)
        for series in study.ReferencedSeriesSequence
        for instance in series.ReferencedSOPSequence
    ]
    images = built_images(measured.exam)
    assert listed == [(i.series_instance_uid, i.sop_class_uid, i.sop_instance_uid) for i in images]


def test_everything_the_tree_points_to_is_evidence(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    pointed = {value_of(item) for item in walk(report) if item.ValueType == "IMAGE"}
    evidence = {
        str(instance.ReferencedSOPInstanceUID)
        for study in report.CurrentRequestedProcedureEvidenceSequence
        for series in study.ReferencedSeriesSequence
        for instance in series.ReferencedSOPSequence
    }
    assert pointed == evidence == {"2.25.7001", "2.25.7002", "2.25.7003"}


def test_an_order_is_the_request_that_the_report_fulfils(tmp_path: Path) -> None:
    (request,) = report_of(a_measured_exam(), tmp_path).ReferencedRequestSequence
    assert (request.AccessionNumber, request.RequestedProcedureID) == ("A-1001", "RP-1")
    assert request.RequestedProcedureDescription == "Ultrasound of both eyes"
    assert "PlacerOrderNumberImagingServiceRequest" in request


def test_unscheduled_work_names_no_request(tmp_path: Path) -> None:
    assert "ReferencedRequestSequence" not in report_of(a_measured_exam(order=Order()), tmp_path)


def test_the_ordered_procedure_is_the_one_reported(tmp_path: Path) -> None:
    ordered = CodedConcept("OCUS", "99SITE", "Ocular ultrasound")
    order = Order(requested_procedure=RequestedProcedure("RP-2", code=ordered))
    report = report_of(a_measured_exam(order=order), tmp_path)
    assert value_of(only(report, "Procedure reported")) == "Ocular ultrasound"
    assert report.PerformedProcedureCodeSequence[0].CodeValue == "OCUS"


# ------------------------------------------------------------------ the same for ever


def test_the_same_exam_is_the_same_bytes_and_uid(tmp_path: Path) -> None:
    first = build_measurement_report(a_measured_exam(), built_images(an_exam()), a_context(tmp_path / "a"))
    again = build_measurement_report(a_measured_exam(), built_images(an_exam()), a_context(tmp_path / "b"))
    assert first.sop_instance_uid == again.sop_instance_uid
    assert first.path.read_bytes() == again.path.read_bytes()
    assert first.sha256 == again.sha256


def test_another_moment_of_building_is_no_other_report(tmp_path: Path) -> None:
    later = BuildContext(BuildOptions(), FixedLedger(datetime(2031, 1, 1, tzinfo=UTC)), tmp_path)
    first = build_measurement_report(a_measured_exam(), built_images(an_exam()), a_context(tmp_path))
    again = build_measurement_report(a_measured_exam(), built_images(an_exam()), later)
    assert first.sop_instance_uid == again.sop_instance_uid


def test_the_smallest_change_of_content_is_another_report(tmp_path: Path) -> None:
    measured = a_measured_exam()
    uids = set()
    nearly = dataclasses.replace(values()[2], value=Quantity(23.45, Unit.MM, "23.450"))
    changes = [
        measured,
        dataclasses.replace(measured, values=(*values()[:2], nearly, values()[3])),
        dataclasses.replace(measured, held=(a_held_part(),)),
        a_measured_exam(order=dataclasses.replace(an_exam().order, indication=TextOrCode("other reason"))),
    ]
    for change in changes:
        uids.add(build_measurement_report(change, built_images(change.exam), a_context(tmp_path)).sop_instance_uid)
    assert len(uids) == len(changes)


def test_tracking_identifiers_stay_when_values_change_and_are_each_their_own(tmp_path: Path) -> None:
    before = report_of(a_measured_exam(), tmp_path / "a")
    changed = dataclasses.replace(values()[2], value=Quantity(23.5, Unit.MM, "23.5"))
    after = report_of(
        dataclasses.replace(a_measured_exam(), values=(*values()[:2], changed, values()[3])), tmp_path / "b"
    )

    def tracked(report: Dataset) -> dict[str, str]:
        return {label: value_of(only(group, "Tracking Unique Identifier")) for label, group in groups(report).items()}

    assert tracked(before) == tracked(after)
    assert len(set(tracked(before).values())) == len(tracked(before)) == 7


# ------------------------------------------------------------------ groups


def test_each_group_is_of_one_eye_with_its_side_and_at_most_one_zone(tmp_path: Path) -> None:
    """PS3.16 TID 2120 rows 1 to 4: finding site Eye exactly once, laterality left or right, one modifier at most."""
    for label, group in groups(report_of(a_measured_exam(), tmp_path)).items():
        site = only(group, "Finding Site", "HAS CONCEPT MOD")
        assert site.ConceptCodeSequence[0].CodeValue == "81745001"
        side = only(site, "Laterality", "HAS CONCEPT MOD").ConceptCodeSequence[0].CodeValue
        assert side == ("24028007" if label.startswith("right eye") else "7771000")
        assert len(children(site, "Topographical modifier")) <= 1


def test_a_present_finding_is_the_value_of_finding_with_its_place(tmp_path: Path) -> None:
    group = groups(report_of(a_measured_exam(), tmp_path))["right eye, mass (f1)"]
    finding = only(group, "Finding", "CONTAINS")
    assert value_of(finding) == "Mass"
    structure = only(finding, "Finding Site")
    assert value_of(structure) == "Choroid of eye"
    assert value_of(only(structure, "Laterality")) == "Right"
    assert value_of(only(group, "Clockface or region")).startswith("9 o'clock")
    assert value_of(only(only(group, "Finding Site"), "Topographical modifier")) == "Posterior to equator"
    assert [value_of(item) for item in children(group, "Source")] == ["2.25.7001", "2.25.7002"]
    assert value_of(only(group, "Comment")) == "dome shaped"


@pytest.mark.parametrize(
    ("presence", "value"),
    [
        (Presence.ABSENT, ("272519000", "SCT")),
        (Presence.UNDETERMINED, ("373068000", "SCT")),
        (Presence.NOT_SHOWN, ("NOTSHOWN", "99EYEUSGW")),
    ],
)
def test_a_negative_statement_cannot_be_taken_for_a_finding(
    presence: Presence, value: tuple[str, str], tmp_path: Path
) -> None:
    """Codes of PS3.16 CID 240; what was not imaged is never said to be absent."""
    finding = dataclasses.replace(findings()[0], presence=presence)
    report = report_of(MeasuredExam(an_exam(findings=(finding,)), ()), tmp_path)
    ((label, group),) = groups(report).items()
    assert label == f"right eye, {presence.value.replace('-', ' ')}: mass (f1)"
    assert not children(group, "Finding")
    statement = only(group, "Mass", "CONTAINS").ConceptCodeSequence[0]
    assert (statement.CodeValue, statement.CodingSchemeDesignator) == value
    mass = concept("finding", "mass").value
    assert all(code.CodeValue != mass for item in walk(report) for code in item.get("ConceptCodeSequence", []))


@pytest.mark.parametrize("presence", [p for p in Presence if p is not Presence.PRESENT])
def test_a_negative_statement_in_words_begins_with_the_negation(presence: Presence, tmp_path: Path) -> None:
    finding = dataclasses.replace(findings()[2], presence=presence)
    ((label, group),) = groups(report_of(MeasuredExam(an_exam(findings=(finding,)), ()), tmp_path)).items()
    said = presence.value.replace("-", " ")
    assert value_of(only(group, "Comment")) == f"{said}: retinal detachment"
    expected = concept("presence", presence.value).meaning
    assert value_of(only(group, "Presence of finding")) == expected
    assert said in label


def test_the_examiners_own_words_stand_beside_a_code_of_another_meaning(tmp_path: Path) -> None:
    finding = dataclasses.replace(findings()[0], what=TextOrCode("dark lump", concept("finding", "mass")))
    present = report_of(MeasuredExam(an_exam(findings=(finding,)), ()), tmp_path)
    (group,) = groups(present).values()
    assert value_of(only(only(group, "Finding"), "Equivalent Meaning of Value")) == "dark lump"
    absent = dataclasses.replace(finding, presence=Presence.ABSENT)
    (group,) = groups(report_of(MeasuredExam(an_exam(findings=(absent,)), ()), tmp_path)).values()
    assert value_of(only(only(group, "Mass"), "Equivalent Meaning of Concept Name")) == "dark lump"


def test_a_measurement_is_not_put_under_a_statement_of_absence(tmp_path: Path) -> None:
    absent = dataclasses.replace(findings()[0], presence=Presence.ABSENT)
    report = report_of(MeasuredExam(an_exam(findings=(absent,)), values()[:1]), tmp_path)
    by_label = groups(report)
    assert not children(by_label["right eye, absent: mass (f1)"], "Height")
    apart = by_label["right eye, choroid"]
    assert children(apart, "Height")
    comment = value_of(only(apart, "Comment"))
    assert comment == "measurement m1 is stated to belong to finding f1, which the exam says is absent"


def test_measurements_without_a_finding_gather_by_eye_and_structure(tmp_path: Path) -> None:
    by_label = groups(report_of(a_measured_exam(), tmp_path))
    assert [value_of(n) for n in children(by_label["left eye"], "Length")] == ["23.45"]
    assert [value_of(n) for n in children(by_label["left eye, vitreous"], "Area")] == ["2.3"]


def test_a_clock_position_is_snomed_ct_only_where_the_site_has_the_licence(tmp_path: Path) -> None:
    measured = a_measured_exam()
    for licensed, expected in ((False, ("CLOCK0900", "99EYEUSGW")), (True, ("260343005", "SCT"))):
        context = a_context(tmp_path, snomed_extended=licensed)
        report = pydicom.dcmread(build_measurement_report(measured, built_images(measured.exam), context).path)
        clock = only(groups(report)["right eye, mass (f1)"], "Clockface or region").ConceptCodeSequence[0]
        assert (clock.CodeValue, clock.CodingSchemeDesignator) == expected


# ------------------------------------------------------------------ measurements


def heights(tmp_path: Path) -> list[Dataset]:
    return children(groups(report_of(a_measured_exam(), tmp_path))["right eye, mass (f1)"], "Height")


def test_the_displayed_number_comes_first_with_its_calipers(tmp_path: Path) -> None:
    displayed = heights(tmp_path)[0]
    assert value_of(displayed) == "5.96"
    assert displayed.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue == "mm"
    assert value_of(only(displayed, "Derivation")) == "Measured"
    assert not children(displayed, "Measurement Method")
    assert value_of(only(displayed, "Finding Site")) == "Choroid of eye"
    calipers = only(displayed, "Source of Measurement", "INFERRED FROM")
    assert (calipers.ValueType, list(calipers.GraphicData)) == ("SCOORD", [212.5, 240.25, 307.75, 241.0])
    (image,) = children(calipers, relationship="SELECTED FROM")
    assert value_of(image) == "2.25.7001"
    assert "ReferencedFrameNumber" not in image.ReferencedSOPSequence[0]
    assert displayed.ObservationDateTime == "20260302093400+0100"


def test_a_caliper_on_a_loop_points_to_its_frame(tmp_path: Path) -> None:
    base = only(groups(report_of(a_measured_exam(), tmp_path))["right eye, mass (f1)"], "Diameter")
    calipers = only(base, "Source of Measurement", "INFERRED FROM")
    (image,) = children(calipers, relationship="SELECTED FROM")
    reference = image.ReferencedSOPSequence[0]
    assert (reference.ReferencedSOPInstanceUID, reference.ReferencedFrameNumber) == ("2.25.7002", 4)
    assert value_of(only(base, "Equivalent Meaning of Concept Name")) == "base"


def test_a_corrected_number_holds_the_displayed_one_by_value_and_no_calipers_of_its_own(tmp_path: Path) -> None:
    displayed, corrected = heights(tmp_path)[:2]
    assert value_of(corrected) == "6.38"
    assert corrected.MeasuredValueSequence[0].FloatingPointValue == 6.3763
    assert value_of(only(corrected, "Derivation")) == "Calculated"
    assert only(corrected, "Measurement Method").ConceptCodeSequence[0].CodeValue == "SPEEDCORR"
    assert not [child for child in children(corrected) if child.ValueType == "SCOORD"]
    nested = only(corrected, "Height", "INFERRED FROM")
    assert value_of(nested) == "5.96"
    assert [c for c in children(nested) if c.ValueType == "SCOORD"]
    unique = "Tracking Unique Identifier"
    assert value_of(only(nested, unique)) == value_of(only(displayed, unique)) != value_of(only(corrected, unique))
    assert value_of(only(corrected, "Equation")) == "depth x 1660/1550"


def test_the_two_speeds_of_sound_cannot_be_mixed_up(tmp_path: Path) -> None:
    corrected = heights(tmp_path)[1]
    of_tissue = only(corrected, "Speed of sound", "INFERRED FROM")
    assert value_of(of_tissue) == "1660"
    assert of_tissue.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue == "m/s"
    assert value_of(only(of_tissue, "Equivalent Meaning of Concept Name")) == "speed of sound in tumour"
    assert value_of(only(of_tissue, "Source")) == "invented table, row 3"
    assumed = only(only(corrected, "Height", "INFERRED FROM"), "Speed of sound", "INFERRED FROM")
    assert value_of(assumed) == "1550"
    assert value_of(only(assumed, "Equivalent Meaning of Concept Name")) == "speed of sound assumed by the device"


def test_nothing_is_related_by_reference(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    assert not [item for item in walk(report) if "ReferencedContentItemIdentifier" in item]


def test_a_transcribed_number_says_so_and_points_to_its_picture_alone(tmp_path: Path) -> None:
    length = only(groups(report_of(a_measured_exam(), tmp_path))["left eye"], "Length")
    assert only(length, "Measurement Method").ConceptCodeSequence[0].CodeValue == "TRANSCRIBED"
    assert not children(length, "Derivation")
    assert not children(length, "Speed of sound")
    source = only(length, "Source of Measurement", "INFERRED FROM")
    assert (source.ValueType, value_of(source)) == ("IMAGE", "2.25.7003")


def test_an_axial_length_is_a_length_of_the_eye_along_its_axis(tmp_path: Path) -> None:
    length = only(groups(report_of(a_measured_exam(), tmp_path))["left eye"], "Length")
    site = only(length, "Finding Site")
    assert value_of(site) == "Eye"
    assert value_of(only(site, "Laterality")) == "Left"
    assert value_of(only(site, "Topographical modifier")) == "Axial"
    assert value_of(only(length, "Equivalent Meaning of Concept Name")) == "axial length"


def test_the_outline_of_an_area_is_closed(tmp_path: Path) -> None:
    area = only(groups(report_of(a_measured_exam(), tmp_path))["left eye, vitreous"], "Area")
    outline = list(only(area, "Source of Measurement").GraphicData)
    assert outline[:2] == outline[-2:]
    assert len(outline) == 8


def test_repeats_give_a_mean_whose_spread_is_never_shown_as_a_length(tmp_path: Path) -> None:
    """Mean and sample standard deviation of 5.9, 6.0 and 6.1: 6.0 and 0.1, by hand."""
    mean = heights(tmp_path)[2]
    assert (value_of(mean), value_of(only(mean, "Derivation"))) == ("6.00", "Mean")
    spread = only(mean, "Standard Deviation", "HAS PROPERTIES")
    assert value_of(spread) == "0.10"
    repeats = children(mean, "Height", "INFERRED FROM")
    assert [value_of(item) for item in repeats] == ["5.9", "6.0", "6.1"]


def with_repeats(*repeats: Quantity) -> MeasuredExam:
    value = values()[0]
    return MeasuredExam(
        an_exam(), (dataclasses.replace(value, measurement=dataclasses.replace(value.measurement, repeats=repeats)),)
    )


@pytest.mark.parametrize(
    "repeats",
    [(Quantity(5.9, Unit.MM, "5.9"),), (Quantity(5.9, Unit.MM, "5.9"), Quantity(0.6, Unit.CM, "0.6"))],
    ids=["one", "mixed units"],
)
def test_repeats_that_cannot_be_averaged_stand_as_they_are(repeats: tuple[Quantity, ...], tmp_path: Path) -> None:
    found = children(groups(report_of(with_repeats(*repeats), tmp_path))["right eye, mass (f1)"], "Height")
    assert [value_of(item) for item in found[2:]] == [quantity.text for quantity in repeats]
    assert all(value_of(only(item, "Measurement Method")).startswith("Number transcribed") for item in found[2:])


def test_the_person_who_measured_is_named_where_it_is_not_the_examiner(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    assert value_of(only(report, "Person Observer Name")) == "Berg^Nora"
    by_another, by_examiner = heights(tmp_path)[0], only(groups(report)["left eye"], "Length")
    assert value_of(only(by_another, "Person Observer Name", "HAS OBS CONTEXT")) == "Lind^Tove"
    assert not children(by_examiner, "Person Observer Name")


def test_the_gateway_is_an_observer_too(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    assert [value_of(item) for item in children(report, "Observer Type")] == ["Person", "Device"]
    assert value_of(only(report, "Device Observer Name")) == "Eye ultrasound gateway"


def test_why_a_number_was_not_corrected_is_said(tmp_path: Path) -> None:
    base = only(groups(report_of(a_measured_exam(), tmp_path))["right eye, mass (f1)"], "Diameter")
    said = value_of(only(base, "Comment", "HAS PROPERTIES"))
    assert said == "not corrected for another speed of sound: the line leaves the depth axis"


def test_a_bare_speed_without_a_tissue_reads_well(tmp_path: Path) -> None:
    value = values()[0]
    speed = TissueSpeed(1640.0, "", "exam.yaml:80")
    assert value.corrected is not None
    bare = dataclasses.replace(value, corrected=dataclasses.replace(value.corrected, speed=speed))
    report = report_of(MeasuredExam(an_exam(), (bare,)), tmp_path)
    corrected = children(groups(report)["right eye, mass (f1)"], "Height")[1]
    said = value_of(only(corrected, "Equivalent Meaning of Concept Name"))
    assert said == "height corrected for the speed of sound stated for this measurement, 1640 m/s"


# ------------------------------------------------------------------ image library and evaluations


def test_the_image_library_describes_each_image_on_its_own(tmp_path: Path) -> None:
    library = only(report_of(a_measured_exam(), tmp_path), "Image Library")
    right, left = children(library, "Image Library Group")
    loop = children(right)[1]
    facts = {name_of(item): value_of(item) for item in children(loop, relationship="HAS ACQ CONTEXT")}
    assert facts["Modality"] == "Ultrasound"
    assert facts["Target Region"] == "Eye"
    assert facts["Image Laterality"] == "Right"
    assert (facts["Pixel Data Rows"], facts["Pixel Data Columns"], facts["Number of Frames"]) == ("480", "640", "10")
    assert facts["Image View"] == "Transverse"
    assert facts["Clockface or region"].startswith("3:30 o'clock")
    assert facts["Depth zone of globe shown"] == "Equator of eyeball"
    assert facts["Comment"] == "transverse 3:30 o'clock, equator"
    assert only(loop, "Acquisition Date").Date == "20260302"
    assert only(loop, "Acquisition Time").Time == "093600"
    (axial,) = children(left)
    assert value_of(only(only(axial, "Image View"), "Image View Modifier")) == "Horizontal"
    assert value_of(only(axial, "Vitreous status")) == "Silicone Oil"


def test_what_concerns_the_whole_exam_is_evaluated_once(tmp_path: Path) -> None:
    evaluations = only(report_of(a_measured_exam(), tmp_path), "Qualitative Evaluations")
    said = [(name_of(item), value_of(item)) for item in children(evaluations)]
    stated = [(name, value) for name, value in said if name != "Parts of the eye shown"]
    assert stated == [
        ("Indications for procedure", "mass seen in right fundus"),
        ("Working diagnosis", "choroidal mass"),
        ("Caution at acquisition", "recent surgery"),
        ("Lens status", "Pseudophakia"),
        ("Vitreous status", "Silicone Oil"),
    ]
    lens = only(evaluations, "Lens status")
    assert value_of(only(only(lens, "Finding Site"), "Laterality")) == "Right"


def test_a_coded_indication_stands_beside_its_words(tmp_path: Path) -> None:
    code = CodedConcept("R1", "99SITE", "Mass of fundus")
    order = Order(indication=TextOrCode("mass seen", code))
    evaluations = only(report_of(a_measured_exam(order=order), tmp_path), "Qualitative Evaluations")
    assert [value_of(i) for i in children(evaluations, "Indications for procedure")] == ["mass seen", "Mass of fundus"]


def test_an_exam_of_pictures_alone_says_that_it_states_nothing(tmp_path: Path) -> None:
    captures = tuple(dataclasses.replace(c, lens=None, vitreous=None) for c in an_exam().captures)
    exam = an_exam(captures=captures, findings=(), measurements=(), cautions=(), order=Order())
    report = report_of(MeasuredExam(exam, ()), tmp_path)
    assert not children(report, "Imaging Measurements")
    (comment,) = children(only(report, "Qualitative Evaluations"), "Comment")
    assert value_of(comment) == "the exam states no measurement and no finding"


@pytest.mark.parametrize(("tag", "meaning"), [("en", "English"), ("fi", "Finnish"), ("sv-FI", "sv-FI")])
def test_the_language_of_the_exam_is_that_of_the_report(tag: str, meaning: str, tmp_path: Path) -> None:
    report = report_of(a_measured_exam(language=tag), tmp_path)
    language = only(report, "Language of Content Item and Descendants").ConceptCodeSequence[0]
    assert (language.CodeValue, language.CodingSchemeDesignator, language.CodeMeaning) == (tag, "RFC5646", meaning)


def test_the_gateways_english_is_marked_in_a_report_of_another_language(tmp_path: Path) -> None:
    evaluations = only(report_of(a_measured_exam(language="fi"), tmp_path), "Qualitative Evaluations")
    caution, indication = only(evaluations, "Caution at acquisition"), only(evaluations, "Indications for procedure")
    assert value_of(only(caution, "Language of Content Item and Descendants")) == "English"
    assert not children(indication)


# ------------------------------------------------------------------ what is refused


def test_a_capture_whose_image_was_not_built_is_not_pointed_to(tmp_path: Path) -> None:
    measured = a_measured_exam()
    with pytest.raises(ReferencedImageMissingError, match="od-loop"):
        report_of(measured, tmp_path, tuple(i for i in built_images(measured.exam) if i.capture_id != "od-loop"))


@pytest.mark.parametrize("through", ["capture", "measurement"])
def test_no_report_names_the_wrong_eye(through: str, tmp_path: Path) -> None:
    finding = dataclasses.replace(findings()[0], eye=Eye.LEFT)
    if through == "measurement":
        finding = dataclasses.replace(finding, capture_ids=())
    measured = MeasuredExam(an_exam(findings=(finding,)), values()[:1] if through == "measurement" else ())
    with pytest.raises(EyeContradictionError):
        report_of(measured, tmp_path)
    assert not list(tmp_path.iterdir())


def outside() -> MeasuredValue:
    value = values()[0]
    points = (Point(10, 10), Point(640.5, 20))
    return dataclasses.replace(value, measurement=dataclasses.replace(value.measurement, points=points))


def test_a_caliper_beside_its_picture_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PointOutsidePictureError, match=r"640\.5"):
        report_of(MeasuredExam(an_exam(), (outside(),)), tmp_path)


def test_calipers_on_the_very_edge_are_on_the_picture(tmp_path: Path) -> None:
    """PS3.3 C.18.6: coordinates run from 0,0 to Columns,Rows, both included."""
    value = values()[0]
    edge = dataclasses.replace(value.measurement, points=(Point(0, 0), Point(640, 480)))
    report_of(MeasuredExam(an_exam(), (dataclasses.replace(value, measurement=edge),)), tmp_path)


def test_a_name_in_three_scripts_survives(tmp_path: Path) -> None:
    examiner = PersonName("Yamada^Taro", "山田^太郎", "やまだ^たろう")
    session = dataclasses.replace(an_exam().session, examiner=examiner)
    report = report_of(a_measured_exam(session=session), tmp_path)
    assert value_of(only(report, "Person Observer Name")) == "Yamada^Taro=山田^太郎=やまだ^たろう"
    assert report.SpecificCharacterSet == "ISO_IR 192"
