"""The report as PDF: A4, tagged, archival (PDF/A-2a, PDF/UA-1), the same bytes each time."""

from __future__ import annotations

import dataclasses
import json
import re
from datetime import UTC
from typing import Any, Final, Literal
from unicodedata import bidirectional

import typst

from gateway.errors.objects import ReportNotRenderedError
from gateway.reports.a_scan_plot import a_scan_svg
from gateway.reports.characters import FONTS_FOLDER, families
from gateway.reports.content import AScanCard, CaptureCard, EyeSection, Report
from gateway.reports.positions import chart_svg, description, unplaced
from gateway.reports.printable import printable
from gateway.reports.templates import TEMPLATES_FOLDER

STANDARDS: Final[tuple[Literal["a-2a", "ua-1"], ...]] = ("a-2a", "ua-1")
"""Level A holds everything of level B and the structure of the text besides; both are checked while compiling."""

_LONG_WORD: Final = re.compile(r"[^\s\u200b-]{25,}")
_BREAK: Final = "\u200b"
_FIRST_STRONG_ISOLATE: Final = "\u2068"
_POP_ISOLATE: Final = "\u2069"
_KEPT_WHOLE: Final = frozenset({"identifiers", "chart", "language", "title"})


def render_pdf(report: Report) -> bytes:
    """Set the report as PDF.

    The content reaches the template as data and is never read as markup. Nothing outside the package is read: fonts
    and template ship with it.

    Raises
    ------
    ReportNotRenderedError
        If the typesetter refuses; a report that breaks the standards is not given out.
    """
    data = json.dumps(_plain(_content(printable(report))), ensure_ascii=False)
    try:
        pdf = typst.compile(
            TEMPLATES_FOLDER / "report.typ",
            format="pdf",
            font_paths=[FONTS_FOLDER],
            ignore_system_fonts=True,
            sys_inputs={"report": data, "families": json.dumps(families())},
            pdf_standards=list(STANDARDS),
        )
    except typst.TypstError as error:
        # The message could quote the patient's name; only its kind goes on.
        raise ReportNotRenderedError(
            "the readable report cannot be set as PDF",
            where=report.exam_key,
            was=str(error).partition("`")[0].strip(" :"),
            fix="send this exam's document, with invented names, to the makers of the gateway",
        ) from None
    return bytes(pdf)


def _content(report: Report) -> dict[str, Any]:
    """Return the report's fields with what the template needs beside them."""
    content = {field.name: getattr(report, field.name) for field in dataclasses.fields(report)}
    # The typesetter writes its dates as UTC.
    content["created"] = list(report.created.astimezone(UTC).timetuple()[:6])
    content["eyes"] = [_eye(section) for section in report.eyes]
    del content["right"], content["left"]
    return content


def _eye(section: EyeSection) -> dict[str, Any]:
    content = {field.name: getattr(section, field.name) for field in dataclasses.fields(section)}
    content["chart"] = chart_svg(section)
    content["chart_words"] = description(section)
    content["unplaced"] = ", ".join(f"{card.number} ({card.position})" for card in unplaced(section))
    content["captures"] = [_capture(card) for card in section.captures]
    # The chart is drawn already.
    content["coverage"] = dataclasses.replace(section.coverage, shapes=())
    content["a_scans"] = [_a_scan(card) for card in section.a_scans]
    return content


def _a_scan(card: AScanCard) -> dict[str, Any]:
    content = {f.name: getattr(card, f.name) for f in dataclasses.fields(card) if f.name not in {"plot", "line"}}
    picture = card.picture
    content["chart"] = a_scan_svg(card)
    content["picture"] = picture.png if picture else None
    content["line"] = (
        [(point.x / picture.source_columns, point.y / picture.source_rows) for point in card.line] if picture else []
    )
    content["peaks"] = [f"{peak.number} at {peak.words}" for peak in card.peaks]
    return content


def _capture(card: CaptureCard) -> dict[str, Any]:
    content = {f.name: getattr(card, f.name) for f in dataclasses.fields(card) if f.name not in {"mark", "calipers"}}
    picture = card.picture
    content["picture"] = picture.png if picture else None
    content["calipers"] = _calipers(card)
    content["eye_short"] = card.eye.abbreviation
    return content


def _calipers(card: CaptureCard) -> list[list[tuple[float, float]]]:
    """Return each caliper's points as shares of the picture's width and height."""
    picture = card.picture
    if picture is None:
        return []
    width, height = picture.source_columns, picture.source_rows
    return [
        [(point.x / width, point.y / height) for point in (*line.points, *(line.points[:1] if line.is_closed else ()))]
        for line in card.calipers
    ]


def _plain(value: Any, key: str = "") -> Any:  # noqa: ANN401  any content in, JSON out
    if isinstance(value, str):
        return value if key in _KEPT_WHOLE else _set_apart(_LONG_WORD.sub(_breakable, value))
    if isinstance(value, bytes):
        return list(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {name: _plain(item, key if key in _KEPT_WHOLE else name) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, key) for item in value]
    return value


def _breakable(word: re.Match[str]) -> str:
    """Let a word too long for its column be broken anywhere; unseen, and not in identifiers, which people copy."""
    return _BREAK.join(word[0])


def _set_apart(text: str) -> str:
    """Keep lines with letters that run from right to left from turning what stands beside them (UAX 9)."""
    return "\n".join(
        f"{_FIRST_STRONG_ISOLATE}{line}{_POP_ISOLATE}" if any(bidirectional(c) in {"R", "AL"} for c in line) else line
        for line in text.split("\n")
    )
