"""Exams made of positions alone: ``T12``, ``L9``, ``AXH`` and their zones."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

from gateway.mapping.protocols import load_protocols
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.finding import Finding
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.model.session import DeclaredSweep, Session

SCANS = {"T": Scan.TRANSVERSE, "L": Scan.LONGITUDINAL}
AXIAL = {"AXH": Scan.AXIAL_HORIZONTAL, "AXV": Scan.AXIAL_VERTICAL, "A": Scan.A_SCAN, "M": Scan.MACULA}


def hour(hours: float) -> ClockHour:
    return ClockHour(round(hours * 2))


def capture(
    place: str, eye: Eye = Eye.RIGHT, zone: Zone | None = None, *, loop: bool = False, swept: bool = False
) -> Capture:
    found = re.fullmatch(r"([TL])([\d.]+)", place)
    scan = SCANS[found[1]] if found else AXIAL[place]
    position = ProbePosition(scan, clock_hour=hour(float(found[2])) if found else None, zone=zone)
    name = f"{eye.abbreviation}-{place}-{zone or 'any'}-{'loop' if loop else 'still'}"
    kind = CaptureKind.LOOP if loop else CaptureKind.STILL
    return Capture(name, kind, (f"{name}.png",), eye, position, is_swept=swept)


def exam(
    captures: Sequence[Capture],
    *,
    protocol: str = "",
    declared: Sequence[DeclaredSweep] = (),
    measurements: Sequence[Measurement] = (),
    findings: Sequence[Finding] = (),
) -> Exam:
    session = Session(
        datetime(2026, 3, 2, 9, 30, tzinfo=UTC),
        protocol=load_protocols()[protocol] if protocol else None,
        declared_swept=tuple(declared),
    )
    patient = Patient("INV-1", "INVENTED", PersonName("Holm^Maija"))
    return Exam("x", patient, Order(), session, tuple(captures), tuple(measurements), findings=tuple(findings))
