"""The straight line: read, map, measure, build, check, queue. Each step takes a value and returns the next."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from gateway.acoustics.curves import Curve, curves_of
from gateway.acoustics.measure import measure
from gateway.acoustics.reflectivity import echoes_of
from gateway.builders.built import BuiltObject
from gateway.builders.encapsulated_pdf import build_encapsulated_pdf
from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.series import plan_series
from gateway.builders.sr.report import build_measurement_report
from gateway.builders.uids import study_uid
from gateway.errors.media import MediaError
from gateway.errors.objects import ObjectError, ObjectHasErrorsError
from gateway.intake.exam_folder import ExamFolder
from gateway.model.exam import Exam, HeldPart, MeasuredExam
from gateway.model.holding import hold_captures
from gateway.model.repeatability import RepeatabilityFigure
from gateway.pipeline.growing import KnownStudy, StudyVersions, known_study, source_of, variant_key
from gateway.pipeline.patients import PatientRules, identified, record_patient
from gateway.pipeline.queue import Queue
from gateway.pipeline.spool import Spool
from gateway.pipeline.store import ObjectRecord, Store
from gateway.pipeline.study_record import HandOver, record_hand_over
from gateway.reports.a_scans import PicturedCurve
from gateway.reports.model import Picture, Report, picture_of, report_model
from gateway.reports.pdf import render_pdf
from gateway.validation import Finding, Severity, check_file

Progress = Callable[[str, int, int], None]
"""Step, done, total."""


@dataclass(frozen=True, slots=True)
class CheckedObject:
    """A built object and what the checker says of it."""

    built: BuiltObject
    findings: tuple[Finding, ...]

    @property
    def errors(self) -> tuple[Finding, ...]:
        """Findings that keep the object from being queued."""
        return tuple(finding for finding in self.findings if finding.severity is Severity.ERROR)


@dataclass(frozen=True, slots=True)
class PreparedExam:
    """An exam with everything made of it, ready to be queued.

    Parameters
    ----------
    measured : MeasuredExam
        Without the parts that were held.
    held : tuple of HeldPart
        Parts set aside at any step, with reasons.
    """

    measured: MeasuredExam
    study_instance_uid: str
    objects: tuple[CheckedObject, ...]
    held: tuple[HeldPart, ...]
    report: Report
    pdf: bytes
    unused: tuple[str, ...] = ()
    """Media files in the exam folder that no accepted capture names."""
    sources: tuple[tuple[str, str], ...] = ()
    """Each capture's id, and what it was made from."""
    options: BuildOptions = field(default_factory=BuildOptions)
    """With which it was built: for which destination's variant."""
    notes: tuple[str, ...] = ()
    """What a person should know and nothing was held for."""
    curves: tuple[Curve, ...] = ()
    """A-scans along lines on pictures, and from samples; nothing is measured on them."""


@dataclass(frozen=True, slots=True)
class LineTools:
    """What the line needs, made once by the composition root."""

    store: Store
    spool: Spool
    options: BuildOptions
    on_progress: Progress = lambda step, done, total: None
    repeatability: tuple[RepeatabilityFigure, ...] = ()
    patients: PatientRules = field(default_factory=PatientRules)
    destination: str = ""
    """For which destination the objects are; empty where they are for none yet."""


def prepare(folder: ExamFolder, tools: LineTools) -> PreparedExam:
    """Identify, measure, build and check one exam that was read.

    A capture that cannot be built, or whose image breaks the Standard, is held with what rests on it; the others go on.
    What the store knows of the study decides numbers and versions, so that a study grows and nothing is sent twice.

    Raises
    ------
    GatewayError
        Where nothing is left to go on with.
    """
    folder, study = _placed(folder, tools)
    study_instance_uid = study_uid(folder.exam, tools.options)
    variant = variant_key(tools.options.overrides)
    versions = StudyVersions(tools.store, study_instance_uid, study.session_key, variant, tools.destination)
    context = BuildContext(tools.options, tools.store, tools.spool.building, versions)
    numbers = study.numbers(folder.exam.captures)
    exam, images, held = _build_images(folder, context, numbers, tools.on_progress)
    held = (*held, *study.left_out(exam, held))
    tools.on_progress("measure", 0, 1)
    measured = measure(exam, tools.repeatability)
    echoes, without_meaning = echoes_of(exam)
    curves, unread = _read_curves(exam, folder)
    held = (*held, *measured.held, *without_meaning, *unread)
    # The structured report calls itself partial where any part was held, at whichever step.
    measured = replace(measured, held=held, echoes=echoes)
    tools.on_progress("measure", 1, 1)
    pictures = {capture.id: picture_of(folder.media[capture.id], capture) for capture in exam.captures}
    built = [image.built for image in images]
    report = _report(measured, pictures, _pictured(curves, pictures, exam, folder), built)
    tools.on_progress("report", 0, 2)
    pdf = render_pdf(report)
    structured = build_measurement_report(measured, built, context)
    tools.on_progress("report", 1, 2)
    document = build_encapsulated_pdf(measured, pdf, (*built, structured), context)
    tools.on_progress("report", 2, 2)
    checked = (*images, _checked(structured), _checked(document))
    sources = tuple((capture.id, source_of(capture, folder.media[capture.id])) for capture in exam.captures)
    return PreparedExam(
        measured,
        study_instance_uid,
        checked,
        held,
        report,
        pdf,
        unused=folder.unused,
        sources=sources,
        options=tools.options,
        notes=_notes(study),
        curves=curves,
    )


