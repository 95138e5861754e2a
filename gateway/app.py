"""The composition root: makes everything from settings and hands it down; it alone may import all others."""

from __future__ import annotations

import json
import os
import shutil
import socket
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

from gateway.acoustics.comparison import compare
from gateway.acoustics.measure import measure
from gateway.acoustics.measured_prior import prior_of_exam
from gateway.builders.options import BuildOptions, GeneralEquipment, SeriesBy
from gateway.builders.uids import study_uid
from gateway.errors.document import DependsOnHeldPartError, ExamDocumentError, NoCaptureLeftError
from gateway.errors.mapping import SeveralExamsError
from gateway.errors.settings import UnknownDestinationError
from gateway.errors.store import StoreUnavailableError
from gateway.intake.archives import is_archive, unpacked
from gateway.intake.exam_folder import ExamFolder, is_exam
from gateway.intake.measurement_report import read_measurement_report, read_measurement_reports
from gateway.intake.source_folder import SiteTables, read_exams
from gateway.mapping.local_times import zone_named
from gateway.mapping.protocols import load_protocols
from gateway.mapping.repeatability import load_repeatability
from gateway.mapping.speeds import load_speeds
from gateway.mapping.witnesses import hold_unsettled_eyes
from gateway.model.comparison import Comparison
from gateway.model.destination_override import DestinationOverride
from gateway.model.prior import PriorReport
from gateway.model.repeatability import RepeatabilityFigure
from gateway.pipeline.delivery import DeliveryTools, deliver_study
from gateway.pipeline.growing import variant_key
from gateway.pipeline.line import LineTools, PreparedExam, Progress, prepare, queue_exam
from gateway.pipeline.origins import origins_of
from gateway.pipeline.patient_list import KnownPerson, OpenQuestion, known_people, open_questions
from gateway.pipeline.patients import PatientRules, decide_new, decide_same, identified
from gateway.pipeline.queue import Delivery, Queue
from gateway.pipeline.readable import Readable, readable_exam, readable_report
from gateway.pipeline.site_mapping import with_mapping_overrides
from gateway.pipeline.spool import Spool
from gateway.pipeline.store import Store
from gateway.pipeline.study_record import Superseded, superseded_at
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
    archives: ExitStack
    """Keeps unpacked archives until the gateway is closed: loops are read from disk again when they are built."""

    def read(self, exam: Path) -> ExamFolder:
        """Read and map an exam (folder, document or ZIP archive) and open its media; hold captures of unsettled eye."""
        return _read_one(self.folder_of(exam), self.settings, self.line.on_progress)

    def read_all(self, exam: Path) -> tuple[ExamFolder, ...]:
        """Read as `read` does; a site's own folder may hold several exams where its mapping tells them apart."""
        return _read(self.folder_of(exam), self.settings, self.line.on_progress)

    def folder_of(self, exam: Path) -> Path:
        """Return the path itself, or where the ZIP archive at it was unpacked.

        Raises
        ------
        ArchiveError
            If it cannot be unpacked safely and wholly.
        """
        return self.archives.enter_context(unpacked(exam)).folder if is_archive(exam) else exam

    def prepare(self, exam: Path, destination: DestinationSettings | None = None) -> PreparedExam:
        """Read, map, measure, build and check an exam; for a destination with overrides, in its own variant."""
        return self.prepare_read(self.read(exam), destination)

    def prepare_read(self, folder: ExamFolder, destination: DestinationSettings | None = None) -> PreparedExam:
        """Measure, build and check an exam that was read."""
        return prepare(folder, self._line_for(destination) if destination else self.line)

    def _line_for(self, destination: DestinationSettings) -> LineTools:
        options = replace(self.line.options, overrides=overrides_of(destination))
        return replace(self.line, options=options, destination=destination.name)

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
        """Queue a prepared exam for a destination, send it and prove that it arrived.

        Raises
        ------
        UnknownDestinationError
            If it was prepared for a destination that reads it otherwise.
        """
        if variant_key(prepared.options.overrides) != variant_key(overrides_of(destination)):
            fix = "prepare it for this destination"
            raise UnknownDestinationError("the exam was prepared for another", was=destination.name, fix=fix)
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

    def superseded(self, prepared: PreparedExam, destination: DestinationSettings) -> tuple[Superseded, ...]:
        """Return the instances that a destination may still hold and that corrected facts have replaced."""
        return superseded_at(self.line.store, prepared.study_instance_uid, destination.name)

    def decide_same_patient(self, exam: Path, person: tuple[str, str], who: str) -> None:
        """File an exam under a known person (issuer, identifier), or accept corrected facts of a stated one."""
        issuer = person[0] or self.settings.site.issuer
        decide_same(self.line.store, self.line.patients, self.read(exam).exam, (issuer, person[1]), who)

    def decide_new_patient(self, exam: Path, who: str) -> str:
        """Give the person of an exam a new identifier and return it."""
        return decide_new(self.line.store, self.line.patients, self.read(exam).exam, who).patient.id

    def known_people(self) -> tuple[KnownPerson, ...]:
        """Return who is known."""
        return known_people(self.line.store)

    def open_questions(self) -> tuple[OpenQuestion, ...]:
        """Return the exams that wait for a decision on whose they are."""
        return open_questions(self.line.store)


Deliveries = tuple[Delivery, ...]


def overrides_of(destination: DestinationSettings) -> tuple[DestinationOverride, ...]:
    """Return what a destination reads otherwise, in the model's terms."""
    return tuple(DestinationOverride(destination.name, o.attribute, o.value, o.because) for o in destination.overrides)


