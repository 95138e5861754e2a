"""What ``gateway report`` shows: one report, rendered in the ways in which people read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from gateway.errors.store import StoreUnavailableError
from gateway.intake.exam_folder import ExamFolder
from gateway.intake.report_outline import read_report_outline
from gateway.model.exam import MeasuredExam
from gateway.model.report_outline import ReportOutline
from gateway.reports.contact_sheet import render_contact_sheet
from gateway.reports.content import Report
from gateway.reports.html import render_html
from gateway.reports.model import picture_of, report_model
from gateway.reports.pdf import render_pdf
from gateway.reports.plain import render_plain_html, render_plain_pdf, render_plain_text
from gateway.reports.readable import document_as_json, document_of_exam, document_of_outline, outline_as_json


class Readable(Protocol):
    """A report that can be read in several ways."""

    @property
    def has_notes(self) -> bool:
        """Whether something was held or not understood."""
        ...

    def text(self) -> str:
        """Return it for a console."""
        ...

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        ...

    def write(self, folder: Path) -> tuple[Path, ...]:
        """Write it as files and return their paths.

        Raises
        ------
        StoreUnavailableError
            If the folder cannot be written.
        """
        ...


@dataclass(frozen=True, slots=True)
class ReadableReport:
    """A structured report that came in."""

    outline: ReportOutline

    @property
    def has_notes(self) -> bool:
        """Whether something was not understood."""
        return bool(document_of_outline(self.outline).notes)

    def text(self) -> str:
        """Return it for a console."""
        return render_plain_text(document_of_outline(self.outline))

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return outline_as_json(self.outline)

    def write(self, folder: Path) -> tuple[Path, ...]:
        """Write report.pdf and report.html."""
        document = document_of_outline(self.outline)
        return _written(
            folder, {"report.pdf": render_plain_pdf(document), "report.html": render_plain_html(document).encode()}
        )


@dataclass(frozen=True, slots=True)
class ReadableExam:
    """An exam as its report shows it."""

    report: Report

    @property
    def has_notes(self) -> bool:
        """Whether a part was held."""
        return bool(self.report.held)

    def text(self) -> str:
        """Return it for a console."""
        return render_plain_text(document_of_exam(self.report))

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return document_as_json(document_of_exam(self.report))

    def write(self, folder: Path) -> tuple[Path, ...]:
        """Write report.pdf, report.html and contact-sheet.png."""
        return _written(
            folder,
            {
                "report.pdf": render_pdf(self.report),
                "report.html": render_html(self.report).encode(),
                "contact-sheet.png": render_contact_sheet(self.report),
            },
        )


def readable_report(path: Path) -> ReadableReport:
    """Read a structured report.

    Raises
    ------
    ReportNotReadableError, NotAMeasurementReportError
    """
    return ReadableReport(read_report_outline(path))


def readable_exam(folder: ExamFolder, measured: MeasuredExam) -> ReadableExam:
    """Return the report of an exam that was read and measured; no object is built, so it names no identifiers."""
    pictures = {capture.id: picture_of(folder.media[capture.id], capture) for capture in measured.exam.captures}
    return ReadableExam(report_model(measured, pictures, {}))


def _written(folder: Path, contents: dict[str, bytes]) -> tuple[Path, ...]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            folder.joinpath(name).write_bytes(content)
    except OSError as error:
        raise StoreUnavailableError("the report cannot be written", where=str(folder), was=str(error)) from error
    return tuple(folder / name for name in contents)
