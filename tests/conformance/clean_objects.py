"""Small objects without any fault, invented for these tests, one for each IOD that the checker has a table of."""

from __future__ import annotations

from io import BytesIO

import highdicom as hd
import numpy as np
from highdicom.sr.coding import CodedConcept
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.filewriter import dcmwrite
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian

ROOT = "1.2.826.0.1.3680043.10.1999.7"
STUDY, STILL, LOOP, REPORT, DOCUMENT = (f"{ROOT}.{number}" for number in range(1, 6))
ROWS, COLUMNS = 48, 64


def code(value: str, scheme: str, meaning: str) -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning
    return item


def _common(sop_class: str, instance: str, modality: str) -> Dataset:
    dataset = Dataset()
    dataset.SpecificCharacterSet = "ISO_IR 192"
    dataset.SOPClassUID, dataset.SOPInstanceUID = sop_class, instance
    dataset.PatientName, dataset.PatientID = "Invented^Example", "INVENTED-1"
    dataset.IssuerOfPatientID = "INVENTED-CLINIC"
    dataset.PatientBirthDate, dataset.PatientSex = "19580314", "F"
    dataset.StudyInstanceUID, dataset.StudyDate, dataset.StudyTime = STUDY, "20260302", "093000"
    dataset.StudyID, dataset.AccessionNumber, dataset.ReferringPhysicianName = "1", "A-1", ""
    dataset.SeriesInstanceUID, dataset.SeriesNumber, dataset.InstanceNumber = f"{instance}.9", 1, 1
    dataset.Modality = modality
    dataset.Manufacturer, dataset.ManufacturerModelName = "Invented maker", "Invented model"
    dataset.DeviceSerialNumber, dataset.SoftwareVersions = "1", "1"
    dataset.TimezoneOffsetFromUTC = "+0100"
    return dataset


def with_meta(dataset: Dataset, transfer_syntax: str = ExplicitVRLittleEndian) -> Dataset:
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    meta.TransferSyntaxUID = transfer_syntax
    meta.ImplementationClassUID = f"{ROOT}.0"
    dataset.file_meta = meta
    return dataset


def file_bytes(dataset: Dataset) -> bytes:
    """Encode without any check of the library: defects have to reach the file."""
    buffer = BytesIO()
    dcmwrite(buffer, dataset, enforce_file_format=True)
    return buffer.getvalue()


def _region() -> Dataset:
    region = Dataset()
    region.RegionSpatialFormat, region.RegionDataType, region.RegionFlags = 1, 1, 2
    region.RegionLocationMinX0, region.RegionLocationMinY0 = 0, 0
    region.RegionLocationMaxX1, region.RegionLocationMaxY1 = COLUMNS - 1, ROWS - 1
    region.PhysicalUnitsXDirection = region.PhysicalUnitsYDirection = 3
    region.PhysicalDeltaX = region.PhysicalDeltaY = 0.00625
    region.TransducerFrequency = 10000
    return region


def _image(sop_class: str, instance: str, frames: int) -> Dataset:
    dataset = _common(sop_class, instance, "US")
    dataset.ImageType = ["ORIGINAL", "PRIMARY", "OPHTHALMIC", "0001"]
    dataset.ContentDate, dataset.ContentTime = "20260302", "093410"
    dataset.AcquisitionDateTime = "20260302093410"
    dataset.PatientOrientation = ""
    dataset.ImageLaterality = "R"
    dataset.BodyPartExamined = "EYE"
    region = code("81745001", "SCT", "Eye")
    region.AnatomicRegionModifierSequence = Sequence([code("24028007", "SCT", "Right")])
    dataset.AnatomicRegionSequence = Sequence([region])
    dataset.BurnedInAnnotation, dataset.LossyImageCompression = "NO", "00"
    dataset.PresentationLUTShape = "IDENTITY"
    dataset.SamplesPerPixel, dataset.PhotometricInterpretation = 1, "MONOCHROME2"
    dataset.Rows, dataset.Columns = ROWS, COLUMNS
    dataset.BitsAllocated, dataset.BitsStored, dataset.HighBit, dataset.PixelRepresentation = 8, 8, 7, 0
    dataset.SequenceOfUltrasoundRegions = Sequence([_region()])
    equipment = Dataset()
    equipment.PurposeOfReferenceCodeSequence = Sequence([code("109102", "DCM", "Processing Equipment")])
    equipment.Manufacturer = "Invented gateway maker"
    dataset.ContributingEquipmentSequence = Sequence([equipment])
    request = Dataset()
    request.RequestedProcedureID, request.ScheduledProcedureStepID = "RP-1", "SPS-1"
    request.ReasonForRequestedProcedureCodeSequence = Sequence([code("4147007", "SCT", "Mass")])
    dataset.RequestAttributesSequence = Sequence([request])
    pixels = np.arange(ROWS * COLUMNS * frames, dtype=np.uint32) % 251
    dataset.PixelData = pixels.astype(np.uint8).tobytes()
    dataset["PixelData"].VR = "OB"
    return dataset


