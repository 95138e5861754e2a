"""An invented exam for tests of reports: two eyes, a loop, findings of every kind, measurements of every origin."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

from gateway.builders.built import BuiltObject, ObjectKind
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.uids import series_uid, study_uid
from gateway.errors.document import DocumentError
from gateway.mapping.protocols import load_protocols
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.capture import Capture, CaptureKind, FrameRange, LensStatus, VitreousStatus
from gateway.model.coded import TextOrCode
from gateway.model.exam import Caution, Exam, HeldPart, MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import (
    CorrectedValue,
    MeasuredValue,
    Measurement,
    MeasurementKind,
    Quantity,
    TissueSpeed,
    Unit,
    ValueOrigin,
)
from gateway.model.order import Order, RequestedProcedure
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.model.session import DeclaredSweep, Device, Session
from gateway.model.witness import EyeWitness, WitnessSource
from gateway.standard.codes import concept

ZONE = timezone(timedelta(hours=1))
START = datetime(2026, 3, 2, 9, 30, tzinfo=ZONE)
FIRST_BUILT = datetime(2026, 3, 2, 10, 15, 30, 250000, tzinfo=UTC)
US_IMAGE = "1.2.840.10008.5.1.4.1.1.6.1"
US_MULTIFRAME = "1.2.840.10008.5.1.4.1.1.3.1"


@dataclass
class FixedLedger:
    """Every UID was first built at one moment."""

    moment: datetime = FIRST_BUILT
    asked: list[str] = field(default_factory=list)

    def created(self, sop_instance_uid: str) -> datetime:
        self.asked.append(sop_instance_uid)
        return self.moment


def a_context(folder: Path, **options: object) -> BuildContext:
    return BuildContext(BuildOptions(**options), FixedLedger(), folder)  # type: ignore[arg-type]


CALIBRATION = Calibration(
    0.0625, 0.0625, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(-120, 240), 8.0), assumed_speed_m_per_s=1550.0
)


def captures() -> tuple[Capture, ...]:
    return (
        Capture(
            "od-l9",
            CaptureKind.STILL,
            ("od-l9.png",),
            Eye.RIGHT,
            ProbePosition(Scan.LONGITUDINAL, clock_hour=ClockHour(18), zone=Zone.POSTERIOR_TO_EQUATOR),
            acquired=START + timedelta(minutes=4),
            calibration=CALIBRATION,
            lens=LensStatus.PSEUDOPHAKIC,
            number=1,
        ),
        Capture(
            "od-loop",
            CaptureKind.LOOP,
            ("od-loop.mp4",),
            Eye.RIGHT,
            ProbePosition(Scan.TRANSVERSE, clock_hour=ClockHour(7), zone=Zone.EQUATOR),
            acquired=START + timedelta(minutes=6),
            calibration=CALIBRATION,
            kept=FrameRange(3, 12),
            number=2,
        ),
        Capture(
            "os-axial",
            CaptureKind.STILL,
            ("os-axial.png",),
            Eye.LEFT,
            ProbePosition(Scan.AXIAL_HORIZONTAL),
            acquired=START + timedelta(minutes=9),
            calibration=CALIBRATION,
            vitreous=VitreousStatus.SILICONE_OIL,
            number=3,
        ),
    )


def findings() -> tuple[Finding, ...]:
    return (
        Finding(
            "f1",
            Eye.RIGHT,
            TextOrCode("mass", concept("finding", "mass")),
            structure="choroid",
            clock_hour=ClockHour(18),
            zone=Zone.POSTERIOR_TO_EQUATOR,
            capture_ids=("od-l9", "od-loop"),
            comment="dome shaped",
        ),
        Finding(
            "f2",
            Eye.RIGHT,
            TextOrCode("calcification", concept("finding", "calcification")),
            Presence.ABSENT,
            structure="choroid",
            capture_ids=("od-l9",),
        ),
        Finding("f3", Eye.LEFT, TextOrCode("retinal detachment"), Presence.UNDETERMINED, capture_ids=("os-axial",)),
        Finding("f4", Eye.LEFT, TextOrCode("foreign body", concept("finding", "foreign-body")), Presence.NOT_SHOWN),
        Finding("f5", Eye.LEFT, TextOrCode("asteroid hyalosis"), structure="vitreous", capture_ids=("os-axial",)),
    )


def values() -> tuple[MeasuredValue, ...]:
    height = Measurement(
        "m1",
        "od-l9",
        MeasurementKind.HEIGHT,
        points=(Point(212.5, 240.25), Point(307.75, 241.0)),
        displayed=Quantity(5.96, Unit.MM, "5.96"),
        tissue_speed=TissueSpeed(1660.0, "tumour", "invented table, row 3"),
        structure="choroid",
        finding_id="f1",
        measured_by=PersonName("Lind^Tove"),
        repeats=(Quantity(5.9, Unit.MM, "5.9"), Quantity(6.0, Unit.MM, "6.0"), Quantity(6.1, Unit.MM, "6.1")),
        comment="apex to inner sclera",
    )
    base = Measurement(
        "m2",
        "od-loop",
        MeasurementKind.BASE,
        frame=4,
        points=(Point(250.0, 150.5), Point(250.5, 330.0)),
        finding_id="f1",
    )
    length = Measurement("m3", "os-axial", MeasurementKind.AXIAL_LENGTH, displayed=Quantity(23.45, Unit.MM, "23.45"))
    area = Measurement(
        "m4",
        "os-axial",
        MeasurementKind.AREA,
        points=(Point(100, 100), Point(140, 100), Point(140, 130)),
        structure="vitreous",
    )
    return (
        MeasuredValue(
            height,
            Quantity(5.96, Unit.MM, "5.96"),
            ValueOrigin.RECOMPUTED,
            Quantity(5.953309, Unit.MM, "5.95"),
            CorrectedValue(Quantity(6.3763, Unit.MM, "6.38"), height.tissue_speed, 1550.0, "depth x 1660/1550"),  # type: ignore[arg-type]
        ),
        MeasuredValue(
            base,
            Quantity(11.21879353, Unit.MM, "11.22"),
            ValueOrigin.COMPUTED,
            Quantity(11.21879353, Unit.MM, "11.22"),
            not_corrected_because="the line leaves the depth axis",
        ),
        MeasuredValue(length, Quantity(23.45, Unit.MM, "23.45"), ValueOrigin.TRANSCRIBED),
        MeasuredValue(area, Quantity(2.34375, Unit.MM2, "2.3"), ValueOrigin.COMPUTED, Quantity(2.34375, Unit.MM2)),
    )


def an_exam(**changes: object) -> Exam:
    measured = tuple(value.measurement for value in values())
    facts: dict[str, object] = {
        "key": "invented",
        "patient": Patient(
            "DEMO-0007",
            "INVENTED-ISLAND-EYE-CLINIC",
            PersonName("Holm^Maija", "保^舞", "ほるむ^まいや"),
            date(1958, 3, 14),
            Sex.FEMALE,
        ),
        "order": Order(
            accession_number="A-1001",
            requested_procedure=RequestedProcedure("RP-1", "Ultrasound of both eyes"),
            indication=TextOrCode("mass seen in right fundus"),
            working_diagnosis=TextOrCode("choroidal mass"),
        ),
        "session": Session(
            START,
            examiner=PersonName("Berg^Nora"),
            institution="Invented island eye clinic",
            station="Room 2",
            device=Device("Invented maker", "Workstation A", "WA-1", "1.0"),
        ),
        "captures": captures(),
        "measurements": measured,
        "findings": findings(),
        "cautions": (Caution.RECENT_SURGERY,),
        "is_synthetic": True,
    }
    return Exam(**{**facts, **changes})  # type: ignore[arg-type]


def a_measured_exam(**changes: object) -> MeasuredExam:
    return MeasuredExam(an_exam(**changes), values())


def a_witnessed_exam() -> MeasuredExam:
    """The exam with a ledger for each eye, a protocol, a swept loop and a sweep that was declared alone."""
    record = EyeWitness(WitnessSource.RECORD, Eye.RIGHT, "right", "exam.yaml:3")
    name = EyeWitness(WitnessSource.FILE_NAME, Eye.RIGHT, "OD", "od-l9.png")
    person = EyeWitness(WitnessSource.PERSON, Eye.LEFT, "left", "exam.yaml:4", PersonName("Lind^Tove"))
    still, loop, axial = captures()
    session = replace(
        an_exam().session,
        protocol=load_protocols()["five-sweep-screening"],
        declared_swept=(DeclaredSweep(Eye.LEFT, ClockHour(12)),),
    )
    return a_measured_exam(
        session=session,
        captures=(
            replace(still, eye_witnesses=(record, name), protocol_step="L9"),
            replace(loop, eye_witnesses=(record,), is_swept=True, position_origin="scan from protocol step T3 of x"),
            replace(axial, eye_witnesses=(replace(record, eye=Eye.LEFT), person)),
        ),
    )


def a_held_part() -> HeldPart:
    return HeldPart("measurements m9", "m9", DocumentError("invented reason"))


def built_images(exam: Exam, options: BuildOptions | None = None) -> tuple[BuiltObject, ...]:
    """Images as their builder would describe them, without files."""
    options = options or BuildOptions()
    images = []
    for number, capture in enumerate(exam.captures, start=1):
        is_loop = capture.kind is CaptureKind.LOOP
        images.append(
            BuiltObject(
                kind=ObjectKind.IMAGE,
                sop_class_uid=US_MULTIFRAME if is_loop else US_IMAGE,
                sop_instance_uid=f"2.25.{7000 + number}",
                series_instance_uid=series_uid(exam, [capture.eye.value, capture.kind.value], options),
                study_instance_uid=study_uid(exam, options),
                transfer_syntax_uid="1.2.840.10008.1.2.1",
                path=Path(f"{capture.id}.dcm"),
                sha256="",
                size_bytes=0,
                series_description="",
                series_number=1,
                instance_number=number,
                capture_id=capture.id,
                eye=capture.eye,
                rows=480,
                columns=640,
                frame_count=10 if is_loop else 1,
            )
        )
    return tuple(images)
