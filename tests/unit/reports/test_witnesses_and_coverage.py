"""Ledger of the eyes, coverage and judgements: the same words on page and PDF, grey where shown, hatched where told."""

from __future__ import annotations

import dataclasses
import math
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree

import pytest

from gateway.mapping.protocols import load_protocols
from gateway.model.exam import MeasuredExam
from gateway.model.laterality import Eye
from gateway.model.people import PersonName
from gateway.model.position import ClockHour
from gateway.model.session import DeclaredSweep
from gateway.model.witness import EyeWitness, WitnessSource
from gateway.reports.contact_sheet import render_contact_sheet
from gateway.reports.content import CoverageShape, Report
from gateway.reports.coverage import shape_path
from gateway.reports.html import render_html
from gateway.reports.model import report_model
from gateway.reports.pdf import render_pdf
from gateway.reports.pictures import Picture
from gateway.reports.positions import RIM, RIM_DEG, chart_svg
from tests.programs import require
from tests.unit.reports.test_report import VisibleText, squeezed

SVG = "{http://www.w3.org/2000/svg}"


def witnessed(measured: MeasuredExam) -> MeasuredExam:
    def ledger(index: int, eye: Eye) -> tuple[EyeWitness, ...]:
        record = EyeWitness(WitnessSource.RECORD, eye, eye.value, "exam.yaml:9")
        name = EyeWitness(WitnessSource.FILE_NAME, eye, eye.abbreviation, "x.png")
        person = EyeWitness(WitnessSource.PERSON, eye, eye.value, "exam.yaml:10", PersonName("Holm^M"))
        return ((record,), (record, name), (record, person))[index % 3]

    exam = measured.exam
    captures = [dataclasses.replace(c, eye_witnesses=ledger(n, c.eye)) for n, c in enumerate(exam.captures)]
    captures[0] = dataclasses.replace(
        captures[0], position_origin="scan from protocol step T12 of five-sweep-screening"
    )
    session = dataclasses.replace(
        exam.session,
        protocol=load_protocols()["five-sweep-screening"],
        declared_swept=(DeclaredSweep(Eye.LEFT, ClockHour(18)),),
    )
    return dataclasses.replace(measured, exam=dataclasses.replace(exam, captures=tuple(captures), session=session))


@pytest.fixture
def told(measured: MeasuredExam, pictures: Mapping[str, Picture], identifiers: Mapping[str, str]) -> Report:
    return report_model(witnessed(measured), pictures, identifiers)


def test_each_capture_says_on_what_its_eye_rests(told: Report, tmp_path: Path) -> None:
    first, second, third = told.right.captures[:3]
    assert (first.eye_basis, first.is_eye_of_one_witness) == ("right: one witness: record", True)
    assert (second.eye_basis, second.is_eye_of_one_witness) == ("right: record and file name agree", False)
    assert (third.eye_basis, third.is_eye_of_one_witness) == ("right: stated by M Holm; record agrees", False)
    for text in (VisibleText(render_html(told)).text, in_reading_order(told, tmp_path)):
        for words in ("Eye: right: one witness: record", "Eye: right: record and file name agree", "by M Holm"):
            assert squeezed(words) in text, words
        assert squeezed("Position: scan from protocol step T12") in text


def test_what_is_missing_is_listed_with_the_rule_set_in_every_rendering(told: Report, tmp_path: Path) -> None:
    (judged,) = told.right.coverage.judgements
    assert judged.verdict == "incomplete"
    assert judged.missing[0] == "superior quadrant (T12): no loop, and stills state equator alone"
    for text in (VisibleText(render_html(told)).text, in_reading_order(told, tmp_path)):
        for words in (
            "Incomplete by five-manoeuvres of five-sweep-screening. Missing:",
            *judged.missing,
            "University of Iowa",
            "Required steps without a picture: T3",
            "declared swept, no stored picture",
            *(line[:1].upper() + line[1:] for line in told.left.coverage.lines),
        ):
            assert squeezed(words) in text, words
        assert text.count("normal") == 1
    assert render_contact_sheet(told) != render_contact_sheet(_without_judgements(told))


