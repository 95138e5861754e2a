"""The reader of exam documents: from a file to one exam and the parts that had to be held.

Three steps: the file becomes a located tree of texts, the tree is checked against the models of the format, and what
passed becomes the domain exam. Every problem is collected on the way; none hides another.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from gateway.errors import GatewayError, Place
from gateway.errors.document import (
    DocumentError,
    DocumentFormatError,
    ExamDocumentError,
    FieldMissingError,
    NoCaptureLeftError,
    SeveralProblemsError,
    ValueNotUnderstoodError,
    ValueOutOfRangeError,
)
from gateway.mapping.captures import capture_of, check_captures
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.observations import (
    AnnotationFields,
    ExamHeadFields,
    FindingFields,
    MeasurementFields,
)
from gateway.mapping.document.problems import duplicate_keys, in_order, validated, without_missing
from gateway.mapping.local_times import with_offsets
from gateway.mapping.located.file import read_located
from gateway.mapping.located.tree import LocatedDocument, Scalar, Table, path_text, plain, walk
from gateway.mapping.located.tree import Path as TreePath
from gateway.mapping.measuring_fields import check_sources
from gateway.mapping.moments import true_time
from gateway.mapping.observations import (
    annotation_of,
    check_annotation,
    check_finding,
    check_measurement,
    check_tracking,
    finding_of,
    measurement_of,
)
from gateway.mapping.parts import SECTIONS, F, Part, PartIndex, read_parts
from gateway.mapping.patient_identity import identity_problems
from gateway.mapping.protocol_steps import find_protocol, origin_words, step_place, take_steps
from gateway.mapping.protocols import load_protocols
from gateway.mapping.speeds import load_speeds
from gateway.mapping.witnesses import check_witnesses, witnesses_of
from gateway.model.capture import Capture
from gateway.model.exam import Exam, HeldPart
from gateway.model.measurement import TissueSpeed
from gateway.model.order import Order
from gateway.model.protocol import Protocol
from gateway.model.witness import EyeWitness


@dataclass(frozen=True, slots=True)
class MappedExam:
    """An exam as far as its document could be accepted, and what was held."""

    exam: Exam
    held: tuple[HeldPart, ...]


@dataclass(frozen=True, slots=True)
class _Parts:
    captures: list[Part[CaptureFields]]
    measurements: list[Part[MeasurementFields]]
    annotations: list[Part[AnnotationFields]]
    findings: list[Part[FindingFields]]

    def all(
        self,
    ) -> Sequence[Part[CaptureFields] | Part[MeasurementFields] | Part[AnnotationFields] | Part[FindingFields]]:
        return [*self.captures, *self.measurements, *self.annotations, *self.findings]


@dataclass(frozen=True, slots=True)
class _Tables:
    """What a document refers to and does not hold itself, and what captures took from it, by capture id."""

    speeds: Mapping[str, TissueSpeed]
    protocol: Protocol | None
    taken: Mapping[str, tuple[str, ...]]
    witnesses: Mapping[str, tuple[EyeWitness, ...]]


def read_exam_document(
    path: Path,
    *,
    speeds: Mapping[str, TissueSpeed] | None = None,
    protocols: Mapping[str, Protocol] | None = None,
    ids_are_made: bool = False,
    site_zone: ZoneInfo | None = None,
) -> MappedExam:
    """Read an exam document (``eye-ultrasound-exam/1``, YAML or JSON).

    Parameters
    ----------
    path : Path
        The document; its folder's name becomes the exam's key.
    speeds : mapping of str to TissueSpeed, optional
        The site's table of speeds of sound; the shipped one where None.
    protocols : mapping of str to Protocol, optional
        Protocols that a session may name, by name; the shipped ones where None.
    ids_are_made : bool
        The document may state no patient identifier, because the site's settings say that the gateway makes one.
    site_zone : ZoneInfo, optional
        Zone of times without offset where the document states none; without either they are refused.

    Returns
    -------
    MappedExam
        The exam with everything that could be accepted, and the held parts with reasons.

    Raises
    ------
    ExamDocumentError
        If the file cannot be read, anything outside the single parts is wrong, or no capture is left; it carries every
        problem found.
    """
    try:
        document = read_located(path)
    except DocumentError as err:
        raise ExamDocumentError([err]) from err
    return map_exam_document(
        document,
        exam_key(path),
        speeds=speeds,
        protocols=protocols,
        ids_are_made=ids_are_made,
        site_zone=site_zone,
    )


def map_exam_document(
    document: LocatedDocument,
    key: str,
    *,
    speeds: Mapping[str, TissueSpeed] | None = None,
    protocols: Mapping[str, Protocol] | None = None,
    ids_are_made: bool = False,
    site_zone: ZoneInfo | None = None,
) -> MappedExam:
    """Check a document that has been read, or put together from a site's own sources, and turn it into an exam.

    Parameters
    ----------
    key : str
        The exam's short name (see `model.exam.Exam`).
    speeds : mapping of str to TissueSpeed, optional
        The site's table of speeds of sound; the shipped one where None.
    protocols : mapping of str to Protocol, optional
        Protocols that a session may name, by name; the shipped ones where None.
    ids_are_made : bool
        The document may state no patient identifier, because the site's settings say that the gateway makes one.
    site_zone : ZoneInfo, optional
        Zone of times without offset where the document states none; without either they are refused.

    Raises
    ------
    ExamDocumentError
        As `read_exam_document`.
    """
    if not isinstance(document.root, Table):
        where = document.place(())
        raise ExamDocumentError([ValueNotUnderstoodError("the document is not a mapping", where=where, fix=_START)])
    _refuse_mapping(document)
    document, undecided_times = with_offsets(document, site_zone)
    early: dict[TreePath, list[GatewayError]] = defaultdict(list)
    for where_to, error in (*duplicate_keys(document), *undecided_times):
        early[where_to[:2] if where_to and where_to[0] in SECTIONS else ()].append(error)
    head, problems = validated(document, (), ExamHeadFields, SECTIONS)
    problems += [*early[()], *_head_problems(document, head)]
    problems += identity_problems(document, ids_are_made=ids_are_made)
    stated = document.problems.get((), ())
    problems = [*stated, *without_missing(problems, stated)]
    parts = _read_all_parts(document, early, problems)
    protocol = _protocol(document, head, protocols, problems)
    taken = take_steps(parts.captures, protocol)
    witnesses = _witnesses(parts, protocol, head)
    tables = _Tables(load_speeds() if speeds is None else speeds, protocol, taken, witnesses)
    _check_all_parts(parts, tables.speeds)
    held = tuple(part.held() for part in parts.all() if not part.is_good)
    if problems or head is None:
        raise ExamDocumentError(in_order([*problems, *_single_reasons(held)]))
    if not any(part.is_good for part in parts.captures):
        where = document.place(("captures",))
        nothing_left = NoCaptureLeftError("no capture can be accepted", where=where, fix="mend those named")
        raise ExamDocumentError([nothing_left, *_single_reasons(held)])
    return MappedExam(_exam(key, document, head, parts, tables), held)


def _single_reasons(held: Sequence[HeldPart]) -> list[GatewayError]:
    reasons: list[GatewayError] = []
    for part in held:
        reasons.extend(part.reason.problems if isinstance(part.reason, SeveralProblemsError) else [part.reason])
    return reasons


_START = "begin with format: eye-ultrasound-exam/1"


def _refuse_mapping(document: LocatedDocument) -> None:
    """Say of a mapping that it is one; that none of its fields is an exam's would be no help."""
    stated = document.node(("format",))
    if isinstance(stated, Scalar) and stated.text.startswith("eye-ultrasound-source/"):
        where, fix = document.place(("format",)), "give it behind --mapping, and the folder that it is for as the exam"
        raise ExamDocumentError([DocumentFormatError("this is a mapping, not an exam", where=where, fix=fix)])


