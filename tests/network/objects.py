"""Synthetic DICOM files for network tests: invented patients, patterns for pixels, built with pydicom."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import ExplicitVRLittleEndian, generate_uid

from gateway.transports.dimse.outgoing import OutgoingFile

US_IMAGE = "1.2.840.10008.5.1.4.1.1.6.1"
US_MULTIFRAME = "1.2.840.10008.5.1.4.1.1.3.1"
COMPREHENSIVE_SR = "1.2.840.10008.5.1.4.1.1.88.33"
JPEG_LS_LOSSLESS = "1.2.840.10008.1.2.4.80"
JPEG_BASELINE = "1.2.840.10008.1.2.4.50"
EXPLICIT = "1.2.840.10008.1.2.1"
IMPLICIT = "1.2.840.10008.1.2"


@dataclass(frozen=True)
class Study:
    """Identifiers of one invented study."""

    study_uid: str
    series_uid: str
    patient_id: str = "INVENTED-1"
    patient_name: str = "Holm^Maija"
    study_date: str = "20260302"
    accession: str = "A-1001"


def new_study(**changes: str) -> Study:
    return Study(generate_uid(prefix=None), generate_uid(prefix=None), **changes)


def header(study: Study, sop_class: str, sop_instance: str | None = None) -> Dataset:
    ds = Dataset()
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.SOPClassUID = sop_class
    ds.SOPInstanceUID = sop_instance or generate_uid(prefix=None)
    ds.StudyInstanceUID = study.study_uid
    ds.SeriesInstanceUID = study.series_uid
    ds.PatientID = study.patient_id
    ds.PatientName = study.patient_name
    ds.PatientBirthDate = "19580314"
    ds.PatientSex = "F"
    ds.StudyDate = study.study_date
    ds.StudyTime = "093000"
    ds.AccessionNumber = study.accession
    ds.StudyID = "S1"
    ds.ReferringPhysicianName = "Berg^Nora"
    ds.Modality = "US"
    ds.SeriesNumber = 1
    ds.InstanceNumber = 1
    return ds


def write(ds: Dataset, path: Path, syntax: str = EXPLICIT) -> OutgoingFile:
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = ds.SOPClassUID
    meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    meta.TransferSyntaxUID = syntax
    file = FileDataset(str(path), ds, file_meta=meta, preamble=b"\0" * 128)
    file.save_as(path, enforce_file_format=True)
    return OutgoingFile(path, str(ds.SOPClassUID), str(ds.SOPInstanceUID), syntax)


def image(folder: Path, study: Study, *, kilobytes: int = 64, seed: int = 1, uid: str | None = None) -> OutgoingFile:
    """Write a grey still in Explicit VR Little Endian."""
    ds = header(study, US_IMAGE, uid)
    pixels(ds, columns=1024, rows=kilobytes, seed=seed)
    return write(ds, folder / f"{ds.SOPInstanceUID}.dcm", ExplicitVRLittleEndian)


def loop(folder: Path, study: Study, *, megabytes: int) -> OutgoingFile:
    """Write a grey loop in Explicit VR Little Endian."""
    ds = header(study, US_MULTIFRAME)
    pixels(ds, columns=1024, rows=1024, seed=2, frames=megabytes)
    return write(ds, folder / f"{ds.SOPInstanceUID}.dcm", ExplicitVRLittleEndian)


def encapsulated(folder: Path, study: Study, syntax: str) -> OutgoingFile:
    """Write a still whose one fragment is not decodable: nothing on the way may decode it."""
    ds = header(study, US_IMAGE)
    pixels(ds, columns=16, rows=16, seed=3)
    ds.PixelData = encapsulate([b"not a bit stream" * 20])
    ds["PixelData"].VR = "OB"
    ds["PixelData"].is_undefined_length = True
    return write(ds, folder / f"{ds.SOPInstanceUID}.dcm", syntax)


def report(folder: Path, study: Study) -> OutgoingFile:
    """Write an SR root without content: enough for transport."""
    ds = header(study, COMPREHENSIVE_SR)
    ds.Modality = "SR"
    ds.ValueType = "CONTAINER"
    ds.ContinuityOfContent = "SEPARATE"
    return write(ds, folder / f"{ds.SOPInstanceUID}.dcm", ExplicitVRLittleEndian)


def pixels(ds: Dataset, *, columns: int, rows: int, seed: int, frames: int = 1) -> None:
    ds.SamplesPerPixel = 1
    ds.PhotometricInterpretation = "MONOCHROME2"
    ds.Rows = rows
    ds.Columns = columns
    ds.BitsAllocated = 8
    ds.BitsStored = 8
    ds.HighBit = 7
    ds.PixelRepresentation = 0
    if frames > 1:
        ds.NumberOfFrames = frames
    noise = np.random.default_rng(seed).integers(0, 256, size=(rows, columns), dtype=np.uint8)
    ds.PixelData = noise.tobytes() * frames
    ds["PixelData"].VR = "OB"
