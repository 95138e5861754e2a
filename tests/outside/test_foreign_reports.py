"""A measurement report written by other people's library (highdicom) is read and compared with one of our own."""

from __future__ import annotations

import datetime as dt
from io import BytesIO

import pytest
from highdicom.sr import (
    ComprehensiveSR,
    FindingSite,
    Measurement,
    MeasurementReport,
    MeasurementsAndQualitativeEvaluations,
    ObservationContext,
    ObserverContext,
    PersonObserverIdentifyingAttributes,
    SourceImageForMeasurementGroup,
    TrackingIdentifier,
)
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sr.codedict import codes
from pydicom.sr.coding import Code
from pydicom.uid import ExplicitVRLittleEndian

from gateway.acoustics.comparison import compare
from gateway.intake.measurement_report import measurement_report_from
from gateway.model.comparison import Verdict
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind

UID = "1.2.826.0.1.3680043.8.498.4711"
CHOROID = Code("68703001", "SCT", "Choroid of eye")
MASS = Code("4147007", "SCT", "Mass")


def an_image() -> Dataset:
    """The header of an invented ultrasound image that the report points to."""
    image = Dataset()
    image.file_meta = FileMetaDataset()
    image.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    image.SOPClassUID, image.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.6.1", "2.25.11"
    image.StudyInstanceUID, image.SeriesInstanceUID = "2.25.12", "2.25.13"
    image.PatientID, image.PatientName, image.PatientBirthDate, image.PatientSex = "INV-7", "Holm^Maija", "", ""
    image.IssuerOfPatientID = "INVENTED"
    image.StudyDate, image.StudyTime, image.StudyID, image.AccessionNumber = "20241102", "093000", "", ""
    image.ReferringPhysicianName = ""
    image.Modality, image.Rows, image.Columns = "US", 48, 64
    return image


def foreign(height: float = 1.4, day: str = "20241102") -> bytes:
    image = an_image()
    image.StudyDate, image.StudyInstanceUID = day, f"2.25.{day}"
    group = MeasurementsAndQualitativeEvaluations(
        tracking_identifier=TrackingIdentifier(uid=UID, identifier="lesion 1"),
        finding_type=MASS,
        finding_sites=[FindingSite(CHOROID, laterality=Code("24028007", "SCT", "Right"))],
        source_images=[SourceImageForMeasurementGroup("1.2.840.10008.5.1.4.1.1.6.1", "2.25.11")],
        measurements=[
            Measurement(name=Code("121207", "DCM", "Height"), value=height, unit=codes.UCUM.Millimeter),
            Measurement(name=Code("410668003", "SCT", "Length"), value=8.5, unit=codes.UCUM.Millimeter),
        ],
    )
    observer = ObserverContext(
        observer_type=codes.DCM.Person,
        observer_identifying_attributes=PersonObserverIdentifyingAttributes(name="Lind^Tove"),
    )
    content = MeasurementReport(
        observation_context=ObservationContext(observer_person_context=observer),
        procedure_reported=Code("241466007", "SCT", "Ultrasound of eye"),
        imaging_measurements=[group],
    )
    report = ComprehensiveSR(
        evidence=[image],
        content=content[0],
        series_instance_uid=f"2.25.1{day}",
        series_number=1,
        sop_instance_uid=f"2.25.2{day}",
        instance_number=1,
        manufacturer="Another maker",
        is_complete=True,
    )
    report.IssuerOfPatientID = "INVENTED"
    file = BytesIO()
    report.save_as(file, enforce_file_format=True)
    return file.getvalue()


def test_a_foreign_report_is_read() -> None:
    report = measurement_report_from(foreign(), "foreign")
    (group,) = report.groups
    assert (report.when, report.device) == (dt.datetime(2024, 11, 2, 9, 30), "Another maker")
    assert (report.patient_id, report.patient_issuer) == ("INV-7", "INVENTED")
    assert (group.tracking_uid, group.tracking_identifier) == (UID, "lesion 1")
    assert (group.finding, group.eye, group.structure) == ("mass", Eye.RIGHT, "choroid")
    height, length = group.measurements
    assert (height.kind, height.value, height.unit) == (MeasurementKind.HEIGHT, 1.4, "mm")
    assert (length.kind, length.words) == (None, "length"), "a general length is no axial length"
    assert report.unread == ()


def test_foreign_reports_are_compared_by_their_tracking_uid() -> None:
    reports = [measurement_report_from(foreign(*visit), visit[1]) for visit in ((1.4, "20241102"), (2.3, "20260302"))]
    height, length = compare(reports).differences
    assert height.difference == pytest.approx(0.9)
    assert height.verdict is Verdict.NO_BAND
    assert height.remarks == ("contact not stated", "speed of sound not stated")
    assert length.difference == 0.0