def _head_problems(document: LocatedDocument, head: ExamHeadFields | None) -> list[GatewayError]:
    problems: list[GatewayError] = []
    captures = document.node(("captures",))
    if captures is None or plain(captures) is None:
        where = document.place(("captures",))
        problems.append(FieldMissingError("a required field is missing", where=where, fix="write captures: and a list"))
    if head and head.patient.birth_date and head.patient.birth_date > head.session.start.date():
        where = document.place(("patient", "birth_date"))
        what = "the birth date lies after the exam"
        problems.append(ValueOutOfRangeError(what, where=where, fix="mend birth_date or session.start"))
    return problems


def _protocol(
    document: LocatedDocument,
    head: ExamHeadFields | None,
    protocols: Mapping[str, Protocol] | None,
    problems: list[GatewayError],
) -> Protocol | None:
    if head is None or not head.session.protocol:
        return None
    try:
        return find_protocol(document, head.session.protocol, load_protocols() if protocols is None else protocols)
    except DocumentError as err:
        problems.append(err)
        return None


def _witnesses(
    parts: _Parts, protocol: Protocol | None, head: ExamHeadFields | None
) -> dict[str, tuple[EyeWitness, ...]]:
    """Hear everything that names an eye, and refuse captures of which it names both."""
    who_stated_all = head.eyes_stated_by.to_model() if head and head.eyes_stated_by else None
    heard = {}
    for part in parts.captures:
        if part.fields is not None:
            step = protocol.step(part.fields.protocol_step) if protocol and part.fields.protocol_step else None
            heard[part.id] = witnesses_of(part, part.fields, step, who_stated_all)
            check_witnesses(part, part.fields, heard[part.id])
    return heard