def ultrasound_still() -> Dataset:
    return with_meta(_image("1.2.840.10008.5.1.4.1.1.6.1", STILL, 1))


def ultrasound_loop() -> Dataset:
    dataset = _image("1.2.840.10008.5.1.4.1.1.3.1", LOOP, 3)
    dataset.NumberOfFrames, dataset.FrameTime, dataset.CineRate = 3, 50, 20
    dataset.FrameIncrementPointer = 0x00181063
    return with_meta(dataset)


def comprehensive_report() -> Dataset:
    """A measurement report by another library, with a caliper on the still."""
    still = ultrasound_still()
    still.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    person = hd.sr.ObserverContext(
        observer_type=hd.sr.CodedConcept("121006", "DCM", "Person"),
        observer_identifying_attributes=hd.sr.PersonObserverIdentifyingAttributes(name="Invented^Reader"),
    )
    length = hd.sr.Measurement(
        name=CodedConcept("410668003", "SCT", "Length"),
        value=5.96,
        unit=CodedConcept("mm", "UCUM", "mm"),
        referenced_coordinates=[
            hd.sr.CoordinatesForMeasurement(
                graphic_type=hd.sr.GraphicTypeValues.POLYLINE,
                graphic_data=np.array([[10.0, 10.0], [30.0, 12.0]]),
                source_image=hd.sr.SourceImageForRegion.from_source_image(still),
            )
        ],
    )
    group = hd.sr.MeasurementsAndQualitativeEvaluations(
        tracking_identifier=hd.sr.TrackingIdentifier(uid=f"{ROOT}.7", identifier="m1"),
        finding_type=CodedConcept("4147007", "SCT", "Mass"),
        finding_sites=[
            hd.sr.FindingSite(
                anatomic_location=CodedConcept("81745001", "SCT", "Eye"),
                laterality=CodedConcept("24028007", "SCT", "Right"),
            )
        ],
        measurements=[length],
    )
    content = hd.sr.MeasurementReport(
        observation_context=hd.sr.ObservationContext(observer_person_context=person),
        procedure_reported=CodedConcept("16310003", "SCT", "Ultrasonography"),
        imaging_measurements=[group],
        title=CodedConcept("126000", "DCM", "Imaging Measurement Report"),
    )
    return hd.sr.ComprehensiveSR(
        evidence=[still],
        content=content[0],
        series_instance_uid=f"{REPORT}.9",
        series_number=2,
        sop_instance_uid=REPORT,
        instance_number=1,
        manufacturer="Invented maker",
    )


def encapsulated_pdf() -> Dataset:
    dataset = _common("1.2.840.10008.5.1.4.1.1.104.1", DOCUMENT, "DOC")
    dataset.ConversionType = "WSD"
    dataset.ContentDate, dataset.ContentTime = "20260302", "100000"
    dataset.AcquisitionDateTime = "20260302093000"
    dataset.BurnedInAnnotation = "YES"
    source = Dataset()
    source.ReferencedSOPClassUID, source.ReferencedSOPInstanceUID = "1.2.840.10008.5.1.4.1.1.6.1", STILL
    source.PurposeOfReferenceCodeSequence = Sequence([code("121324", "DCM", "Source image")])
    dataset.SourceInstanceSequence = Sequence([source])
    dataset.DocumentTitle = "Ultrasound Report"
    dataset.ConceptNameCodeSequence = Sequence([code("25061-3", "LN", "Ultrasound Report")])
    dataset.MIMETypeOfEncapsulatedDocument = "application/pdf"
    document = b"%PDF-1.4\n% invented\n%%EOF\n"
    dataset.EncapsulatedDocument = document + b"\0" * (len(document) % 2)
    dataset.EncapsulatedDocumentLength = len(document)
    return with_meta(dataset)


CLEAN_OBJECTS = {
    "us-image": ultrasound_still,
    "us-multi-frame-image": ultrasound_loop,
    "comprehensive-sr": comprehensive_report,
    "encapsulated-pdf": encapsulated_pdf,
}
