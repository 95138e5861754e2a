"""Reads measurement reports, the project's own or not, as far as numbers can be compared (PS3.16 TID 1500, TID 1501).

Nothing in a report is trusted and nothing is guessed: what is not understood is kept as unread, with a note. A number
outside any measurement group belongs to no finding and is not compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Final

from gateway.errors import GatewayError
from gateway.errors.objects import NotAMeasurementReportError
from gateway.intake.report_codes import is_named
from gateway.intake.report_groups import group_of
from gateway.intake.report_pictures import pictures_of
from gateway.intake.report_tree import ReportItem, ReportTree, is_structured_report, parse_report, read_report_tree
from gateway.model.prior import PriorGroup, PriorReport, UnreadItem

_KEY_OBJECT_SELECTION: Final = "1.2.840.10008.5.1.4.1.1.88.59"
"""Has a content tree, yet holds no numbers."""


def read_measurement_report(path: Path) -> PriorReport:
    """Read one measurement report from a file.

    Raises
    ------
    ReportNotReadableError, NotAMeasurementReportError
        If it is no DICOM file, is damaged, or has no content tree. Nothing that stands in the tree raises.
    """
    return report_of_tree(read_report_tree(path), str(path))


def measurement_report_from(data: bytes, source: str) -> PriorReport:
    """Read one measurement report from its bytes, as `read_measurement_report` does."""
    return report_of_tree(parse_report(data, source), source)


def read_measurement_reports(folder: Path) -> tuple[tuple[PriorReport, ...], tuple[UnreadItem, ...]]:
    """Read every measurement report below a folder.

    Returns
    -------
    reports : tuple of PriorReport
        In the order of their paths.
    unread : tuple of UnreadItem
        Reports that could not be read, with reasons; files that are no structured reports are passed over in silence.

    Raises
    ------
    NotAMeasurementReportError
        If there is none.
    """
    reports: list[PriorReport] = []
    unread: list[UnreadItem] = []
    for path in _files(folder):
        if not is_structured_report(path):
            continue
        try:
            report = read_measurement_report(path)
        except GatewayError as error:
            unread.append(UnreadItem(str(path), str(error)))
        else:
            reports.append(report)
    if not reports:
        raise NotAMeasurementReportError(
            "no measurement report in this folder",
            where=str(folder),
            was=unread[0].note if unread else "",
            fix="name a folder with an exam document, or with the DICOM files of an exam",
        )
    return tuple(reports), tuple(unread)


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.rglob("*") if path.is_file())
    except OSError as error:
        raise NotAMeasurementReportError(
            "the folder cannot be read", where=str(folder), was=type(error).__name__, fix="check its permissions"
        ) from error


def report_of_tree(tree: ReportTree, source: str) -> PriorReport:
    """Return what a content tree says, as `read_measurement_report` does."""
    header = tree.header
    if header["SOPClassUID"] == _KEY_OBJECT_SELECTION or not tree.root.children:
        raise NotAMeasurementReportError(
            "the object holds no content tree with numbers", where=source, fix="name a structured report"
        )
    pictures = pictures_of(tree.root)
    groups: list[PriorGroup] = []
    unread = [UnreadItem("the file", note) for note in tree.notes]
    for item, where in _below(tree.root, ()):
        if is_named(item, "measurement-group"):
            group, left = group_of(item, pictures)
            groups.append(group)
            unread.extend(left)
        else:
            unread.append(UnreadItem(where, "a number outside any measurement group"))
    device = dict.fromkeys(part for part in (header["Manufacturer"], header["ManufacturerModelName"]) if part)
    return PriorReport(
        study_uid=header["StudyInstanceUID"],
        when=_moment(header, "Study") or _moment(header, "Content"),
        patient_id=header["PatientID"],
        patient_issuer=header["IssuerOfPatientID"],
        device=" ".join(device),
        groups=tuple(groups),
        unread=tuple(unread),
        source=source,
        written=_moment(header, "Content"),
    )


def _below(item: ReportItem, above: tuple[str, ...]) -> Iterator[tuple[ReportItem, str]]:
    """Yield each measurement group, and each number outside of any; pictures keep their own numbers."""
    for child in item.children:
        name = child.name.meaning if child.name and child.name.meaning else child.value_type or "an item"
        path = (*above, name)
        if is_named(child, "measurement-group") or child.value_type == "NUM":
            yield child, " > ".join(path)
        elif not is_named(child, "image-library") and child.value_type != "IMAGE":
            yield from _below(child, path)


def _moment(header: Mapping[str, str], which: str) -> datetime | None:
    """Return a date with its time, midnight where no time can be read (PS3.5 6.2, DA and TM)."""
    day = header[f"{which}Date"].replace(".", "")
    time = header[f"{which}Time"].replace(":", "").partition(".")[0]
    for text, pattern in ((day + time, "%Y%m%d%H%M%S"), (day + time, "%Y%m%d%H%M"), (day, "%Y%m%d")):
        try:
            return datetime.strptime(text, pattern)
        except ValueError:
            continue
    return None
