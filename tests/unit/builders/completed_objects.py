"""A DICOM object through the line as far as the builder: written, opened, held against its exam, completed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

from pydicom import dcmread
from pydicom.dataset import Dataset

from gateway.builders.built import BuiltObject
from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.series import plan_series
from gateway.intake.dicom_agreement import check_object
from gateway.intake.dicom_objects import DicomSource, open_dicom_object
from gateway.model.capture import Capture, CaptureKind, CorrectableAttribute
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.model.session import Device, Session
from tests.unit.builders.invented_captures import Ledger
from tests.unit.intake.invented_objects import write_object

CET = timezone(timedelta(hours=1))
ACQUIRED = datetime(2026, 3, 2, 9, 34, 10, tzinfo=CET)
CAPTURE = Capture(
    "od-t3",
    CaptureKind.STILL,
    ("old/IM0001.dcm",),
    Eye.RIGHT,
    ProbePosition(Scan.TRANSVERSE, clock_hour=ClockHour(6), zone=Zone.EQUATOR),
    acquired=ACQUIRED,
    number=1,
)
EXAM = Exam(
    key="invented",
    patient=Patient("INV-1", "INVENTED", PersonName("Holm^Maija"), date(1958, 3, 14), Sex.FEMALE),
    order=Order(),
    session=Session(
        start=datetime(2026, 3, 2, 9, 30, tzinfo=CET), institution="Invented clinic", device=Device(maker="Other maker")
    ),
    captures=(CAPTURE,),
    is_synthetic=True,
)


@dataclass(frozen=True)
class Completed:
    """What came in and what went out."""

    source: Dataset
    built: BuiltObject
    out: Dataset
    opened: DicomSource


def opened(ds: Dataset, folder: Path, capture: Capture = CAPTURE) -> DicomSource:
    """Write an object and open it as the capture's media."""
    path = write_object(ds, folder / "old" / "IM0001.dcm")
    return open_dicom_object(path, capture.kind, name="old/IM0001.dcm")


def completed(
    ds: Dataset,
    folder: Path,
    *corrects: CorrectableAttribute,
    exam: Exam = EXAM,
    options: BuildOptions | None = None,
    **stated: object,
) -> Completed:
    """Complete an object from the exam; `stated` changes the capture."""
    if int(ds.get("NumberOfFrames") or 1) > 1:
        stated = {"kind": CaptureKind.LOOP} | stated
    capture = replace(CAPTURE, corrects=corrects, **stated)  # type: ignore[arg-type]
    exam = replace(exam, captures=(capture,))
    source = opened(ds, folder, capture)
    check_object(exam, capture, "captures[0]", source)
    options = options or BuildOptions()
    place = plan_series(exam, options)[capture.id]
    built = build_image(exam, capture, source, place, BuildContext(options, Ledger(), folder / "out"))
    return Completed(dcmread(folder / "old" / "IM0001.dcm"), built, dcmread(built.path), source)


def originals(out: Dataset, reason: str) -> Dataset:
    """Return the earlier values that were kept for a reason."""
    (item,) = [each for each in out.OriginalAttributesSequence if each.ReasonForTheAttributeModification == reason]
    (values,) = item.ModifiedAttributesSequence
    return values
