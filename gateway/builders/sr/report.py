"""The measurement report: PS3.16 TID 1500 in a Comprehensive SR document (PS3.3 A.35.3)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from pydicom.uid import ExplicitVRLittleEndian

from gateway.builders.attributes import AttributeWriter, concept_item
from gateway.builders.built import BuiltObject, ObjectKind
from gateway.builders.modules import (
    SeriesPlan,
    identify,
    session_time,
    write_equipment,
    write_patient,
    write_series,
    write_sop_common,
    write_study,
)
from gateway.builders.options import BuildContext, GeneralEquipment
from gateway.builders.part10 import write_part10
from gateway.builders.report_version import write_version
from gateway.builders.sr.content import ContentItem, code, container, contains, modifier
from gateway.builders.sr.evaluations import qualitative_evaluations
from gateway.builders.sr.group import group_item, groups_of
from gateway.builders.sr.image_library import image_library
from gateway.builders.sr.observation import observation_context_of
from gateway.builders.sr.scope import ReportScope, language_item, report_scope
from gateway.builders.uids import series_uid, study_uid
from gateway.builders.value_rules import shortened
from gateway.model.exam import Exam, MeasuredExam
from gateway.standard.codes import CodedConcept, concept

COMPREHENSIVE_SR: Final = "1.2.840.10008.5.1.4.1.1.88.33"
SERIES_NUMBER: Final = 90
"""Above those of stills and loops, below those of series by position."""
_TITLE: Final = "Measurement report"


def build_measurement_report(
    measured: MeasuredExam, images: Sequence[BuiltObject], context: BuildContext
) -> BuiltObject:
    """Build the structured report of an exam and write it into the context's folder.

    The report is unverified and preliminary: no person has attested to it, and it precedes the physician's own. It is
    complete when the whole exam went into it, and partial when a part of the exam was held (PS3.3 C.17.2).

    Parameters
    ----------
    measured : MeasuredExam
    images : sequence of BuiltObject
        Every image of the exam's study, with the capture that it shows.

    Raises
    ------
    ReferencedImageMissingError, EyeContradictionError, PointOutsidePictureError
        If the report would point to nothing, to the wrong eye, or beside the picture.
    """
    exam = measured.exam
    root = report_content(measured, images, context)
    plan = SeriesPlan(series_uid(exam, ["SR"], context.options), SERIES_NUMBER, _TITLE, "SR")
    w = AttributeWriter()
    write_sop_common(w, exam, COMPREHENSIVE_SR)
    write_patient(w, exam)
    write_study(w, exam, context.options)
    write_series(w, plan)
    w.sequence("ReferencedPerformedProcedureStepSequence", [], "rule: PS3.3 C.17.1, none known")
    write_equipment(w, exam, GeneralEquipment.GATEWAY)
    _write_document(w, measured, images)
    root.write(w, "rule: PS3.16 TID 1500")
    version = write_version(w, ["measurement report"], context)
    uid = identify(w, exam, ["measurement report"], context)
    created = session_time(context.ledger.created(uid), exam.session)
    w.set("ContentDate", created, "rule: first build of this SOP Instance UID")
    w.set("ContentTime", created, "rule: first build of this SOP Instance UID")
    path = context.path_for(uid)
    sha256, size_bytes = write_part10(w, path, ExplicitVRLittleEndian)
    return BuiltObject(
        kind=ObjectKind.REPORT,
        sop_class_uid=COMPREHENSIVE_SR,
        sop_instance_uid=uid,
        series_instance_uid=plan.series_instance_uid,
        study_instance_uid=study_uid(exam, context.options),
        transfer_syntax_uid=ExplicitVRLittleEndian,
        path=path,
        sha256=sha256,
        size_bytes=size_bytes,
        series_description=plan.description,
        series_number=plan.series_number,
        instance_number=version.instance_number,
        version=version,
        attribute_origins=dict(w.origins),
    )


def report_content(measured: MeasuredExam, images: Sequence[BuiltObject], context: BuildContext) -> ContentItem:
    """Return the content tree of the report (PS3.16 TID 1500)."""
    exam = measured.exam
    scope = report_scope(exam, images, context.options)
    sections = _sections(measured, scope)
    library = [contains(image_library(scope))] if scope.images else []
    return container(
        concept("sr", "imaging-measurement-report"),
        modifier(language_item(exam.language)),
        *observation_context_of(exam, context.options),
        modifier(code(concept("sr", "procedure-reported"), _procedure(exam))),
        *library,
        *(contains(section) for section in sections),
        template="1500",
    )


def _sections(measured: MeasuredExam, scope: ReportScope) -> list[ContentItem]:
    """Return measurements and evaluations, whichever there are: at least one is required (TID 1500 rows 6, 10, 12).

    An exam of pictures alone says that it states nothing, for silence might be read as "normal".
    """
    sections = []
    groups = [contains(group_item(group, scope)) for group in groups_of(measured)]
    if groups:
        sections.append(container(concept("sr", "imaging-measurements"), *groups))
    evaluations = list(qualitative_evaluations(scope))
    if not groups:
        words = "the exam states no measurement and no finding"
        evaluations.append(scope.own_words(concept("sr", "comment"), words, origin="rule: nothing stated"))
    if evaluations:
        children = (contains(item) for item in evaluations)
        sections.append(container(concept("sr", "qualitative-evaluations"), *children))
    return sections


def _procedure(exam: Exam) -> CodedConcept:
    return exam.order.requested_procedure.code or concept("procedure", "eye-ultrasound")


def _write_document(w: AttributeWriter, measured: MeasuredExam, images: Sequence[BuiltObject]) -> None:
    """Write the SR Document General module except the content's date and time (PS3.3 C.17.2)."""
    exam = measured.exam
    w.set("PreliminaryFlag", "PRELIMINARY", "rule: PS3.3 C.17.2, precedes the physician's report")
    w.set("VerificationFlag", "UNVERIFIED", "rule: PS3.3 C.17.2, no person attested")
    if measured.held:
        names = ", ".join(part.name for part in measured.held)
        w.set("CompletionFlag", "PARTIAL", "rule: PS3.3 C.17.2, a part of the exam was held")
        w.set("CompletionFlagDescription", shortened(f"held: {names}", 64), "rule: PS3.3 C.17.2")
    else:
        w.set("CompletionFlag", "COMPLETE", "rule: PS3.3 C.17.2, the whole exam went into it")
    _write_request(w, exam)
    w.code("PerformedProcedureCodeSequence", _procedure(exam), "order.requested_procedure.code")
    _write_evidence(w, images)


