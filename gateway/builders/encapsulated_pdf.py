"""The readable report as an Encapsulated PDF object (PS3.3 A.45.1, C.24), for viewers that show no SR."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Final

from pydicom.uid import ExplicitVRLittleEndian

from gateway.builders.attributes import AttributeWriter
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
from gateway.builders.uids import series_uid, study_uid
from gateway.errors.objects import NotAPdfError
from gateway.model.exam import MeasuredExam
from gateway.standard.codes import concept

ENCAPSULATED_PDF: Final = "1.2.840.10008.5.1.4.1.1.104.1"
SERIES_NUMBER: Final = 91
_TITLE: Final = "Ultrasound report of the eye"
_TRAILER_BYTES: Final = 1024
"""Where a PDF reader looks for the end marker (ISO 32000-1, annex H)."""


def build_encapsulated_pdf(
    measured: MeasuredExam, pdf: bytes, references: Sequence[BuiltObject], context: BuildContext
) -> BuiltObject:
    """Wrap the readable report and write it into the context's folder.

    Parameters
    ----------
    measured : MeasuredExam
    pdf : bytes
        The document exactly as it was made; it comes out again byte for byte.
    references : sequence of BuiltObject
        Images and structured report from which the document was derived.

    Raises
    ------
    NotAPdfError
        If the bytes are no PDF document.
    """
    _require_pdf(pdf)
    exam = measured.exam
    plan = SeriesPlan(series_uid(exam, ["DOC"], context.options), SERIES_NUMBER, _TITLE, "DOC")
    w = AttributeWriter()
    write_sop_common(w, exam, ENCAPSULATED_PDF)
    write_patient(w, exam)
    write_study(w, exam, context.options)
    write_series(w, plan)
    write_equipment(w, exam, GeneralEquipment.GATEWAY)
    w.set("ConversionType", "WSD", "rule: PS3.3 C.8.6.1")
    _write_document(w, measured, len(pdf), references)
    sources = ["encapsulated PDF", hashlib.sha256(pdf).hexdigest()]
    version = write_version(w, sources, context)
    uid = identify(w, exam, sources, context)
    created = session_time(context.ledger.created(uid), exam.session)
    w.set("ContentDate", created, "rule: first build of this SOP Instance UID")
    w.set("ContentTime", created, "rule: first build of this SOP Instance UID")
    w.set("EncapsulatedDocument", pdf + b"\0" * (len(pdf) % 2), "rule: the readable report")
    path = context.path_for(uid)
    sha256, size_bytes = write_part10(w, path, ExplicitVRLittleEndian)
    return BuiltObject(
        kind=ObjectKind.DOCUMENT,
        sop_class_uid=ENCAPSULATED_PDF,
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


def _require_pdf(pdf: bytes) -> None:
    if not pdf.startswith(b"%PDF-") or b"%%EOF" not in pdf[-_TRAILER_BYTES:]:
        raise NotAPdfError("these bytes are not a PDF document", was=f"{len(pdf)} bytes", fix="make the report again")


def _write_document(w: AttributeWriter, measured: MeasuredExam, length: int, references: Sequence[BuiltObject]) -> None:
    """Write the Encapsulated Document module except the stream and its date and time (PS3.3 C.24.2)."""
    exam = measured.exam
    w.set("AcquisitionDateTime", exam.session.start, "session.start")
    # The report names the patient and the date on its pages.
    w.set("BurnedInAnnotation", "YES", "rule: PS3.3 C.24.2")
    w.set("DocumentTitle", _TITLE, "rule: PS3.3 C.24.2")
    w.code("ConceptNameCodeSequence", concept("document", "ultrasound-report"), "rule: PS3.3 C.24.2")
    w.set("VerificationFlag", "UNVERIFIED", "rule: PS3.3 C.24.2, no person attested")
    if references:
        items = [_reference(reference) for reference in references]
        w.sequence("SourceInstanceSequence", items, "rule: PS3.3 C.24.2")
    w.set("MIMETypeOfEncapsulatedDocument", "application/pdf", "rule: PS3.3 A.45.1")
    w.set("EncapsulatedDocumentLength", length, "rule: PS3.3 C.24.2, without the padding")


def _reference(source: BuiltObject) -> AttributeWriter:
    origin = "rule: PS3.3 C.24.2, PS3.16 CID 7060"
    item = AttributeWriter()
    item.set("ReferencedSOPClassUID", source.sop_class_uid, origin)
    item.set("ReferencedSOPInstanceUID", source.sop_instance_uid, origin)
    purpose = "source-image" if source.kind is ObjectKind.IMAGE else "source-report"
    item.code("PurposeOfReferenceCodeSequence", concept("document", purpose), origin)
    return item
