"""A structured report for reading: its measurements and, in its own order, everything else that stands in it.

Comparing takes from a report what it understands; a reader must see that there is more. So every content item appears,
and whatever is shown in part only says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from gateway.intake.measurement_report import report_of_tree
from gateway.intake.report_tree import ReportItem, ReportTree, parse_report, read_report_tree
from gateway.model.coded import CodedConcept
from gateway.model.report_outline import OutlineItem, ReportOutline

_HEADER: Final = (
    ("Patient", "PatientName"),
    ("Patient ID", "PatientID"),
    ("Issued by", "IssuerOfPatientID"),
    ("Born", "PatientBirthDate"),
    ("Sex", "PatientSex"),
    ("Accession", "AccessionNumber"),
    ("Study", "StudyDescription"),
    ("Study date", "StudyDate"),
    ("Written", "ContentDate"),
    ("Device", "Manufacturer"),
    ("Model", "ManufacturerModelName"),
    ("Completion", "CompletionFlag"),
    ("Verification", "VerificationFlag"),
    ("Report", "SOPInstanceUID"),
)
_MISSING: Final = {
    **dict.fromkeys(("TEXT", "PNAME", "UIDREF", "DATE", "TIME"), "a text without a value"),
    **dict.fromkeys(("IMAGE", "COMPOSITE", "WAVEFORM"), "a reference that names nothing"),
    **dict.fromkeys(("SCOORD", "SCOORD3D"), "coordinates that cannot be read"),
    "NUM": "a number without a value",
    "CODE": "a code without a value",
}
"""Kinds of items whose value is shown in full, and what is wrong with one that has none."""


def read_report_outline(path: Path) -> ReportOutline:
    """Read a structured report for reading.

    Raises
    ------
    ReportNotReadableError, NotAMeasurementReportError
    """
    return _outline(read_report_tree(path), str(path))


def report_outline_from(data: bytes, source: str) -> ReportOutline:
    """Read a structured report from its bytes, as `read_report_outline` does."""
    return _outline(parse_report(data, source), source)


def _outline(tree: ReportTree, source: str) -> ReportOutline:
    header = [(label, tree.shown(keyword)) for label, keyword in _HEADER]
    return ReportOutline(
        prior=report_of_tree(tree, source),
        header=tuple((label, text) for label, text in header if text),
        items=tuple(_items(tree.root)),
        notes=tree.notes,
    )


def _items(root: ReportItem) -> Iterator[OutlineItem]:
    waiting = [(root, 0)]
    while waiting:
        item, depth = waiting.pop()
        value, why = _value(item)
        yield OutlineItem(depth, _meaning(item.name) or item.relationship.lower() or "without a name", value, why)
        waiting.extend((child, depth + 1) for child in reversed(item.children))


def _value(item: ReportItem) -> tuple[str, str]:
    """Return an item's value in words, and what of it is missing there."""
    kind = item.value_type
    if kind == "CONTAINER":
        return "", ""
    words = _words(item)
    if kind in _MISSING:
        return words, "" if words else _MISSING[kind]
    return words or kind, "this kind of item is not read" if kind else "an item without a kind"


def _words(item: ReportItem) -> str:
    if item.value_type == "NUM":
        number = item.digits or (format(item.number, "g") if item.number is not None else "")
        return f"{number} {item.unit.value if item.unit else ''}".strip() if number else ""
    if item.value_type == "CODE":
        return _meaning(item.code)
    if item.value_type in {"SCOORD", "SCOORD3D"}:
        return item.coordinates
    return item.instance_uid or item.text


def _meaning(code: CodedConcept | None) -> str:
    if code is None:
        return ""
    return code.meaning or f"({code.value}, {code.scheme})"
