from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset

from gateway.builders.sr.report import build_measurement_report
from gateway.errors.objects import NotAMeasurementReportError
from gateway.intake.report_outline import read_report_outline
from gateway.reports.content import Line
from gateway.reports.plain import PlainDocument, PlainTable, render_plain_html, render_plain_pdf, render_plain_text
from gateway.reports.readable import document_of_outline, outline_as_json
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images


@pytest.fixture
def report(tmp_path: Path) -> Dataset:
    measured = a_measured_exam()
    return dcmread(build_measurement_report(measured, built_images(measured.exam), a_context(tmp_path)).path)


def read(ds: Dataset, folder: Path):
    ds.save_as(folder / "report.dcm")
    return read_report_outline(folder / "report.dcm")


def named(name: str, value_type: str, relationship: str = "CONTAINS") -> Dataset:
    item, code = Dataset(), Dataset()
    item.RelationshipType, item.ValueType = relationship, value_type
    code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = "x", "99OLD", name
    item.ConceptNameCodeSequence = [code]
    return item


def items_below(ds: Dataset) -> int:
    return sum(1 + items_below(item) for item in ds.get("ContentSequence", []))


def test_every_content_item_appears_once(report, tmp_path):
    outline = read(report, tmp_path)
    assert len(outline.items) == 1 + items_below(report)
    assert list(document_of_outline(outline).notes) == []


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        ("TABLE", "this kind of item is not read"),
        ("TCOORD", "this kind of item is not read"),
        ("TEXT", "a text without a value"),
        ("NUM", "a number without a value"),
        ("SCOORD", "coordinates that cannot be read"),
    ],
)
def test_what_is_not_understood_is_said_below_the_tables(kind, why, report, tmp_path):
    report.ContentSequence.append(named("Something else", kind))
    document = document_of_outline(read(report, tmp_path))
    assert any("Something else" in note and why in note for note in document.notes)
    for text in (render_plain_text(document), render_plain_html(document)):
        assert "Something else" in text
        assert why in text


def test_a_number_outside_any_group_is_shown_and_said_to_belong_to_nothing(report, tmp_path):
    number, value, unit = named("Loose number", "NUM"), Dataset(), Dataset()
    unit.CodeValue, unit.CodingSchemeDesignator, unit.CodeMeaning = "mm", "UCUM", "mm"
    value.NumericValue, value.MeasurementUnitsCodeSequence = "1.50", [unit]
    number.MeasuredValueSequence = [value]
    report.ContentSequence.append(number)
    outline = read(report, tmp_path)
    assert ("Loose number", "1.50 mm") in [(item.name, item.value) for item in outline.items]
    assert any("outside any measurement group" in note for note in outline_as_json(outline)["not_understood"])


def test_words_in_a_report_are_never_markup_or_commands(report, tmp_path):
    item = named("<b>#strong[x]</b>", "TEXT")
    item.TextValue = '<script>alert(1)</script> #panic() "\u202eturned'
    report.ContentSequence.append(item)
    document = document_of_outline(read(report, tmp_path))
    page = render_plain_html(document)
    assert "<script>" not in page
    assert "<b>#strong" not in page
    assert render_plain_pdf(document).startswith(b"%PDF-")
    assert "\u202e" not in render_plain_text(document)


def test_the_same_report_is_the_same_pdf(report, tmp_path):
    document = document_of_outline(read(report, tmp_path))
    assert render_plain_pdf(document) == render_plain_pdf(document)
    assert document.created[:3] == (2026, 3, 2)


def test_an_object_without_content_is_no_report(report, tmp_path):
    del report.ContentSequence
    with pytest.raises(NotAMeasurementReportError):
        read(report, tmp_path)


def test_a_table_says_that_it_has_no_rows_and_long_cells_take_several_lines():
    moment = datetime(2026, 3, 2, 9, 30, 0)
    at = (moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second)
    long = " ".join(["word"] * 30)
    tables = (
        PlainTable("Empty", ("a",), (), "none of them"),
        PlainTable("Long", ("a", "b"), ((long, "眼科"), ("short", "x"))),
    )
    text = render_plain_text(PlainDocument("Title", at, (Line("Label", "text"),), tables, ("note",)))
    assert "Empty\nnone of them" in text
    assert text.count("word") == 30
    assert max(map(len, text.splitlines())) < 60
    assert text.rstrip().endswith("note")