def in_reading_order(report: Report, folder: Path) -> str:
    """The PDF's text column by column, by pdftotext of poppler."""
    (folder / "told.pdf").write_bytes(render_pdf(report))
    command = [require("pdftotext"), "-raw", folder / "told.pdf", "-"]
    return squeezed(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def _without_judgements(report: Report) -> Report:
    bare = dataclasses.replace(report.right.coverage, judgements=())
    return dataclasses.replace(report, right=dataclasses.replace(report.right, coverage=bare))


def test_without_a_protocol_nothing_is_judged_and_that_is_said(report: Report) -> None:
    assert report.right.coverage.judgements == ()
    assert "names no protocol" in report.right.coverage.not_judged
    assert squeezed("names no protocol") in VisibleText(render_html(report)).text


def sectors(report: Report, eye: Eye, shade: str) -> list[CoverageShape]:
    section = report.right if eye is Eye.RIGHT else report.left
    return [shape for shape in section.coverage.shapes if shape.shade == shade]


def test_sectors_stand_where_the_claims_are(told: Report) -> None:
    fields = {(s.first_hour, s.last_hour, s.inner_deg, s.outer_deg) for s in sectors(told, Eye.RIGHT, "in-field")}
    assert fields == {(-3, 3, 75, 100), (6, 12, 50, 75)}
    (declared,) = sectors(told, Eye.LEFT, "declared")
    assert (declared.first_hour, declared.last_hour, declared.inner_deg, declared.outer_deg) == (6, 12, 0, 124)
    meridians = {(s.first_hour + s.last_hour) / 2 for s in sectors(told, Eye.RIGHT, "centred") if s.outer_deg == 25}
    assert meridians == {3, 9}


def test_the_chart_is_grey_where_shown_hatched_where_declared_and_uses_no_colour(told: Report) -> None:
    for section, shades in ((told.right, 2), (told.left, 3)):
        svg = chart_svg(section)
        root = ElementTree.fromstring(svg)  # noqa: S314  our own drawing
        groups = [g for g in root.findall(f"{SVG}g") if g.findall(f"{SVG}path")]
        assert len(groups) == shades
        assert svg.count("url(#declared-left)") == (1 if section.eye is Eye.LEFT else 0)
        # Red, blue, green, yellow and brown mean findings on fundus drawings (Valappil & Jayan, Kerala J Ophthalmol
        # 2019;31:251-4), so coverage has no colour of its own.
        assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) <= {"none", "currentColor", "url(#declared-left)"}
        assert set(re.findall("#[0-9a-f]{3,6}\\b", svg)) <= {"#222", "#dec"}


@pytest.mark.parametrize(("eye", "nasal_x"), [(Eye.RIGHT, 1), (Eye.LEFT, -1)])
def test_nasal_is_towards_the_middle_of_the_page_and_the_words_stand_there(
    told: Report, eye: Eye, nasal_x: int
) -> None:
    # As the examiner faces the patient: 3 o'clock is nasal in the right eye and temporal in the left (common practice).
    section = told.right if eye is Eye.RIGHT else told.left
    svg = ElementTree.fromstring(chart_svg(section))  # noqa: S314
    at = {text.text: float(text.get("x", "0")) for text in svg.iter(f"{SVG}text")}
    assert math.copysign(1, at["nasal"]) == nasal_x
    assert math.copysign(1, at["temporal"]) == -nasal_x


def test_a_ring_sector_is_drawn_along_its_own_arc_and_closed() -> None:
    path = shape_path(CoverageShape("in-field", -3, 3, 75, 100), RIM_DEG, RIM)
    outer, inner = 100 / 134 * 100, 75 / 134 * 100
    start, *arcs = re.findall(r"(?:M|L|A [\d. ]+? 0 0 [01]) (-?[\d.]+) (-?[\d.]+)", path)
    points = [(float(x), float(y)) for x, y in (start, *arcs)]
    wanted = [(-outer, 0), (0, -outer), (outer, 0), (inner, 0), (0, -inner), (-inner, 0)]
    for (x, y), (wanted_x, wanted_y) in zip(points, wanted, strict=True):
        assert (x, y) == pytest.approx((wanted_x, wanted_y), abs=0.01)
    assert path.endswith("Z")