def _read_all_parts(
    document: LocatedDocument, early: Mapping[TreePath, Sequence[GatewayError]], problems: list[GatewayError]
) -> _Parts:
    def read(section: str, model: type[F]) -> list[Part[F]]:
        try:
            return read_parts(document, section, model, early)
        except DocumentError as err:
            problems.append(err)
            return []

    return _Parts(
        read("captures", CaptureFields),
        read("measurements", MeasurementFields),
        read("annotations", AnnotationFields),
        read("findings", FindingFields),
    )


def _check_all_parts(parts: _Parts, speeds: Mapping[str, TissueSpeed]) -> None:
    """Check in the order in which parts rest on one another, so that a held one takes its dependants with it."""
    check_captures(parts.captures, speeds)
    captures = PartIndex(parts.captures)
    for finding in parts.findings:
        check_finding(finding, captures)
    check_tracking(parts.findings)
    findings = PartIndex(parts.findings)
    for measurement in parts.measurements:
        check_measurement(measurement, captures, findings, speeds)
    measurements = PartIndex(parts.measurements)
    for measurement in parts.measurements:
        check_sources(measurement, measurements, captures)
    for annotation in parts.annotations:
        check_annotation(annotation, captures)


def _capture(part: Part[CaptureFields], fields: CaptureFields, tables: _Tables, number: int) -> Capture:
    taken = tables.taken.get(part.id, ())
    return replace(
        capture_of(part, fields, tables.speeds, number),
        position_origin=origin_words(taken, fields.protocol_step or "", tables.protocol),
        eye_witnesses=tables.witnesses[part.id],
    )


def _exam(key: str, document: LocatedDocument, head: ExamHeadFields, parts: _Parts, tables: _Tables) -> Exam:
    captures = PartIndex(parts.captures)
    measurements, annotations = [], []
    for part in parts.measurements:
        capture = captures.good(part.fields.capture) if part.fields else None
        if part.fields and capture and part.is_good:
            measurements.append(measurement_of(part, part.fields, capture, tables.speeds))
    for mark in parts.annotations:
        capture = captures.good(mark.fields.capture) if mark.fields else None
        if mark.fields and capture and mark.is_good:
            annotations.append(annotation_of(mark.fields, capture))
    return Exam(
        key=key,
        patient=head.patient.to_model(),
        order=head.order.to_model() if head.order else Order(),
        session=head.session.to_model(tables.protocol),
        captures=tuple(
            _on_true_time(_capture(p, p.fields, tables, n), head)
            for n, p in enumerate(parts.captures, 1)
            if p.fields and p.is_good
        ),
        measurements=tuple(measurements),
        annotations=tuple(annotations),
        findings=tuple(finding_of(p.fields, captures) for p in parts.findings if p.fields and p.is_good),
        cautions=tuple(head.cautions or ()),
        language=head.language or "en",
        is_synthetic=bool(head.synthetic),
        origins=_origins(document, parts, tables),
    )


def _on_true_time(capture: Capture, head: ExamHeadFields) -> Capture:
    device = head.session.device
    if capture.acquired is None or device is None:
        return capture
    return replace(capture, acquired=true_time(capture.acquired, device.clock_ahead_s))


def exam_key(path: Path) -> str:
    """Return the name of the folder that holds the document, in characters that are safe in logs and file names."""
    name = re.sub("[^A-Za-z0-9._-]+", "-", path.resolve().parent.name).strip("-.")
    return name[:64] or "exam"


def _origins(document: LocatedDocument, parts: _Parts, tables: _Tables) -> dict[str, Place]:
    origins = {path_text(path): document.place(path) for path, _node in walk(document.root) if path}
    for part in parts.captures:
        step_id = part.fields.protocol_step if part.fields else None
        if tables.protocol and step_id:
            for name in tables.taken.get(part.id, ()):
                origins[path_text((*part.path, name))] = step_place(step_id, tables.protocol)
    # `model.holding.hold_captures` knows parts by their ids, not by their number.
    for measurement in parts.measurements:
        origins[f"measurements {measurement.id}"] = document.place(measurement.path)
    for finding in parts.findings:
        origins[f"findings {finding.id}"] = document.place(finding.path)
    for annotation in parts.annotations:
        if annotation.fields:
            origins.setdefault(f"annotations on {annotation.fields.capture}", document.place(annotation.path))
    return origins
