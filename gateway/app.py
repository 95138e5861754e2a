"""The composition root: makes everything from settings and hands it down; it alone may import all others."""

from __future__ import annotations

import json
import os
import shutil
import socket
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from gateway.acoustics.comparison import compare
from gateway.acoustics.measure import measure
from gateway.acoustics.measured_prior import prior_of_exam
from gateway.builders.options import BuildOptions, GeneralEquipment, SeriesBy
from gateway.builders.uids import study_uid
from gateway.errors.settings import UnknownDestinationError
from gateway.errors.store import StoreUnavailableError
from gateway.intake.exam_folder import ExamFolder, is_exam, read_exam_folder
from gateway.intake.measurement_report import read_measurement_report, read_measurement_reports
from gateway.mapping.local_times import zone_named
from gateway.mapping.repeatability import load_repeatability
from gateway.mapping.speeds import load_speeds
from gateway.model.comparison import Comparison
from gateway.model.prior import PriorReport
from gateway.model.repeatability import RepeatabilityFigure
from gateway.pipeline.delivery import DeliveryTools, deliver_study
from gateway.pipeline.line import LineTools, PreparedExam, Progress, prepare, queue_exam
from gateway.pipeline.queue import Delivery, Queue
from gateway.pipeline.spool import Spool
from gateway.pipeline.store import Store
from gateway.reports.contact_sheet import render_contact_sheet
from gateway.reports.html import render_html
from gateway.reports.trend_plot import render_trend_plot
from gateway.settings import DestinationSettings, Settings, StoreSettings
from gateway.shipped import shipped_path
from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.commitment import CommitmentListener
from gateway.transports.dimse.destination import DimseDestination
from gateway.transports.dimse.peer import Peer


def _silent(_step: str, _done: int, _total: int) -> None:
    """Report progress to nobody."""


@dataclass(frozen=True, slots=True)
class Gateway:
    """Everything made from one set of settings."""

    settings: Settings
    line: LineTools
    queue: Queue

    def read(self, exam: Path) -> ExamFolder:
        """Read and map an exam folder or document, and open its media."""
        return _read(exam, self.settings, self.line.on_progress)

    def prepare(self, exam: Path) -> PreparedExam:
        """Read, map, measure, build and check an exam."""
        return prepare(self.read(exam), self.line)

    def destination(self, name: str) -> DestinationSettings:
        """Return the settings of a destination; an empty name means the only one there is.

        Raises
        ------
        UnknownDestinationError
        """
        known = {destination.name: destination for destination in self.settings.destinations}
        if not name and len(known) == 1:
            return next(iter(known.values()))
        if name not in known:
            raise UnknownDestinationError(
                "no destination has this name" if name else "say which destination",
                was=name,
                fix=f"known are {', '.join(sorted(known)) or 'none: add a [[destinations]] table to the settings'}",
            )
        return known[name]

    def deliver(self, prepared: PreparedExam, destination: DestinationSettings, *, again: bool = False) -> Deliveries:
        """Queue a prepared exam for a destination, send it and prove that it arrived."""
        queue_exam(prepared, self.line, self.queue, destination.name, again=again)
        tools = DeliveryTools(self.line.store, self.queue, self.line.spool, on_progress=self.line.on_progress)
        network = self.settings.network
        with ExitStack() as stack:
            listener = None
            if network.listen_port and destination.storage_commitment:
                listener = stack.enter_context(
                    CommitmentListener(network.ae_title, host=network.listen_host, port=network.listen_port)
                )
            archive = DimseDestination(_peer(destination, self.settings), destination.commitment_wait_s, listener)
            return deliver_study(tools, archive, destination, prepared.study_instance_uid)


Deliveries = tuple[Delivery, ...]


@contextmanager
def open_gateway(settings: Settings, on_progress: Progress = _silent) -> Iterator[Gateway]:
    """Make a gateway from settings and close it at the end.

    Raises
    ------
    StoreUnavailableError
        If the data folder cannot be used.
    """
    data_folder = settings.store.data_folder
    store = Store(data_folder)
    spool = Spool(data_folder / "spool")
    try:
        options = BuildOptions(
            series_by=SeriesBy(settings.site.series_by),
            uid_root=settings.site.uid_root,
            snomed_extended=settings.site.snomed_extended,
            general_equipment=GeneralEquipment(settings.site.general_equipment),
        )
        own_figures = Path(settings.site.repeatability) if settings.site.repeatability else None
        line = LineTools(store, spool, options, on_progress, load_repeatability(own_figures))
        worker = f"{socket.gethostname()}:{os.getpid()}"
        yield Gateway(settings, line, Queue(store, worker))
    finally:
        spool.close()
        store.close()


def _peer(destination: DestinationSettings, settings: Settings) -> Peer:
    return Peer(
        name=destination.name,
        ae_title=destination.ae_title,
        host=destination.host,
        port=destination.port,
        calling_ae_title=settings.network.ae_title,
    )


@dataclass(frozen=True, slots=True)
class Demonstration:
    """What the demo did, for the tables it prints."""

    folder: Path
    prepared: PreparedExam
    deliveries: Deliveries
    truth_mm: Mapping[str, float]
    """Measurement id to what the phantom was drawn with."""
    archive_name: str


