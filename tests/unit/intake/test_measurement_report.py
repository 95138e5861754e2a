"""Measurement reports are read as far as they can be understood, whoever wrote them."""

from __future__ import annotations

import dataclasses
import zlib
from collections.abc import Iterator
from datetime import datetime
from io import BytesIO
from pathlib import Path

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.uid import DeflatedExplicitVRLittleEndian, ImplicitVRLittleEndian

from gateway.acoustics.measured_prior import prior_of_exam
from gateway.builders.sr.report import build_measurement_report
from gateway.errors.objects import NotAMeasurementReportError, ReportNotReadableError
from gateway.intake.measurement_report import (
    measurement_report_from,
    read_measurement_report,
    read_measurement_reports,
)
from gateway.model.capture import AcquisitionSettings, Contact
from gateway.model.exam import MeasuredExam
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.model.prior import PriorReport
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images, captures, findings

UID = "2.25.81920733551040011277"


def built(folder: Path, measured: MeasuredExam | None = None, **options: object) -> Path:
    measured = measured or a_measured_exam()
    return build_measurement_report(measured, built_images(measured.exam), a_context(folder, **options)).path


def saved(dataset: Dataset) -> bytes:
    file = BytesIO()
    dataset.save_as(file)
    return file.getvalue()


def first_number(report: Dataset) -> Dataset:
    """The first number of the first measurement group."""
    group = next(
        item
        for item in walk(report)
        if item.ValueType == "CONTAINER" and item.ConceptNameCodeSequence[0].CodeValue == "125007"
    )
    return next(item for item in group.ContentSequence if item.ValueType == "NUM")


def walk(item: Dataset) -> Iterator[Dataset]:
    yield item
    for child in item.get("ContentSequence", []):
        yield from walk(child)


# ------------------------------------------------------------------ the project's own


@pytest.mark.parametrize("snomed_extended", [False, True])
def test_an_own_report_says_what_the_exam_itself_says(tmp_path: Path, *, snomed_extended: bool) -> None:
    first, second, third = captures()
    pictures = (
        dataclasses.replace(first, settings=AcquisitionSettings(contact=Contact.THROUGH_LID)),
        dataclasses.replace(second, settings=AcquisitionSettings(contact=Contact.IMMERSION)),
        dataclasses.replace(third, position=ProbePosition(Scan.A_SCAN), settings=AcquisitionSettings(Contact.ON_EYE)),
    )
    followed = (dataclasses.replace(findings()[0], tracking_uid=UID), *findings()[1:])
    measured = a_measured_exam(captures=pictures, findings=followed)
    read = read_measurement_report(built(tmp_path, measured, snomed_extended=snomed_extended))
    stated = prior_of_exam(measured, read.study_uid, read.source)
    assert read.groups[0].tracking_uid == UID
    assert without_tracking(read) == without_tracking(stated)
    assert read.unread == ()


def without_tracking(report: PriorReport) -> list[object]:
    """Everything but labels and the UIDs that each study derives for itself."""
    blank = {"tracking_uid": "", "tracking_identifier": ""}
    groups = [
        dataclasses.replace(g, measurements=tuple(dataclasses.replace(m, **blank) for m in g.measurements), **blank)
        for g in report.groups
    ]
    return [report.when, report.patient_id, report.patient_issuer, *groups]


def test_displayed_corrected_and_mean_stay_apart(tmp_path: Path) -> None:
    mass = read_measurement_report(built(tmp_path)).groups[0]
    displayed, corrected, mean, base = mass.measurements
    assert (mass.eye, mass.structure, mass.clock_hour, mass.zone) == (
        Eye.RIGHT,
        "choroid",
        ClockHour(18),
        Zone.POSTERIOR_TO_EQUATOR,
    )
    assert (displayed.value, displayed.text, displayed.is_corrected, displayed.speed_m_per_s) == (
        5.96,
        "5.96",
        False,
        1550,
    )
    assert (corrected.value, corrected.is_corrected) == (6.3763, True)
    assert (corrected.speed_m_per_s, corrected.assumed_speed_m_per_s) == (1660, 1550)
    assert corrected.formula == "depth x 1660/1550"
    assert (mean.value, mean.derivation.meaning if mean.derivation else "") == (6.0, "Mean")
    assert (base.kind, base.words, base.direction) == (MeasurementKind.BASE, "base", "transverse")


def test_what_is_absent_is_never_read_as_present(tmp_path: Path) -> None:
    groups = read_measurement_report(built(tmp_path)).groups
    assert [(group.finding, group.presence) for group in groups if group.finding] == [
        ("mass", "present"),
        ("calcification", "absent"),
        ("retinal detachment", "undetermined"),
        ("foreign body", "not shown"),
        ("asteroid hyalosis", "present"),
    ]


