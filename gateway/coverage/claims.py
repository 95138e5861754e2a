"""What one capture may claim to show: clock hours and zones, no more than its scan allows.

Transverse scans show about six clock hours and stand at right angles to the wall near the middle alone (teaching
notes on the B-scan technique); a longitudinal scan shows one meridian; an axial scan its own meridian at the posterior
pole. A claim says what was in the picture, never what state it was in.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Scan, Zone

HALF_HOURS_OF_DIAL: Final = 24
"""Positions on the dial: the clock hours and those half way between them."""
_IN_FIELD_HALF_HOURS: Final = 6
_CENTRED_HALF_HOURS: Final = 2
SWEPT_ZONES: Final = (
    Zone.POSTERIOR_POLE,
    Zone.NEAR_POSTERIOR_POLE,
    Zone.POSTERIOR_TO_EQUATOR,
    Zone.EQUATOR,
    Zone.ANTERIOR_TO_EQUATOR,
    Zone.ORA_SERRATA,
)
"""From the posterior pole to the ora serrata: what a sweep from limbus to fornix runs through."""
_AXIAL_MERIDIANS: Final = {Scan.AXIAL_HORIZONTAL: (6, 18), Scan.AXIAL_VERTICAL: (0, 12)}


class Shade(IntEnum):
    """How something is shown, from least to most: a higher one covers a lower one."""

    DECLARED = 1
    """The examiner says that it was swept; no picture was kept."""
    IN_FIELD = 2
    """In a stored picture, and seen at a slant."""
    CENTRED = 3
    """In the middle of a stored picture, or in the plane of its scan."""

    @property
    def words(self) -> str:
        """The shade as a person reads it."""
        return {
            Shade.DECLARED: "declared swept, no stored picture",
            Shade.IN_FIELD: "in field",
            Shade.CENTRED: "centred",
        }[self]


@dataclass(frozen=True, slots=True)
class Claim:
    """A part of the globe that is shown, as wide on either side of one position.

    Parameters
    ----------
    middle : int
        Half hours from 12 o'clock, 0 to 23.
    reach : int
        Half hours to either side; 0 for a single meridian.
    zones : tuple of Zone
    """

    middle: int
    reach: int
    zones: tuple[Zone, ...]
    shade: Shade

    @property
    def positions(self) -> tuple[int, ...]:
        """Every position of the dial that it holds, both ends included."""
        return tuple((self.middle + step) % HALF_HOURS_OF_DIAL for step in range(-self.reach, self.reach + 1))


def position_of(hour: ClockHour) -> int:
    """Return the position of a clock hour on the dial: half hours from 12 o'clock."""
    return hour.half_hours % HALF_HOURS_OF_DIAL


def claims_of(capture: Capture) -> tuple[Claim, ...]:
    """Return what a capture shows; nothing where its clock hour or depth is not stated, or its scan names no place."""
    position = capture.position
    if position.scan in _AXIAL_MERIDIANS:
        meridians = _AXIAL_MERIDIANS[position.scan]
        return tuple(Claim(middle, 0, (Zone.POSTERIOR_POLE,), Shade.CENTRED) for middle in meridians)
    if position.clock_hour is None:
        return ()
    middle = position_of(position.clock_hour)
    labelled = (position.zone,) if position.zone else ()
    if position.scan is Scan.LONGITUDINAL:
        return (Claim(middle, 0, labelled or SWEPT_ZONES, Shade.CENTRED),)
    if position.scan is Scan.TRANSVERSE:
        is_sweep = capture.is_swept and capture.kind is CaptureKind.LOOP
        zones = (*SWEPT_ZONES, *(zone for zone in labelled if zone not in SWEPT_ZONES)) if is_sweep else labelled
        return _transverse(middle, zones) if zones else ()
    return ()


def _transverse(middle: int, zones: tuple[Zone, ...]) -> tuple[Claim, ...]:
    return (
        Claim(middle, _IN_FIELD_HALF_HOURS, zones, Shade.IN_FIELD),
        Claim(middle, _CENTRED_HALF_HOURS, zones, Shade.CENTRED),
    )


def claims_of_eye(exam: Exam, eye: Eye) -> tuple[Claim, ...]:
    """Return everything that is claimed for one eye, each claim once: declared sweeps first, then the captures'."""
    declared = [
        Claim(position_of(sweep.clock_hour), _IN_FIELD_HALF_HOURS, SWEPT_ZONES, Shade.DECLARED)
        for sweep in exam.session.declared_swept
        if sweep.eye is eye
    ]
    shown = [claim for capture in exam.captures if capture.eye is eye for claim in claims_of(capture)]
    return tuple(dict.fromkeys((*declared, *shown)))