def _placed(folder: ExamFolder, tools: LineTools) -> tuple[ExamFolder, KnownStudy]:
    """Give an exam its person and its place in its study; hold captures that are another one's once more."""
    exam = identified(tools.store, tools.patients, folder.exam)
    study = known_study(tools.store, exam, study_uid(exam, tools.options))
    exam = replace(exam, study_started=study.started)
    repeated = study.repeated(exam, folder.media)
    exam, held = hold_captures(exam, repeated)
    if not exam.captures:
        raise repeated[0].reason
    return replace(folder, exam=exam, held=(*folder.held, *held)), study


def _notes(study: KnownStudy) -> tuple[str, ...]:
    if not study.order_has_other_studies:
        return ()
    return (
        "another study of this patient has the same accession number: without order.study_instance_uid a second visit "
        "is a study of its own",
    )


def _build_images(
    folder: ExamFolder, context: BuildContext, numbers: Mapping[str, int], on_progress: Progress
) -> tuple[Exam, tuple[CheckedObject, ...], tuple[HeldPart, ...]]:
    """Build and check each capture's image; return the exam with the captures that may go on."""
    exam = folder.exam
    plan = plan_series(exam, context.options, numbers)
    images: list[CheckedObject] = []
    failed: list[HeldPart] = []
    for number, capture in enumerate(exam.captures):
        on_progress("build and check", number, len(exam.captures))
        try:
            built = build_image(exam, capture, folder.media[capture.id], plan[capture.id], context)
            images.append(_without_errors(_checked(built)))
        except (MediaError, ObjectError) as error:
            failed.append(HeldPart(f"captures[{capture.number - 1}]", capture.id, error))
    on_progress("build and check", len(exam.captures), len(exam.captures))
    if not images:
        raise failed[0].reason
    exam, held = hold_captures(exam, failed)
    return exam, tuple(images), (*folder.held, *held)


def _read_curves(exam: Exam, folder: ExamFolder) -> tuple[tuple[Curve, ...], tuple[HeldPart, ...]]:
    """Read the A-scans of all captures; a curve that cannot be read is held alone."""
    read = [curves_of(capture, folder.media[capture.id]) for capture in exam.captures]
    return tuple(curve for curves, _ in read for curve in curves), tuple(part for _, held in read for part in held)


def _pictured(
    curves: Sequence[Curve], pictures: Mapping[str, Picture], exam: Exam, folder: ExamFolder
) -> list[PicturedCurve]:
    """Give each curve the frame that it was read from: the picture of its capture where that is the one."""
    found = []
    for curve in curves:
        picture: Picture | None = None
        if curve.line is not None:
            frame, picture = curve.line.frame or 1, pictures[curve.capture_id]
            if picture.frame != frame:
                capture = exam.capture(curve.capture_id)
                picture = picture_of(folder.media[capture.id], capture, frame)
        found.append(PicturedCurve(curve, picture))
    return found


def _checked(built: BuiltObject) -> CheckedObject:
    return CheckedObject(built, check_file(built.path).findings)


def _without_errors(item: CheckedObject) -> CheckedObject:
    if item.errors:
        first = item.errors[0]
        raise ObjectHasErrorsError(
            f"the image breaks the Standard in {len(item.errors)} places, first: {first.message}",
            where=f"{item.built.capture_id} {first.attribute}",
            was=first.section,
        )
    return item


def _report(
    measured: MeasuredExam,
    pictures: Mapping[str, Picture],
    curves: Sequence[PicturedCurve],
    images: Sequence[BuiltObject],
) -> Report:
    identifiers = {"Study": images[0].study_instance_uid}
    identifiers |= {f"Picture {image.capture_id}": image.sop_instance_uid for image in images}
    return report_model(measured, pictures, identifiers, curves=curves)


def queue_exam(prepared: PreparedExam, tools: LineTools, queue: Queue, destination: str, *, again: bool = False) -> int:
    """Put an exam's objects into the spool, the store and the queue; exam state and jobs in one transaction.

    Objects with errors stay out of the queue. In the same transaction it is written down whose exam this is, which
    numbers and versions were given, and which instances hold now.

    Parameters
    ----------
    again : bool
        Send also what already arrived.

    Returns
    -------
    int
        How many deliveries wait because of this call.
    """
    clean = [item.built for item in prepared.objects if not item.errors]
    for built in clean:
        tools.spool.adopt(built.path, built.sha256)
    with tools.store.transaction() as connection:
        tools.store.record_exam(connection, prepared.study_instance_uid, prepared.measured.exam.key, len(prepared.held))
        tools.store.record_objects(connection, [_record(built) for built in clean])
        exam = prepared.measured.exam
        record_patient(connection, exam)
        variant = variant_key(prepared.options.overrides)
        uid = prepared.study_instance_uid
        record_hand_over(connection, HandOver(exam, uid, prepared.sources, clean, destination, variant))
        return queue.enqueue(connection, [built.sop_instance_uid for built in clean], destination, again=again)


def _record(built: BuiltObject) -> ObjectRecord:
    return ObjectRecord(
        built.sop_instance_uid,
        built.study_instance_uid,
        built.series_instance_uid,
        built.sop_class_uid,
        built.transfer_syntax_uid,
        built.kind.value,
        built.sha256,
    )
