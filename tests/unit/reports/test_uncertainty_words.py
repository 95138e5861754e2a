"""The same plus-minus in every rendering, and the notes on what it rests on."""

from __future__ import annotations

import html
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.acoustics.measure import measure
from gateway.mapping.repeatability import load_repeatability
from gateway.model.exam import Exam
from gateway.reports.html import render_html
from gateway.reports.model import Report, report_model
from gateway.reports.pdf import render_pdf
from gateway.reports.uncertainty import uncertainty_notes
from tests.programs import require


@pytest.fixture
def with_figures(exam: Exam, pictures, identifiers) -> Report:
    return report_model(measure(exam, load_repeatability()), pictures, identifiers)


def words_of(text: str) -> str:
    """Text without line ends and the zero-width places where a renderer may break it."""
    return re.sub(r"\s+", " ", text.replace("\u200b", ""))


def test_every_row_with_a_number_says_how_far_it_may_be_off_or_that_nobody_knows(with_figures: Report):
    rows = [row for eye in with_figures.eyes for row in eye.measurements]
    assert rows
    for row in rows:
        assert re.fullmatch(r"± [0-9.]+ \S+( or more)?|uncertainty not stated", row.uncertainty)
        assert bool(row.corrected) == bool(row.corrected_uncertainty)


def test_pdf_and_page_show_the_same_strings(with_figures: Report, tmp_path: Path):
    (tmp_path / "report.pdf").write_bytes(render_pdf(with_figures))
    printed = subprocess.run(
        [require("pdftotext"), "-raw", tmp_path / "report.pdf", "-"], check=True, capture_output=True, text=True
    ).stdout
    page = html.unescape(re.sub(r"<[^>]+>", " ", render_html(with_figures)))
    rows = [row for eye in with_figures.eyes for row in eye.measurements]
    for shown in (words_of(printed), words_of(page)):
        for row in rows:
            for text in (row.value, row.uncertainty, row.corrected, row.corrected_uncertainty):
                assert text in shown
        assert "expanded uncertainty, k = 2, about 95 %" in shown


def test_the_notes_name_what_is_included_and_what_is_not(exam: Exam):
    notes = uncertainty_notes(measure(exam, load_repeatability()).values)
    assert notes[0].startswith("± is the expanded uncertainty")
    assert notes[1].startswith("Included:\n– calipers to the pixel [")
    assert "scale (its tolerance is not stated)" in next(note for note in notes if note.startswith("Not included:\n– "))


def test_a_published_figure_is_cited_where_it_is_used(exam: Exam):
    measured_kind = next(m.kind for m in exam.measurements if m.points and not m.repeats)
    figure = replace(load_repeatability()[0], kind=measured_kind, structure="", scans=())
    notes = uncertainty_notes(measure(exam, [figure]).values)
    assert any("Haritoglou" in note and note.startswith("Published, not yours") for note in notes)
    assert not any("Haritoglou" in note for note in uncertainty_notes(measure(exam).values))


def test_without_an_uncertainty_the_report_says_nothing_of_it(exam: Exam, pictures, identifiers):
    measured = measure(exam)
    bare = replace(
        measured,
        values=tuple(
            replace(v, uncertainty=None, corrected=replace(v.corrected, uncertainty=None) if v.corrected else None)
            for v in measured.values
        ),
    )
    report = report_model(bare, pictures, identifiers)
    assert report.uncertainty_notes == ()
    assert {row.uncertainty for eye in report.eyes for row in eye.measurements} == {""}
    assert "±" not in render_html(report)