@contextmanager
def open_gateway(settings: Settings, on_progress: Progress = _silent) -> Iterator[Gateway]:
    """Make a gateway from settings and close it at the end.

    Raises
    ------
    StoreUnavailableError
        If the data folder cannot be used.
    """
    settings = with_mapping_overrides(settings)
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
        line = LineTools(store, spool, options, on_progress, load_repeatability(own_figures), _rules(settings))
        worker = f"{socket.gethostname()}:{os.getpid()}"
        with ExitStack() as archives:
            yield Gateway(settings, line, Queue(store, worker), archives)
    finally:
        spool.close()
        store.close()


def _read(exam: Path, settings: Settings, on_progress: Progress = _silent) -> tuple[ExamFolder, ...]:
    """Read the exams at a path with the site's own tables; the one way by which an exam enters the line."""
    site = settings.site
    speeds = load_speeds(Path(site.speeds) if site.speeds else None)
    protocols = load_protocols(Path(site.protocols)) if site.protocols else None
    made = site.generate_patient_ids
    tables = SiteTables(speeds, protocols, ids_are_made=made, site_zone=zone_named(site.time_zone))
    mapping = Path(site.mapping) if site.mapping else None
    folders = read_exams(exam, mapping, tables, on_progress=on_progress)
    return tuple(settled(folder, settings) for folder in folders)


def _read_one(exam: Path, settings: Settings, on_progress: Progress = _silent) -> ExamFolder:
    folders = _read(exam, settings, on_progress)
    if len(folders) > 1:
        was = ", ".join(folder.exam.key for folder in folders)
        raise SeveralExamsError("the folder holds several exams", where=str(exam), was=was, fix="hand over one of them")
    return folders[0]


def settled(folder: ExamFolder, settings: Settings) -> ExamFolder:
    """Hold the captures whose eye rests on one source alone, unless the site decided that this will do.

    Raises
    ------
    ExamDocumentError
        If no capture is left.
    """
    exam, held = hold_unsettled_eyes(folder.exam, is_one_enough=settings.site.single_eye_witness)
    if not exam.captures:
        reasons = [part.reason for part in (*folder.held, *held) if not isinstance(part.reason, DependsOnHeldPartError)]
        nothing_left = NoCaptureLeftError("no capture can be accepted", where=exam.key, fix="mend those named")
        raise ExamDocumentError([nothing_left, *reasons])
    media = {capture.id: folder.media[capture.id] for capture in exam.captures}
    return replace(folder, exam=exam, media=media, held=(*folder.held, *held))


def _rules(settings: Settings) -> PatientRules:
    return PatientRules(settings.site.issuer, settings.site.generate_patient_ids)


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
        Structured reports, folders with DICOM files, and exam folders or documents, which are measured on the fly; or
        ZIP archives of such folders.

    Raises
    ------
    DifferentPatientsError, NothingToCompareError
    """
    reports: list[PriorReport] = []
    left: list[str] = []
    for number, path in enumerate(paths):
        on_progress("read", number, len(paths))
        with unpacked(path) if is_archive(path) else nullcontext() as archive:
            found, unread = _priors(archive.folder if archive else path, path, settings)
        reports += found
        left += unread
    on_progress("read", len(paths), len(paths))
    comparison = compare(reports, _figures(settings))
    return replace(comparison, notes=(*comparison.notes, *left))


def _priors(path: Path, given: Path, settings: Settings) -> tuple[tuple[PriorReport, ...], list[str]]:
    """Return the reports at a path, and what could not be read there; `given` is its name to people."""
    if is_exam(path):
        return (_measured_now(path, given, settings),), []
    if not path.is_dir():
        return (read_measurement_report(path),), []
    found, unread = read_measurement_reports(path)
    named = tuple(replace(report, source=report.source.replace(str(path), str(given))) for report in found)
    return named, [f"not read: {item.where}: {item.note}".replace(str(path), str(given)) for item in unread]


def _measured_now(path: Path, given: Path, settings: Settings) -> PriorReport:
    """Read and measure an exam as `prepare` does, and build nothing."""
    folder = _read_one(path, settings)
    if not folder.exam.patient.id:  # of two people without identifiers nobody can say that they are one
        store = Store(settings.store.data_folder)
        folder = replace(folder, exam=identified(store, _rules(settings), folder.exam))
        store.close()
    measured = measure(folder.exam, _figures(settings))
    measured = replace(measured, held=(*folder.held, *measured.held))
    return prior_of_exam(measured, study_uid(folder.exam, BuildOptions(uid_root=settings.site.uid_root)), str(given))


def readable(path: Path, settings: Settings, on_progress: Progress = _silent) -> Readable:
    """Return a structured report, or an exam (folder, document or archive) measured on the fly, for reading."""
    if path.is_file() and not is_exam(path) and not is_archive(path):
        return readable_report(path)
    with ExitStack() as archives:
        exam = archives.enter_context(unpacked(path)).folder if is_archive(path) else path
        folder = _read_one(exam, settings, on_progress)
        measured = measure(folder.exam, _figures(settings))
        return readable_exam(folder, replace(measured, held=(*folder.held, *measured.held)))


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
    """Write where every attribute of every object came from, and on what each image's eye rests."""
    path.write_text(json.dumps(origins_of(prepared), indent=1, ensure_ascii=False), encoding="utf-8")
