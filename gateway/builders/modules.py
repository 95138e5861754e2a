"""Modules that every object shares: patient, study, series, equipment and SOP Common, each by one function."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pydicom.dataset import Dataset

from gateway.builders.attributes import AttributeWriter
from gateway.builders.options import (
    GATEWAY_MANUFACTURER,
    GATEWAY_MODEL_NAME,
    GATEWAY_SOFTWARE_VERSIONS,
    BuildContext,
    BuildOptions,
    GeneralEquipment,
)
from gateway.builders.overrides import apply_overrides
from gateway.builders.uids import KeyPart, instance_uid, study_uid
from gateway.builders.value_rules import offset_from_utc, shortened
from gateway.model.coded import TextOrCode
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.session import Device, Session
from gateway.standard.codes import concept, private_scheme

CHARACTER_SET: Final = "ISO_IR 192"
"""UTF-8: names in any script survive character for character (PS3.3 C.12.1.1.2)."""


@dataclass(frozen=True, slots=True)
class SeriesPlan:
    """One series as its instances see it.

    Parameters
    ----------
    description : str
        At most 64 characters; starts with OD or OS where the series shows one eye.
    eye : Eye or None
        None where the series speaks of both eyes.
    """

    series_instance_uid: str
    series_number: int
    description: str
    modality: str
    eye: Eye | None = None


def session_time(moment: datetime, session: Session) -> datetime:
    """Return the same moment on the session's clock.

    One Timezone Offset From UTC holds for all dates and times of an object (PS3.3 C.12.1.1.8), so a capture that was
    stamped with another offset is brought to the session's.
    """
    return moment.astimezone(session.start.tzinfo)


def write_patient(w: AttributeWriter, exam: Exam) -> None:
    """Write the Patient module (PS3.3 C.7.1.1)."""
    patient = exam.patient
    w.set("PatientName", patient.name, "patient.name")
    if patient.is_id_generated:
        origin = "rule: generated for a patient without identifier, settings site.generate_patient_ids"
        w.set("PatientID", patient.id, origin)
        w.set("IssuerOfPatientID", patient.issuer, "rule: settings site.issuer")
    else:
        w.set("PatientID", patient.id, "patient.id")
        w.set("IssuerOfPatientID", patient.issuer, "patient.issuer")
    w.set("PatientBirthDate", patient.birth_date, "patient.birth_date")
    w.set("PatientSex", patient.sex.value if patient.sex else None, "patient.sex")


def write_study(w: AttributeWriter, exam: Exam, options: BuildOptions) -> None:
    """Write the General Study module (PS3.3 C.7.2.1), the same for all objects of the exam."""
    order, session = exam.order, exam.session
    stated = bool(order.study_instance_uid)
    w.set(
        "StudyInstanceUID",
        study_uid(exam, options),
        "order.study_instance_uid" if stated else "rule: derived from patient, session start, device and visit",
    )
    # One date for all instances of a study: that of its first session (PS3.3 C.7.2.1).
    start = session_time(exam.study_started, session) if exam.study_started else session.start
    origin = "rule: start of the study's first session" if exam.study_started else "session.start"
    w.set("StudyDate", start, origin)
    w.set("StudyTime", start, origin)
    w.set("AccessionNumber", order.accession_number, "order.accession_number")
    if order.requested_procedure.id:
        w.set("StudyID", order.requested_procedure.id, "order.requested_procedure.id")
    else:  # media directories need one (PS3.3 F.5), and equipment may give it (C.7.2.1)
        w.set("StudyID", start.strftime("%Y%m%d%H%M"), "rule: session start, where there is no order")
    w.set("ReferringPhysicianName", order.referring_physician, "order.referring_physician")
    if order.requested_procedure.description:
        description = shortened(order.requested_procedure.description, 64)
        w.set("StudyDescription", description, "order.requested_procedure.description")
    else:
        w.set("StudyDescription", concept("procedure", "eye-ultrasound").meaning, "rule: what an exam document holds")
    if order.requested_procedure.code:
        w.code("ProcedureCodeSequence", order.requested_procedure.code, "order.requested_procedure.code")
    if order.requesting_physician:
        # Of the worklist, not of General Study: a standard-extended attribute (PS3.2 3.11.3), kept apart from the
        # referring physician.
        w.set("RequestingPhysician", order.requesting_physician, "order.requesting_physician")


def write_series(w: AttributeWriter, plan: SeriesPlan) -> None:
    """Write what all series modules have in common (PS3.3 C.7.3.1, C.17.1, C.24.1)."""
    w.set("Modality", plan.modality, "rule: PS3.3 C.7.3.1.1.1")
    w.set("SeriesInstanceUID", plan.series_instance_uid, "rule: derived from study, device and series key")
    w.set("SeriesNumber", plan.series_number, "rule: series plan")
    w.set("SeriesDescription", plan.description, "rule: series plan")


def write_image_series(w: AttributeWriter, exam: Exam) -> None:
    """Write what General Series says of an acquisition: body part and people (PS3.3 C.7.3.1)."""
    session = exam.session
    w.set("BodyPartExamined", "EYE", "rule: PS3.16 Annex L")
    if session.examiner:
        w.set("OperatorsName", [session.examiner], "session.examiner")
    if session.performing_physician:
        w.set("PerformingPhysicianName", [session.performing_physician], "session.performing_physician")


def write_request(w: AttributeWriter, exam: Exam) -> None:
    """Write the Request Attributes Sequence where there is an order (PS3.3 Table 10-9)."""
    order = exam.order
    item = AttributeWriter()
    if order.requested_procedure.id:
        item.set("RequestedProcedureID", order.requested_procedure.id, "order.requested_procedure.id")
    if order.accession_number:
        item.set("AccessionNumber", order.accession_number, "order.accession_number")
    if order.study_instance_uid:
        item.set("StudyInstanceUID", order.study_instance_uid, "order.study_instance_uid")
    if order.requested_procedure.description:
        description = shortened(order.requested_procedure.description, 64)
        item.set("RequestedProcedureDescription", description, "order.requested_procedure.description")
    if order.requested_procedure.code:
        item.code("RequestedProcedureCodeSequence", order.requested_procedure.code, "order.requested_procedure.code")
    if order.indication:
        _write_reason(item, order.indication)
    if len(item.dataset):
        w.sequence("RequestAttributesSequence", [item], "order")


def _write_reason(item: AttributeWriter, indication: TextOrCode) -> None:
    # The whole text stands in the report; this attribute holds 64 characters.
    item.set("ReasonForTheRequestedProcedure", shortened(indication.words, 64), "order.indication")
    if indication.code:
        item.code("ReasonForRequestedProcedureCodeSequence", indication.code, "order.indication.code")


def write_equipment(w: AttributeWriter, exam: Exam, general: GeneralEquipment) -> None:
    """Write General Equipment and, as its counterpart, Contributing Equipment (PS3.3 C.7.5.1, C.12.1.1.5).

    Parameters
    ----------
    general : GeneralEquipment
        Who stands in General Equipment. Reports and documents are made by the gateway, so pass GATEWAY for them.
    """
    session = exam.session
    if session.institution:
        w.set("InstitutionName", session.institution, "session.institution")
    if general is GeneralEquipment.DEVICE:
        write_device(w, session.device)
        if session.station:
            w.set("StationName", session.station, "session.station")
        contributor = AttributeWriter()
        origin = "rule: PS3.3 C.12.1.1.5"
        contributor.code("PurposeOfReferenceCodeSequence", concept("equipment_purpose", "processing"), origin)
        write_gateway(contributor)
        contributor.set("ContributionDescription", "Encoded to DICOM with the facts of the exam document", origin)
        w.sequence("ContributingEquipmentSequence", [contributor], origin)
        return
    write_gateway(w)
    if session.device.maker:  # Manufacturer is type 1 here: a device of unknown maker cannot be listed
        _write_acquisition_equipment(w, session)


def _write_acquisition_equipment(w: AttributeWriter, session: Session) -> None:
    contributor = AttributeWriter()
    origin = "rule: PS3.3 C.12.1.1.5"
    contributor.code("PurposeOfReferenceCodeSequence", concept("equipment_purpose", "acquisition"), origin)
    write_device(contributor, session.device)
    if session.station:
        contributor.set("StationName", session.station, "session.station")
    w.sequence("ContributingEquipmentSequence", [contributor], origin)


def write_device(w: AttributeWriter, device: Device) -> None:
    """Write the acquiring device as the equipment of an object or of an item of Contributing Equipment."""
    w.set("Manufacturer", device.maker, "session.device.maker")
    if device.model:
        w.set("ManufacturerModelName", device.model, "session.device.model")
    if device.serial:
        w.set("DeviceSerialNumber", device.serial, "session.device.serial")
    if device.software:
        w.set("SoftwareVersions", [device.software], "session.device.software")


def write_gateway(w: AttributeWriter) -> None:
    """Write the gateway as the equipment of an object or of an item of Contributing Equipment."""
    origin = "rule: identity of the gateway"
    w.set("Manufacturer", GATEWAY_MANUFACTURER, origin)
    w.set("ManufacturerModelName", GATEWAY_MODEL_NAME, origin)
    w.set("SoftwareVersions", [GATEWAY_SOFTWARE_VERSIONS], origin)


def write_sop_common(w: AttributeWriter, exam: Exam, sop_class_uid: str) -> None:
    """Write SOP Common except what depends on the finished content (PS3.3 C.12.1); see `identify`."""
    w.set("SpecificCharacterSet", [CHARACTER_SET], "rule: PS3.3 C.12.1.1.2")
    w.set("SOPClassUID", sop_class_uid, "rule: PS3.4 B.5")
    w.set("TimezoneOffsetFromUTC", offset_from_utc(exam.session.start), "session.start")
    if exam.is_synthetic:
        w.set("SyntheticData", "YES", "synthetic")


def identify(w: AttributeWriter, exam: Exam, sources: Sequence[KeyPart], context: BuildContext) -> str:
    """Finish SOP Common of a dataset that is otherwise complete but for bulk data; return its SOP Instance UID.

    The coding scheme of private codes is declared, the destination's own values are written, the UID is derived from
    everything written and from `sources`, and the moment at which that UID was first built is written as Instance
    Creation Date and Time.

    Parameters
    ----------
    sources : sequence
        What the dataset does not show: digests of source files, a kept range, a variant; see `uids.instance_uid`.
    """
    _write_private_scheme(w)
    apply_overrides(w, context.options.overrides)
    uid = instance_uid(w.dataset, sources, context.options)
    created = session_time(context.ledger.created(uid), exam.session)
    w.set("SOPInstanceUID", uid, "rule: derived from content and source")
    w.set("InstanceCreationDate", created, "rule: first build of this SOP Instance UID")
    w.set("InstanceCreationTime", created, "rule: first build of this SOP Instance UID")
    return uid


def _write_private_scheme(w: AttributeWriter) -> None:
    """Declare the private coding scheme where a code of it is used (PS3.3 C.12.1.1.1, PS3.16 8)."""
    scheme = private_scheme()
    if scheme.designator not in set(_schemes(w.dataset)):
        return
    origin = "rule: PS3.3 C.12.1.1.1"
    item = AttributeWriter()
    item.set("CodingSchemeDesignator", scheme.designator, origin)
    item.set("CodingSchemeUID", scheme.uid, origin)
    item.set("CodingSchemeName", scheme.name, origin)
    item.set("CodingSchemeResponsibleOrganization", scheme.responsible_organization, origin)
    w.sequence("CodingSchemeIdentificationSequence", [item], origin)


def _schemes(dataset: Dataset) -> Iterator[str]:
    for element in dataset:
        if element.VR == "SQ":
            for item in element.value:
                yield from _schemes(item)
        elif element.keyword == "CodingSchemeDesignator":
            yield str(element.value)
