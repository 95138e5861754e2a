"""One report, three renderings: the same words in each, nothing of the exam read as markup, nothing lost."""

from __future__ import annotations

import dataclasses
import html.parser
import io
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest
from PIL import Image

from gateway.model.coded import TextOrCode
from gateway.model.exam import Exam, HeldPart, MeasuredExam
from gateway.model.finding import Finding
from gateway.model.laterality import Eye
from gateway.model.people import PersonName
from gateway.reports.contact_sheet import render_contact_sheet
from gateway.reports.content import Report
from gateway.reports.html import render_html
from gateway.reports.model import report_model
from gateway.reports.pdf import render_pdf
from gateway.reports.pictures import Picture
from tests.programs import require


class VisibleText(html.parser.HTMLParser):
    """What a reader of the page sees, and what it would fetch or run."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self._in_style = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self._in_style = tag == "style"
        self.addresses += [value or "" for name, value in attrs if name in {"src", "href", "action", "srcset"}]

    def handle_endtag(self, tag: str) -> None:
        self._in_style = False

    def handle_data(self, data: str) -> None:
        if not self._in_style:
            self.words.append(data)

    @property
    def text(self) -> str:
        return squeezed(" ".join(self.words))


def squeezed(text: str) -> str:
    """Return the text without white space: where lines break is each rendering's own affair."""
    return re.sub(r"[\s\u200b]+", "", text)


