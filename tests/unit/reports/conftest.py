"""A measured exam made by hand: both eyes, each kind of measurement's origin, pictures from numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone

import numpy as np
import pytest
from numpy.typing import NDArray

from gateway.acoustics.measure import measure
from gateway.errors.document import DependsOnHeldPartError
from gateway.errors.media import MediaError
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.capture import (
    AcquisitionSettings,
    Capture,
    CaptureKind,
    Contact,
    LensStatus,
    ThermalIndex,
    ThermalIndexKind,
    VitreousStatus,
)
from gateway.model.coded import TextOrCode
from gateway.model.exam import Caution, Exam, HeldPart, MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, TissueSpeed, Unit
from gateway.model.media import ColourModel, PixelFacts
from gateway.model.order import Order, RequestedProcedure
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.position import ClockHour, Gaze, MarkerDirection, ProbePosition, Scan, Zone
from gateway.model.session import Device, Probe, Session
from gateway.reports.model import Picture, Report, picture_of, report_model

START = datetime(2026, 3, 2, 9, 30, tzinfo=timezone(timedelta(hours=1)))
ROWS, COLUMNS = 240, 320
SECTOR = Calibration(
    0.125,
    0.125,
    DepthAxis.LEFT_TO_RIGHT,
    SectorGeometry(Point(-56.0, 120.0), 8.0, 52.0),
    assumed_speed_m_per_s=1550,
)


@dataclass(frozen=True)
class DrawnFrames:
    """Frames made one at a time; a dark well with a bright wall that moves from frame to frame."""

    frame_count: int = 1

    @property
    def facts(self) -> PixelFacts:
        return PixelFacts(ROWS, COLUMNS, ColourModel.GREY, "0" * 64, self.frame_count)

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        y, x = np.mgrid[:ROWS, :COLUMNS]
        noise = np.random.default_rng(7).integers(0, 18, (ROWS, COLUMNS))
        for number in range(self.frame_count):
            wall = np.hypot(x - 100, y - 120) - 90 - number
            yield np.clip(210 * np.exp(-((wall / 7) ** 2)) + noise, 0, 255).astype(np.uint8)


def capture(capture_id: str, eye: Eye, position: ProbePosition, **more: object) -> Capture:
    settings = AcquisitionSettings(
        contact=Contact.ON_EYE,
        couplant="gel",
        anaesthetic="topical",
        gain_db=84,
        dynamic_range_db=60,
        depth_mm=39,
        mechanical_index=0.18,
        thermal_index=ThermalIndex(ThermalIndexKind.SOFT_TISSUE, 0.2),
    )
    stated = {
        "kind": CaptureKind.STILL,
        "settings": settings,
        "calibration": SECTOR,
        "acquired": START + timedelta(minutes=4),
        "lens": LensStatus.CRYSTALLINE,
        "vitreous": VitreousStatus.VITREOUS,
    } | more
    return Capture(id=capture_id, files=(f"{capture_id}.png",), eye=eye, position=position, **stated)  # type: ignore[arg-type]


def at(scan: Scan, hour: float | None = None, zone: Zone | None = None, **more: object) -> ProbePosition:
    clock_hour = ClockHour(int(hour * 2)) if hour is not None else None
    return ProbePosition(scan, clock_hour=clock_hour, zone=zone, **more)  # type: ignore[arg-type]


def captures() -> tuple[Capture, ...]:
    right, left = Eye.RIGHT, Eye.LEFT
    superior, limbus = MarkerDirection.SUPERIOR, MarkerDirection.LIMBUS
    behind = Zone.POSTERIOR_TO_EQUATOR
    loud = AcquisitionSettings(mechanical_index=0.31, thermal_index=ThermalIndex(ThermalIndexKind.SOFT_TISSUE, 1.2))
    return (
        capture("od-t12", right, at(Scan.TRANSVERSE, 12, Zone.EQUATOR, marker=MarkerDirection.NASAL, gaze=Gaze.UP)),
        capture("od-t9", right, at(Scan.TRANSVERSE, 9, behind, marker=superior, gaze=Gaze.RIGHT)),
        capture("od-l9", right, at(Scan.LONGITUDINAL, 9, behind, marker=limbus), is_key_image=True, comment="apex"),
        capture("od-loop", right, at(Scan.TRANSVERSE, 9, behind, marker=superior), kind=CaptureKind.LOOP),
        capture("od-axh", right, at(Scan.AXIAL_HORIZONTAL, None, Zone.POSTERIOR_POLE)),
        capture("os-t330", left, at(Scan.TRANSVERSE, 3.5, Zone.EQUATOR), settings=loud),
        capture("os-t6", left, at(Scan.TRANSVERSE, 6, None), calibration=None, settings=AcquisitionSettings()),
        capture("os-macula", left, at(Scan.MACULA)),
        capture("os-axv", left, at(Scan.AXIAL_VERTICAL, None, Zone.POSTERIOR_POLE)),
    )


def measurements() -> tuple[Measurement, ...]:
    tove = PersonName("Lind^Tove")
    vitreous = TissueSpeed(1532, "vitreous", "Waldron RG, Aaberg TM, A-Scan Biometry, eMedicine 2008")
    repeats = tuple(Quantity(value, Unit.MM, f"{value:.2f}") for value in (5.97, 6.04, 6.0))
    return (
        Measurement(
            "od-height",
            "od-l9",
            MeasurementKind.HEIGHT,
            points=(Point(150, 120), Point(198, 120)),
            displayed=Quantity(6.0, Unit.MM, "6.00"),
            tissue_speed=vitreous,
            structure="choroid",
            finding_id="od-mass",
            measured_by=tove,
            repeats=repeats,
        ),
        Measurement("od-area", "od-t9", MeasurementKind.AREA, points=(Point(60, 60), Point(120, 60), Point(120, 140))),
        Measurement("od-loop-base", "od-loop", MeasurementKind.BASE, 3, (Point(90, 80), Point(90, 160))),
        Measurement("od-length", "od-axh", MeasurementKind.AXIAL_LENGTH, displayed=Quantity(23.43, Unit.MM, "23.43")),
        Measurement(
            "os-distance",
            "os-t330",
            MeasurementKind.DISTANCE,
            points=(Point(100, 120), Point(140, 120)),
            displayed=Quantity(5.0, Unit.MM, "5.0"),
            tissue_speed=TissueSpeed(1550, "", "exam.yaml:90:3"),
            structure="vitreous",
            comment="measured twice",
        ),
        Measurement(
            "os-written", "os-t6", MeasurementKind.THICKNESS, displayed=Quantity(980, Unit.UM), tissue_speed=vitreous
        ),
    )


def findings() -> tuple[Finding, ...]:
    nine, behind = ClockHour(18), Zone.POSTERIOR_TO_EQUATOR
    return (
        Finding(
            "od-mass", Eye.RIGHT, TextOrCode("mass"), Presence.PRESENT, "choroid", nine, behind, ("od-l9", "od-t9")
        ),
        Finding("od-calc", Eye.RIGHT, TextOrCode("calcification"), Presence.ABSENT, "choroid", capture_ids=("od-l9",)),
        Finding("os-membrane", Eye.LEFT, TextOrCode("moving membrane"), Presence.UNDETERMINED, comment="faint"),
        Finding("os-upper", Eye.LEFT, TextOrCode("lesion"), Presence.NOT_SHOWN, clock_hour=ClockHour(24)),
    )


@pytest.fixture
def exam() -> Exam:
    name = PersonName("Isohama^Yūnagi", "磯浜^夕凪", "いそはま^ゆうなぎ")
    return Exam(
        key="invented-exam",
        patient=Patient("DEMO-0007", "INVENTED-CLINIC", name, date(1958, 3, 14), Sex.FEMALE),
        order=Order(
            "A-1001",
            RequestedProcedure("RP-1", "Ultrasound of both eyes"),
            requesting_physician=PersonName("Sørlind^Jorunn^^Dr"),
            indication=TextOrCode("mass seen in the right fundus"),
        ),
        session=Session(
            START,
            PersonName("Lind^Tove"),
            PersonName("Sørlind^Jorunn^^Dr"),
            "Invented Clinic",
            "ROOM-1",
            Device("Invented Maker", "Workstation A", "INV-1", "1.0"),
            Probe("SECTOR_MECH", 10),
        ),
        captures=captures(),
        measurements=measurements(),
        findings=findings(),
        cautions=(Caution.RECENT_SURGERY, Caution.POOR_COOPERATION),
        is_synthetic=True,
    )


@pytest.fixture
def measured(exam: Exam) -> MeasuredExam:
    return measure(exam)


@pytest.fixture
def pictures(exam: Exam) -> Mapping[str, Picture]:
    frame_counts = {CaptureKind.STILL: 1, CaptureKind.LOOP: 5}
    return {capture.id: picture_of(DrawnFrames(frame_counts[capture.kind]), capture) for capture in exam.captures}


@pytest.fixture
def identifiers() -> Mapping[str, str]:
    return {"Study": "2.25.153633326739928296405492917171721475358", "Picture od-t12": "2.25.1536333267399282964"}


@pytest.fixture
def held() -> tuple[HeldPart, ...]:
    unreadable = MediaError("the movie cannot be decoded", was="12 of 40 frames", fix="export it again")
    dependent = DependsOnHeldPartError("rests on a capture that is held", was="os-loop", fix="mend that capture first")
    return HeldPart("captures[9]", "os-loop", unreadable), HeldPart("measurements[7]", "os-height", dependent)


@pytest.fixture
def report(
    measured: MeasuredExam, pictures: Mapping[str, Picture], identifiers: Mapping[str, str], held: tuple[HeldPart, ...]
) -> Report:
    return report_model(measured, pictures, identifiers, held)
