"""Invented exams and pictures for image tests: one that states everything, one that states the least."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.builders.built import BuiltObject
from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.series import plan_series
from gateway.model.calibration import Calibration, DepthAxis, PixelRegion, Point, ScaleSource, SectorGeometry
from gateway.model.capture import (
    AcquisitionSettings,
    Capture,
    CaptureKind,
    Contact,
    FrameTiming,
    LensStatus,
    ThermalIndex,
    ThermalIndexKind,
    VitreousStatus,
)
from gateway.model.coded import TextOrCode
from gateway.model.exam import Caution, Exam
from gateway.model.laterality import Eye
from gateway.model.media import ColourModel, LossyStep, PixelFacts
from gateway.model.order import Order, RequestedProcedure
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.position import ClockHour, Gaze, MarkerDirection, ProbePosition, Scan, Zone
from gateway.model.session import Device, Probe, Session
from gateway.standard.codes import CodedConcept

CET = timezone(timedelta(hours=1))
FIRST_BUILT = datetime(2026, 3, 2, 9, 0, 0, 250000, tzinfo=UTC)


@dataclass(frozen=True)
class Ledger:
    """Says the same moment for every UID, as a store does once it has written it down."""

    moment: datetime = FIRST_BUILT

    def created(self, sop_instance_uid: str) -> datetime:
        return self.moment


@dataclass(frozen=True)
class Frames:
    """Frames made anew at each reading, so that none needs to be kept."""

    facts: PixelFacts
    seed: int = 1

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        for number in range(self.facts.frame_count):
            yield frame(self.facts, self.seed + number)


def frame(facts: PixelFacts, seed: int) -> NDArray[np.uint8]:
    """Speckle beside a bright block: noisy enough that a wrong decoder cannot pass.

    RandomState.randint is frozen by numpy, so golden digests hold across its versions.
    """
    shape = (facts.rows, facts.columns) + ((3,) if facts.colour is ColourModel.RGB else ())
    picture = np.random.RandomState(seed).randint(0, 120, shape, dtype=np.uint8)
    picture[facts.rows // 2 :, : facts.columns // 3] += 90
    return picture


def facts(rows: int = 48, columns: int = 64, **stated: object) -> PixelFacts:
    digest = hashlib.sha256(repr((rows, columns)).encode()).hexdigest()
    return PixelFacts(rows, columns, stated.pop("colour", ColourModel.GREY), digest, **stated)


FULL_CALIBRATION = Calibration(
    mm_per_pixel_x=0.07,
    mm_per_pixel_y=0.06,
    depth_axis=DepthAxis.LEFT_TO_RIGHT,
    sector=SectorGeometry(Point(-100.0, 24.25), 8.4, 52),
    assumed_speed_m_per_s=1550,
    scale_source=ScaleSource.DEVICE,
    region=PixelRegion(0, 0, 59, 47),
)

FULL_SETTINGS = AcquisitionSettings(
    contact=Contact.THROUGH_LID,
    couplant="gel",
    anaesthetic="topical",
    gain_db=84,
    display_gain_db=-3,
    dynamic_range_db=60,
    depth_mm=40,
    mechanical_index=0.18,
    thermal_index=ThermalIndex(ThermalIndexKind.SOFT_TISSUE, 0.2),
)

FULL_STILL = Capture(
    id="od-t3-eq",
    kind=CaptureKind.STILL,
    files=("media/od-t3-eq.png",),
    eye=Eye.RIGHT,
    position=ProbePosition(
        Scan.TRANSVERSE, "", ClockHour(7), Zone.ORA_SERRATA, MarkerDirection.SUPERIOR, Gaze.UP_RIGHT
    ),
    acquired=datetime(2026, 3, 2, 9, 34, 10, tzinfo=CET),
    settings=FULL_SETTINGS,
    calibration=FULL_CALIBRATION,
    lens=LensStatus.PSEUDOPHAKIC,
    vitreous=VitreousStatus.SILICONE_OIL,
    comment="Invented.\nSecond line.",
    number=1,
)
FULL_LOOP = Capture(
    id="os-oblique",
    kind=CaptureKind.LOOP,
    files=("media/os.avi",),
    eye=Eye.LEFT,
    position=ProbePosition(
        Scan.AXIAL_OBLIQUE, "", ClockHour(3), Zone.POSTERIOR_POLE, MarkerDirection.NASAL, Gaze.PRIMARY
    ),
    acquired=datetime(2026, 3, 2, 9, 40, 0, 125000, tzinfo=CET),
    settings=FULL_SETTINGS,
    calibration=Calibration(0.0625, 0.0625, DepthAxis.TOP_DOWN, assumed_speed_m_per_s=1532),
    timing=FrameTiming(frame_rate_hz=20),
    lens=LensStatus.CRYSTALLINE,
    vitreous=VitreousStatus.VITREOUS,
    number=2,
)
BARE_STILL = Capture("a", CaptureKind.STILL, ("a.png",), Eye.LEFT, ProbePosition(Scan.AXIAL_VERTICAL))
BARE_LOOP = Capture(
    "b", CaptureKind.LOOP, ("b.avi",), Eye.RIGHT, ProbePosition(Scan.MACULA), timing=FrameTiming(frame_rate_hz=29.97)
)

FULL_EXAM = Exam(
    key="invented",
    patient=Patient(
        "DEMO-0007",
        "INVENTED-ISLAND-EYE-CLINIC",
        PersonName("Kim^Mira", "金^美羅", "김^미라"),
        date(1958, 3, 14),
        Sex.FEMALE,
    ),
    order=Order(
        "A-1001",
        RequestedProcedure("RP-1", "Ultrasound of both eyes", CodedConcept("EYEUS", "99INVENTED", "Eye ultrasound")),
        "1.2.3.4.5",
        PersonName("Berg^Nora"),
        PersonName("Åström^Liv"),
        TextOrCode("mass seen in right fundus", CodedConcept("4147007", "SCT", "Mass")),
    ),
    session=Session(
        start=datetime(2026, 3, 2, 9, 30, tzinfo=CET),
        examiner=PersonName("Lind^Tove"),
        performing_physician=PersonName("Dahl^Erik"),
        institution="Invented Island Eye Clinic",
        station="ROOM-2",
        device=Device("Workstation A maker (invented)", "Workstation A", "SN-1", "1.0"),
        probe=Probe("SECTOR_MECH", 10),
        visit="",
    ),
    captures=(FULL_STILL, FULL_LOOP),
    cautions=(Caution.SUSPECTED_OPEN_GLOBE, Caution.POOR_COOPERATION),
    is_synthetic=True,
)
BARE_EXAM = Exam(
    key="bare",
    patient=Patient("P", "I", PersonName("X")),
    order=Order(),
    session=Session(datetime(2026, 3, 2, 9, 30, tzinfo=UTC)),
    captures=(BARE_STILL, BARE_LOOP),
)

STILL_FACTS = facts()
LOOP_FACTS = facts(
    frame_count=5,
    lossy=LossyStep("ISO_14496_10", 37.123456),
    derivation=("Luma of the video taken as grey.", "Range 16 to 235 widened to 0 to 255."),
)


def build(
    exam: Exam,
    capture: Capture,
    folder: Path,
    *,
    source: Frames | None = None,
    options: BuildOptions = BuildOptions(),  # noqa: B008 - frozen
    ledger: Ledger = Ledger(),
) -> BuiltObject:
    """Build one capture of an exam as the pipeline does; the capture takes the place of the one with its id."""
    exam = dataclasses.replace(exam, captures=tuple(capture if c.id == capture.id else c for c in exam.captures))
    known = STILL_FACTS if capture.kind is CaptureKind.STILL else LOOP_FACTS
    placement = plan_series(exam, options)[capture.id]
    return build_image(exam, capture, source or Frames(known), placement, BuildContext(options, ledger, folder))