def pdf_text(pdf: bytes, folder: Path) -> str:
    # pdftotext of poppler: another reader of PDF.
    (folder / "report.pdf").write_bytes(pdf)
    command = [require("pdftotext"), "-layout", folder / "report.pdf", "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


@pytest.fixture
def pdf(report: Report) -> bytes:
    return render_pdf(report)


def test_every_value_is_the_same_string_in_model_page_and_pdf(report: Report, pdf: bytes, tmp_path: Path) -> None:
    page, printed = VisibleText(render_html(report)).text, squeezed(pdf_text(pdf, tmp_path))
    rows = [row for section in report.eyes for row in section.measurements]
    assert len(rows) == 6
    for row in rows:
        for value in filter(None, (row.value, row.corrected)):
            assert squeezed(value) in page
            assert squeezed(value) in printed


def test_displayed_digits_stay_and_corrected_values_stand_beside_them(report: Report) -> None:
    (height,) = [row for row in report.right.measurements if row.id == "od-height"]
    assert height.value == "6.00 mm"
    assert height.corrected == "5.93 mm"
    assert "1550" in height.speed
    assert "1532" in height.speed
    (written,) = [row for row in report.left.measurements if row.id == "os-written"]
    assert written.value == "980 µm"
    assert written.corrected == ""
    assert "calipers" in written.not_corrected


def test_what_is_not_shown_is_set_apart_and_nothing_is_called_normal(
    report: Report, pdf: bytes, tmp_path: Path
) -> None:
    assert [row.id for row in report.left.not_shown] == ["os-upper"]
    assert "os-upper" not in {row.id for row in report.left.findings}
    for text in (VisibleText(render_html(report)).text, squeezed(pdf_text(pdf, tmp_path))):
        assert "notshown" in text
        # The one sentence that has the word says what it must never stand for.
        assert text.count("normal") == 1
        assert "”isnever“normal”" in text or "isnever" in text


def test_held_parts_cautions_status_and_invention_are_said(report: Report, pdf: bytes, tmp_path: Path) -> None:
    for text in (VisibleText(render_html(report)).text, squeezed(pdf_text(pdf, tmp_path))):
        for words in (
            "the movie cannot be decoded",
            "rests on a capture that is held",
            "recent surgery",
            "poor cooperation",
            "not yet verified by a physician",
            "Invented data",
            "Not for lens-power calculation",
            "Local codes and licensed practice decide",
            "2.25.153633326739928296405492917171721475358",
        ):
            assert squeezed(words) in text, words


def test_high_acoustic_output_is_pointed_out_with_its_source(report: Report) -> None:
    high = [line.text for line in report.output if line.is_high]
    assert len(high) == 2
    assert all("FDA guidance 2019" in text for text in high)
    assert any("0.31" in text for text in high)
    assert any("1.2" in text for text in high)


def test_right_eye_is_first_and_both_are_named(report: Report, pdf: bytes, tmp_path: Path) -> None:
    assert [section.eye for section in report.eyes] == [Eye.RIGHT, Eye.LEFT]
    text = pdf_text(pdf, tmp_path)
    line = next(line for line in text.splitlines() if "Right eye (OD)" in line and "Left eye (OS)" in line)
    assert line.index("Right eye (OD)") < line.index("Left eye (OS)")


def test_nasal_and_temporal_follow_the_eye(report: Report) -> None:
    # 3 o'clock is nasal in the right eye and temporal in the left (common practice).
    sides = {card.id: card.side for card in report.captures}
    assert sides["od-t9"] == "temporal"
    assert sides["os-t330"] == "inferotemporal"


def test_the_pdf_is_the_same_bytes_twice_tagged_and_archival(report: Report, pdf: bytes, tmp_path: Path) -> None:
    assert render_pdf(report) == pdf
    (tmp_path / "report.pdf").write_bytes(pdf)
    command = [require("pdfinfo"), tmp_path / "report.pdf"]
    facts = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert re.search(r"Tagged:\s+yes", facts)
    assert re.search(r"Page size:.*A4", facts)
    assert re.search(r"CreationDate:\s+Mon Mar\s+2", facts)
    assert b"pdfaid:part" in pdf


def test_the_page_fetches_nothing_and_runs_nothing(report: Report) -> None:
    page = VisibleText(render_html(report))
    assert "script" not in page.tags
    assert all(address.startswith(("data:image/png;base64,", "#")) for address in page.addresses)
    assert "url(" not in render_html(report).replace("url(data:", "")


HOSTILE = '#panic("x") $ [b] *c* _d_ <script>alert(1)</script> & "q" \\ {{ 7*7 }} {% raw %} @a `e`'


def test_words_of_the_exam_are_never_read_as_markup(
    exam: Exam, measured: MeasuredExam, pictures: Mapping[str, Picture], tmp_path: Path
) -> None:
    hostile = dataclasses.replace(
        exam, findings=(Finding("f", Eye.RIGHT, TextOrCode(HOSTILE), comment=HOSTILE),), measurements=()
    )
    report = report_model(MeasuredExam(hostile, ()), pictures, {"Study": HOSTILE})
    page = VisibleText(render_html(report))
    assert "script" not in page.tags
    # A first letter may be capitalised at the start of a line; the rest stands as written.
    assert squeezed(HOSTILE) in page.text
    assert squeezed(HOSTILE).replace('"', "") in squeezed(pdf_text(render_pdf(report), tmp_path)).replace('"', "")


def test_a_form_of_a_name_that_cannot_be_drawn_falls_back_with_a_note(
    exam: Exam, pictures: Mapping[str, Picture], tmp_path: Path
) -> None:
    patient = dataclasses.replace(exam.patient, name=PersonName("Holm^Maija", "\U00013080^\U00013081", "ほるむ^まいや"))
    report = report_model(MeasuredExam(dataclasses.replace(exam, patient=patient), ()), pictures, {})
    text = squeezed(pdf_text(render_pdf(report), tmp_path))
    assert squeezed("Maija Holm") in text
    assert squeezed("cannot draw and is left out") in text
    assert "\U00013080" in render_html(report)


def test_a_change_of_writing_direction_is_made_visible(exam: Exam, pictures: Mapping[str, Picture]) -> None:
    finding = Finding("f", Eye.LEFT, TextOrCode("mass \u202e 21.4 mm"))
    report = report_model(MeasuredExam(dataclasses.replace(exam, findings=(finding,)), ()), pictures, {})
    assert "\u202e" not in render_html(report)
    assert "U+202E" in render_html(report)


def test_an_exam_without_order_findings_or_measurements_still_reads(
    exam: Exam, pictures: Mapping[str, Picture], tmp_path: Path
) -> None:
    bare = dataclasses.replace(exam, order=type(exam.order)(), findings=(), measurements=(), is_synthetic=False)
    text = pdf_text(render_pdf(report_model(MeasuredExam(bare, ()), pictures, {})), tmp_path)
    assert "No order came with this exam" in text
    assert "invented" not in text.lower().replace("invented-", "").replace("invented clinic", "").replace(
        "invented maker", ""
    )


def test_the_contact_sheet_shows_every_capture_once_in_its_half(report: Report) -> None:
    sheet = Image.open(io.BytesIO(render_contact_sheet(report)))
    assert sheet.format == "PNG"
    assert sheet.width > 1000
    grey = sheet.convert("L")
    left, right = (grey.crop((x, 0, x + sheet.width // 2, sheet.height)) for x in (0, sheet.width // 2))
    # Pictures are dark on a white sheet: five of the right eye on the left half, four of the left on the right.
    dark = [sum(half.histogram()[:60]) for half in (left, right)]
    assert dark[0] > dark[1] > 0
    assert render_contact_sheet(report) == render_contact_sheet(report)


def test_held_parts_of_the_measured_exam_are_shown_without_being_given_again(
    measured: MeasuredExam, pictures: Mapping[str, Picture], held: tuple[HeldPart, ...]
) -> None:
    report = report_model(dataclasses.replace(measured, held=held), pictures, {})
    assert [row.code for row in report.held] == [part.reason.code for part in held]
