"""Invented DICOM objects as devices and screen grabbers write them, for exams whose captures they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import (
    UID,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    SecondaryCaptureImageStorage,
    UltrasoundImageStorage,
    UltrasoundMultiFrameImageStorage,
)

ROWS, COLUMNS = 48, 64


def pixels(frames: int = 1, *, colour: bool = False, bits: int = 8, seed: int = 3) -> NDArray[np.generic]:
    """Smooth pictures with some noise, so that every codec has work to do and none a free ride."""
    generator = np.random.default_rng(seed)
    shape = (frames, ROWS, COLUMNS, 3) if colour else (frames, ROWS, COLUMNS)
    ramp = np.linspace(0, 2**bits - 40, COLUMNS)[None, None, :]
    noise = generator.integers(0, 30, shape)
    picture = (ramp[..., None] if colour else ramp) + noise
    return picture.astype(np.uint8 if bits == 8 else np.uint16)


def device_object(
    frames: int = 1,
    *,
    colour: bool = False,
    bits: int = 8,
    sop_class: UID | None = None,
    syntax: UID = ExplicitVRLittleEndian,
    **stated: object,
) -> Dataset:
    """An object as a device without eyes, positions and orders writes it; `stated` adds or replaces attributes."""
    many = frames > 1
    sop_class = sop_class or (UltrasoundMultiFrameImageStorage if many else UltrasoundImageStorage)
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = syntax
    ds.file_meta.MediaStorageSOPClassUID = sop_class
    ds.SOPClassUID = sop_class
    ds.SOPInstanceUID = "1.2.826.0.1.3680043.8.498.1"
    ds.StudyInstanceUID = "1.2.826.0.1.3680043.8.498.2"
    ds.SeriesInstanceUID = "1.2.826.0.1.3680043.8.498.3"
    ds.StudyDate, ds.StudyTime = "20260302", "092000"
    ds.ContentDate, ds.ContentTime = "20260302", "093410"
    ds.AccessionNumber, ds.StudyID, ds.ReferringPhysicianName = "", "77", ""
    ds.PatientName, ds.PatientID = "", ""
    ds.PatientBirthDate, ds.PatientSex = "", ""
    ds.Modality, ds.SeriesNumber, ds.InstanceNumber = "US", 9, 4
    ds.Manufacturer, ds.ManufacturerModelName = "Invented Instruments", "Scanner of no make"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "", "0001"]
    ds.PatientOrientation = ""
    ds.SamplesPerPixel = 3 if colour else 1
    ds.PhotometricInterpretation = "RGB" if colour else "MONOCHROME2"
    if colour:
        ds.PlanarConfiguration = 0
    ds.Rows, ds.Columns = ROWS, COLUMNS
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = bits, bits, bits - 1, 0
    ds.BurnedInAnnotation = "NO"
    if sop_class == SecondaryCaptureImageStorage:
        ds.ConversionType = "WSD"
        ds.Modality = "OT"
    if many:
        ds.NumberOfFrames = frames
        ds.FrameTime = "50"
        ds.FrameIncrementPointer = 0x00181063
    block = ds.private_block(0x0019, "INVENTED 1.0", create=True)
    block.add_new(0x01, "LO", "kept as it is")
    block.add_new(0x02, "UN", b"\x00\x01\xfe\xff\x99\x80")
    ds.add_new(0x7FE00010, "OW" if syntax == ImplicitVRLittleEndian or bits == 16 else "OB", b"")
    ds.PixelData = pixels(frames, colour=colour, bits=bits).tobytes()
    for keyword, value in stated.items():
        setattr(ds, keyword, value)
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    return ds


def write_object(ds: Dataset, path: Path) -> Path:
    """Write an object as a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    ds.save_as(path, enforce_file_format=True)
    return path


def region(mm_per_pixel: float = 0.1) -> Dataset:
    """A region of a device that calibrates its picture."""
    item = Dataset()
    item.RegionSpatialFormat, item.RegionDataType, item.RegionFlags = 1, 1, 2
    item.RegionLocationMinX0, item.RegionLocationMinY0 = 0, 0
    item.RegionLocationMaxX1, item.RegionLocationMaxY1 = COLUMNS - 1, ROWS - 1
    item.PhysicalUnitsXDirection, item.PhysicalUnitsYDirection = 3, 3
    item.PhysicalDeltaX, item.PhysicalDeltaY = mm_per_pixel / 10, mm_per_pixel / 10
    return item