@pytest.mark.parametrize("syntax", [ImplicitVRLittleEndian, DeflatedExplicitVRLittleEndian])
def test_other_encodings_are_read_alike(tmp_path: Path, syntax: str) -> None:
    path = built(tmp_path)
    expected = read_measurement_report(path)
    dataset = dcmread(path)
    dataset.file_meta.TransferSyntaxUID = syntax
    dataset.save_as(path, implicit_vr=syntax == ImplicitVRLittleEndian, little_endian=True, enforce_file_format=True)
    assert read_measurement_report(path) == expected


# ------------------------------------------------------------------ odd content


def test_a_number_that_names_the_other_eye_is_left_aside(tmp_path: Path) -> None:
    report = dcmread(built(tmp_path))
    (site,) = [
        site
        for item in walk(report)
        if item.get("ValueType") == "NUM" and item.ConceptNameCodeSequence[0].CodeMeaning == "Area"
        for site in item.ContentSequence
        if "ContentSequence" in site and site.ConceptNameCodeSequence[0].CodeMeaning == "Finding Site"
    ]
    site.ContentSequence[0].ConceptCodeSequence[0].CodeValue = "24028007"
    found = measurement_report_from(saved(report), "changed")
    assert [item.note for item in found.unread] == ["the number and its group name different eyes"]
    assert not any(n.kind is MeasurementKind.AREA for group in found.groups for n in group.measurements)


@pytest.mark.parametrize(
    ("spoil", "note"),
    [
        (lambda item: item.__delattr__("MeasuredValueSequence"), "no number stands here"),
        (
            lambda item: item.MeasuredValueSequence[0].__delattr__("MeasurementUnitsCodeSequence"),
            "a number without a unit",
        ),
        (lambda item: item.__delattr__("ConceptNameCodeSequence"), "a number without a name"),
    ],
)
def test_an_incomplete_number_is_left_aside_with_a_note(tmp_path: Path, spoil: object, note: str) -> None:
    report = dcmread(built(tmp_path))
    number = first_number(report)
    spoil(number)  # type: ignore[operator]
    found = measurement_report_from(saved(report), "changed")
    assert note in [item.note for item in found.unread]
    assert len(found.groups[0].measurements) == 3


def test_a_number_outside_any_group_belongs_to_no_finding(tmp_path: Path) -> None:
    report = dcmread(built(tmp_path))
    number = first_number(report)
    report.ContentSequence.append(number)
    found = measurement_report_from(saved(report), "changed")
    assert [(item.where, item.note) for item in found.unread] == [("Height", "a number outside any measurement group")]


def test_control_characters_never_reach_a_terminal(tmp_path: Path) -> None:
    report = dcmread(built(tmp_path))
    for item in walk(report):
        if item.get("ValueType") == "TEXT":
            item.TextValue = "a\x1b[2Jb\u202ec\r\nd"
    found = measurement_report_from(saved(report), "changed")
    assert found.groups[0].tracking_identifier == "a [2Jb c  d"


@pytest.mark.parametrize("content", [b"", b"DICM", b"\0" * 200, b"\0" * 128 + b"DICM" + b"\xff" * 300])
def test_what_is_no_report_is_one_plain_error(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.dcm"
    path.write_bytes(content)
    with pytest.raises((ReportNotReadableError, NotAMeasurementReportError)):
        read_measurement_report(path)


def test_a_missing_file_is_one_plain_error(tmp_path: Path) -> None:
    with pytest.raises(ReportNotReadableError, match="cannot be opened"):
        read_measurement_report(tmp_path / "none.dcm")


def test_a_deflated_report_that_grows_without_end_is_refused(tmp_path: Path) -> None:
    path = built(tmp_path)
    dataset = dcmread(path)
    dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    dataset.save_as(path, little_endian=True, implicit_vr=False)
    deflater = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    bomb = deflater.compress(bytes(40 << 20)) + deflater.flush()
    head = path.read_bytes()
    start = 132 + 12 + int.from_bytes(head[140:144], "little")
    path.write_bytes(head[:start] + bomb)
    with pytest.raises(ReportNotReadableError):
        read_measurement_report(path)


# ------------------------------------------------------------------ folders


def test_a_folder_is_searched_for_reports_and_nothing_else(tmp_path: Path) -> None:
    folder = tmp_path / "archive" / "deep"
    folder.mkdir(parents=True)
    path = built(folder)
    (folder / "note.txt").write_text("nothing", encoding="utf-8")
    damaged = path.read_bytes()[:700]
    (folder / "zz.dcm").write_bytes(damaged)
    reports, unread = read_measurement_reports(tmp_path / "archive")
    assert [report.source for report in reports] == [str(path)]
    assert reports[0].when == datetime(2026, 3, 2, 9, 30)
    assert [item.where for item in unread] == [str(folder / "zz.dcm")]


def test_a_folder_without_a_report_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NotAMeasurementReportError):
        read_measurement_reports(tmp_path)