def demonstrate(folder: Path, settings: Settings, on_progress: Progress = _silent) -> Demonstration:
    """Run the whole line on the shipped, invented exam against an archive of the demo's own on loopback.

    Parameters
    ----------
    folder : Path
        Where ``exam/``, ``archive/``, ``report.pdf``, ``report.html`` and ``contact-sheet.png`` are left.

    Raises
    ------
    StoreUnavailableError
        If the folder cannot be written.
    """
    exam = folder / "exam"
    try:
        shutil.copytree(shipped_path("demo-exam"), exam, dirs_exist_ok=True)
    except OSError as error:
        raise StoreUnavailableError("the demo folder cannot be written", where=str(folder), was=str(error)) from error
    own = replace(settings, store=StoreSettings(folder / ".gateway-data"))
    with (
        LoopbackArchive(folder / "archive", ae_title="DEMOARCHIVE") as archive,
        open_gateway(own, on_progress) as gateway,
    ):
        destination = DestinationSettings("demo-archive", "DEMOARCHIVE", "127.0.0.1", archive.port)
        prepared = gateway.prepare(exam)
        write_readable(prepared, folder)
        deliveries = gateway.deliver(prepared, destination, again=True)
    truth = json.loads((exam / "truth.json").read_text(encoding="utf-8"))
    truth_mm = {name: row["true_mm"] for name, row in truth["measurements"].items()}
    return Demonstration(folder, prepared, deliveries, truth_mm, "DEMOARCHIVE")


def write_readable(prepared: PreparedExam, folder: Path) -> tuple[Path, Path, Path]:
    """Write the report as PDF and page, and the contact sheet; return their paths."""
    paths = folder / "report.pdf", folder / "report.html", folder / "contact-sheet.png"
    contents = (
        prepared.pdf,
        render_html(prepared.report).encode(),
        render_contact_sheet(prepared.report),
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, content in zip(paths, contents, strict=True):
            path.write_bytes(content)
    except OSError as error:
        raise StoreUnavailableError("the report cannot be written", where=str(folder), was=str(error)) from error
    return paths


def compare_exams(paths: Sequence[Path], settings: Settings, on_progress: Progress = _silent) -> Comparison:
    """Compare the visits of one patient.

    Parameters
    ----------
    paths : sequence of Path
        Structured reports, folders with DICOM files, and exam folders or documents, which are measured on the fly.

    Raises
    ------
    DifferentPatientsError, NothingToCompareError
    """
    reports: list[PriorReport] = []
    left: list[str] = []
    for number, path in enumerate(paths):
        on_progress("read", number, len(paths))
        if is_exam(path):
            reports.append(_measured_now(path, settings))
        elif path.is_dir():
            found, unread = read_measurement_reports(path)
            reports.extend(found)
            left += [f"not read: {item.where}: {item.note}" for item in unread]
        else:
            reports.append(read_measurement_report(path))
    on_progress("read", len(paths), len(paths))
    comparison = compare(reports, _figures(settings))
    return replace(comparison, notes=(*comparison.notes, *left))


def _read(path: Path, settings: Settings, on_progress: Progress) -> ExamFolder:
    """Read an exam by the site's own tables and zone."""
    site = settings.site
    speeds = load_speeds(Path(site.speeds) if site.speeds else None)
    return read_exam_folder(path, speeds, zone_named(site.time_zone), on_progress=on_progress)


def _measured_now(path: Path, settings: Settings) -> PriorReport:
    """Read and measure an exam as `prepare` does, and build nothing."""
    folder = _read(path, settings, _silent)
    measured = measure(folder.exam, _figures(settings))
    measured = replace(measured, held=(*folder.held, *measured.held))
    return prior_of_exam(measured, study_uid(folder.exam, BuildOptions(uid_root=settings.site.uid_root)), str(path))


def _figures(settings: Settings) -> tuple[RepeatabilityFigure, ...]:
    return load_repeatability(Path(settings.site.repeatability) if settings.site.repeatability else None)


def write_trend_plot(comparison: Comparison, path: Path) -> None:
    """Write the readings of each quantity over time as a drawing (SVG).

    Raises
    ------
    StoreUnavailableError
        If the file cannot be written.
    """
    try:
        path.write_text(render_trend_plot(comparison), encoding="utf-8")
    except OSError as error:
        raise StoreUnavailableError("the plot cannot be written", where=str(path), was=str(error)) from error


def write_origins(prepared: PreparedExam, path: Path) -> None:
    """Write where every attribute of every object came from: a field of the exam document with its place, or a rule."""
    places = prepared.measured.exam.origins
    content = {
        item.built.sop_instance_uid: {
            "object": item.built.capture_id or item.built.kind.value,
            "attributes": {
                attribute: {"from": origin, "at": str(places[origin])} if origin in places else {"from": origin}
                for attribute, origin in item.built.attribute_origins.items()
            },
        }
        for item in prepared.objects
    }
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False), encoding="utf-8")