def _write_request(w: AttributeWriter, exam: Exam) -> None:
    """Write the request that the report fulfils, where there is an order (PS3.3 C.17.2)."""
    order = exam.order
    procedure = order.requested_procedure
    if not (order.accession_number or procedure.id or order.study_instance_uid):
        return
    item = AttributeWriter()
    item.set("StudyInstanceUID", str(w.dataset.StudyInstanceUID), "order.study_instance_uid")
    item.sequence("ReferencedStudySequence", [], "rule: PS3.3 C.17.2, none known")
    item.set("AccessionNumber", order.accession_number, "order.accession_number")
    item.set("PlacerOrderNumberImagingServiceRequest", None, "rule: PS3.3 C.17.2, not known")
    item.set("FillerOrderNumberImagingServiceRequest", None, "rule: PS3.3 C.17.2, not known")
    item.set("RequestedProcedureID", procedure.id, "order.requested_procedure.id")
    description = shortened(procedure.description, 64)
    item.set("RequestedProcedureDescription", description, "order.requested_procedure.description")
    codes = [concept_item(procedure.code, "order.requested_procedure.code")] if procedure.code else []
    item.sequence("RequestedProcedureCodeSequence", codes, "order.requested_procedure.code")
    if order.indication:
        item.set("ReasonForTheRequestedProcedure", shortened(order.indication.words, 64), "order.indication")
    w.sequence("ReferencedRequestSequence", [item], "order")


def _write_evidence(w: AttributeWriter, images: Sequence[BuiltObject]) -> None:
    """Write every image of the study: those that the tree points to, and those made for the same request (C.17.2.3)."""
    origin = "rule: PS3.3 C.17.2.3"
    by_series: dict[str, list[AttributeWriter]] = {}
    for image in images:
        item = AttributeWriter()
        item.set("ReferencedSOPClassUID", image.sop_class_uid, origin)
        item.set("ReferencedSOPInstanceUID", image.sop_instance_uid, origin)
        by_series.setdefault(image.series_instance_uid, []).append(item)
    if not by_series:
        return
    series = []
    for series_instance_uid, references in by_series.items():
        item = AttributeWriter()
        item.set("SeriesInstanceUID", series_instance_uid, origin)
        item.sequence("ReferencedSOPSequence", references, origin)
        series.append(item)
    study = AttributeWriter()
    study.set("StudyInstanceUID", str(w.dataset.StudyInstanceUID), origin)
    study.sequence("ReferencedSeriesSequence", series, origin)
    w.sequence("CurrentRequestedProcedureEvidenceSequence", [study], origin)
