"""Plain documents of a structured report that came in, and of an exam, for the console and for paper."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Final

from gateway.model.prior import PriorGroup, PriorMeasurement
from gateway.model.report_outline import OutlineItem, ReportOutline
from gateway.reports.content import EyeSection, LengthRow, Line, Report
from gateway.reports.plain import PlainDocument, PlainTable

TITLE: Final = "Measurement report"
_INDENT: Final = "\u2003"
"""An em space, which no rendering takes away from the start of a cell."""


def document_of_outline(outline: ReportOutline) -> PlainDocument:
    """Return a structured report as a document: measurements, everything it holds, and what was not understood."""
    prior = outline.prior
    moment = prior.when or prior.written or datetime(1970, 1, 1, tzinfo=UTC)
    measurements = tuple(row for group in prior.groups for row in _measurement_rows(group))
    return PlainDocument(
        title=TITLE,
        created=(moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second),
        facts=tuple(Line(label, text) for label, text in outline.header),
        tables=(
            PlainTable(
                "Findings and measurements",
                ("finding and place", "what", "value", "how"),
                measurements,
                "no measurement group that is understood",
            ),
            PlainTable("Everything in the report", ("item", "value"), tuple(map(_outline_row, outline.items))),
        ),
        notes=tuple(not_understood(outline)),
    )


def not_understood(outline: ReportOutline) -> Iterator[str]:
    """Yield a line for everything that the tables do not say in full."""
    prior = outline.prior
    for item in prior.unread:
        yield f"not understood: {item.where}: {item.note}"
    seen = {(item.where, item.note) for item in prior.unread}
    for note in outline.notes:
        if ("the file", note) not in seen:
            yield f"not read: {note}"
    for row in outline.items:
        if row.not_understood:
            yield f"shown in part: {row.name}: {row.not_understood}"


def _measurement_rows(group: PriorGroup) -> Iterator[tuple[str, ...]]:
    if not group.measurements:
        yield group.words, "", "", ""
    for number, measurement in enumerate(group.measurements):
        words = group.words if number == 0 else ""
        yield words, _what(measurement), measurement.shown, _how(measurement)


def _what(measurement: PriorMeasurement) -> str:
    structure = measurement.structure.replace("-", " ")
    return f"{measurement.words} of {structure}" if structure else measurement.words


def _how(measurement: PriorMeasurement) -> str:
    parts = [
        "corrected" if measurement.is_corrected else "",
        measurement.method.meaning if measurement.method else "",
        measurement.derivation.meaning if measurement.derivation else "",
        f"at {measurement.speed_m_per_s:g} m/s" if measurement.speed_m_per_s is not None else "",
        measurement.formula,
    ]
    return "; ".join(part for part in parts if part)


def _outline_row(item: OutlineItem) -> tuple[str, str]:
    value = f"{item.value} ({item.not_understood})" if item.not_understood else item.value
    return _INDENT * item.depth + item.name, value.strip()


def outline_as_json(outline: ReportOutline) -> dict[str, object]:
    """Return a structured report as plain data, numbers in full."""
    return {
        "report": dict(outline.header),
        "groups": [_group_as_json(group) for group in outline.prior.groups],
        "content": [{"depth": item.depth, "name": item.name, "value": item.value} for item in outline.items],
        "not_understood": list(not_understood(outline)),
    }


def _group_as_json(group: PriorGroup) -> dict[str, object]:
    return {
        "finding": group.finding,
        "presence": group.presence,
        "eye": group.eye.value if group.eye else None,
        "structure": group.structure,
        "clock_hour": group.clock_hour.hours if group.clock_hour else None,
        "zone": group.zone.value if group.zone else None,
        "tracking_uid": group.tracking_uid,
        "measurements": [
            {
                "what": _what(measurement),
                "value": measurement.value,
                "unit": measurement.unit,
                "shown": measurement.shown,
                "corrected": measurement.is_corrected,
                "how": _how(measurement),
            }
            for measurement in group.measurements
        ],
    }


def document_of_exam(report: Report) -> PlainDocument:
    """Return the readable report of an exam as a document without pictures."""
    at = report.created
    who = [Line("Patient", report.name.alphabetic), *report.patient, *report.order, *report.session]
    if report.invented:
        who.insert(0, Line("Invented", report.invented))
    return PlainDocument(
        title=report.title,
        created=(at.year, at.month, at.day, at.hour, at.minute, at.second),
        facts=(*who, *(Line("Caution", caution) for caution in report.cautions)),
        tables=tuple(table for section in report.eyes for table in _eye_tables(section)),
        notes=(
            *(f"held: {row.part}: {row.reason}; {row.fix}" for row in report.held),
            *(line.text for line in report.output),
            *report.uncertainty_notes,
            *report.speed_sources,
            *report.notes,
            report.status,
        ),
    )


def _eye_tables(section: EyeSection) -> Iterator[PlainTable]:
    yield PlainTable(
        f"{section.words}: pictures",
        ("number", "capture", "position", "shown", "details"),
        tuple(
            (
                str(card.number),
                card.id,
                ", ".join(part for part in (card.position, card.side) if part),
                "; ".join(part for part in (card.shown, card.acquired) if part),
                "; ".join([*card.details, *card.annotations, *([card.comment] if card.comment else [])]),
            )
            for card in section.captures
        ),
        section.nothing,
    )
    if section.findings or section.not_shown:
        yield PlainTable(
            f"{section.words}: findings",
            ("finding", "presence", "place", "pictures", "comment"),
            tuple(
                (row.what, row.presence, row.place, row.pictures, row.comment)
                for row in (*section.findings, *section.not_shown)
            ),
        )
    if section.measurements:
        yield PlainTable(
            f"{section.words}: measurements",
            ("measurement", "what", "displayed", "corrected", "how"),
            tuple(
                (
                    row.id,
                    "; ".join(part for part in (row.what, row.finding, row.place, row.picture) if part),
                    f"{row.value} {row.uncertainty}".strip(),
                    f"{row.corrected} {row.corrected_uncertainty}".strip() or "-",
                    "; ".join(
                        part
                        for part in (row.how, row.speed, row.formula, row.not_corrected, *_lengths(row.lengths))
                        if part
                    ),
                )
                for row in section.measurements
            ),
        )


def _lengths(rows: tuple[LengthRow, ...]) -> Iterator[str]:
    for row in rows:
        yield "; ".join([f"{row.value} by {row.method}", row.basis, *row.remarks])


def document_as_json(document: PlainDocument) -> dict[str, object]:
    """Return a document as plain data: facts, a list of rows for each table, notes."""
    return {
        "title": document.title,
        "facts": [[fact.label, fact.text] for fact in document.facts],
        "tables": [
            {"title": table.title, "rows": [dict(zip(table.headings, row, strict=True)) for row in table.rows]}
            for table in document.tables
        ],
        "notes": list(document.notes),
    }
