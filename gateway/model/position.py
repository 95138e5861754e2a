"""Where a scan was taken: scan direction, clock hour, depth zone, marker, gaze.

Clock hours are as the examiner faces the patient, 12 superior for both eyes: 3 o'clock is nasal in the right eye and
temporal in the left (common practice). The marker direction is stored as stated and never inferred.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.laterality import Eye


class Scan(StrEnum):
    """Direction of the scan plane relative to limbus and visual axis (common practice)."""

    TRANSVERSE = "transverse"
    LONGITUDINAL = "longitudinal"
    AXIAL_HORIZONTAL = "axial-horizontal"
    AXIAL_VERTICAL = "axial-vertical"
    AXIAL_OBLIQUE = "axial-oblique"
    MACULA = "macula"
    ORBITAL = "orbital"
    A_SCAN = "a-scan"
    OTHER = "other"

    @property
    def words(self) -> str:
        """The scan as a person reads it."""
        return "A-scan" if self is Scan.A_SCAN else self.value.replace("-", " ")

    @property
    def is_axial(self) -> bool:
        """Whether the probe looks along the visual axis."""
        return self in {Scan.AXIAL_HORIZONTAL, Scan.AXIAL_VERTICAL, Scan.AXIAL_OBLIQUE}

    @property
    def requires_clock_hour(self) -> bool:
        """Transverse and longitudinal scans are named by a clock hour, an oblique axial by its meridian."""
        return self in {Scan.TRANSVERSE, Scan.LONGITUDINAL, Scan.AXIAL_OBLIQUE}

    @property
    def forbids_clock_hour(self) -> bool:
        """Horizontal and vertical axial scans state their meridian by name alone."""
        return self in {Scan.AXIAL_HORIZONTAL, Scan.AXIAL_VERTICAL}


class Zone(StrEnum):
    """Depth of the globe shown, front to back; words always, never short forms (common practice)."""

    CILIARY_BODY = "ciliary-body"
    ORA_SERRATA = "ora-serrata"
    ANTERIOR_TO_EQUATOR = "anterior-to-equator"
    EQUATOR = "equator"
    POSTERIOR_TO_EQUATOR = "posterior-to-equator"
    NEAR_POSTERIOR_POLE = "near-posterior-pole"
    POSTERIOR_POLE = "posterior-pole"

    @property
    def words(self) -> str:
        """The zone as a person reads it."""
        return self.value.replace("-", " ")


class MarkerDirection(StrEnum):
    """Where the probe's marker pointed, as stated by the examiner."""

    NASAL = "nasal"
    TEMPORAL = "temporal"
    SUPERIOR = "superior"
    INFERIOR = "inferior"
    SUPERONASAL = "superonasal"
    SUPEROTEMPORAL = "superotemporal"
    INFERONASAL = "inferonasal"
    INFEROTEMPORAL = "inferotemporal"
    LIMBUS = "limbus"
    AWAY_FROM_LIMBUS = "away-from-limbus"


class Gaze(StrEnum):
    """Where the patient was asked to look; left and right are the patient's (PS3.16 CID 4201)."""

    PRIMARY = "primary"
    UP = "up"
    DOWN = "down"
    LEFT = "left"
    RIGHT = "right"
    UP_LEFT = "up-left"
    UP_RIGHT = "up-right"
    DOWN_LEFT = "down-left"
    DOWN_RIGHT = "down-right"
    CONVERGENT = "convergent"


@dataclass(frozen=True, slots=True, order=True)
class ClockHour:
    """A clock position in half hours.

    Parameters
    ----------
    half_hours : int
        2 (1 o'clock) to 25 (12:30).

    Raises
    ------
    ValueError
        If `half_hours` is not on the dial.
    """

    half_hours: int

    def __post_init__(self) -> None:
        if not 2 <= self.half_hours <= 25:
            raise ValueError(f"a clock hour lies between 1 and 12:30, was {self.half_hours / 2:g}")

    @property
    def hours(self) -> float:
        """Hours on the dial, 1.0 to 12.5."""
        return self.half_hours / 2

    @property
    def words(self) -> str:
        """``3 o'clock`` or ``3:30 o'clock``."""
        hour, half = divmod(self.half_hours, 2)
        return f"{hour}:30 o'clock" if half else f"{hour} o'clock"

    @property
    def four_digits(self) -> str:
        """``0330``: sortable and short, for series descriptions and private codes."""
        hour, half = divmod(self.half_hours, 2)
        return f"{hour:02d}{30 if half else 0:02d}"

    def side(self, eye: Eye) -> str:
        """Name the quadrant or side of the eye at this hour, e.g. ``superonasal``.

        3 o'clock is nasal in the right eye and temporal in the left (common practice).
        """
        hours = self.hours % 12
        vertical = "superior" if hours < 3 or hours > 9 else "inferior" if 3 < hours < 9 else ""
        horizontal = ""
        if 0 < hours < 6:
            horizontal = "nasal" if eye is Eye.RIGHT else "temporal"
        elif 6 < hours < 12:
            horizontal = "temporal" if eye is Eye.RIGHT else "nasal"
        if vertical and horizontal:
            return vertical.removesuffix("ior") + "o" + horizontal
        return vertical or horizontal


@dataclass(frozen=True, slots=True)
class ProbePosition:
    """Everything stated about where and how the probe was held for one capture."""

    scan: Scan
    scan_words: str = ""
    """The examiner's own words where `scan` is OTHER."""
    clock_hour: ClockHour | None = None
    """For an oblique axial scan: the meridian."""
    zone: Zone | None = None
    marker: MarkerDirection | None = None
    gaze: Gaze | None = None

    @property
    def words(self) -> str:
        """Scan, clock hour and zone as one readable phrase, e.g. ``transverse 3 o'clock, equator``."""
        scan = self.scan_words if self.scan is Scan.OTHER and self.scan_words else self.scan.words
        text = f"{scan} {self.clock_hour.words}" if self.clock_hour else scan
        return f"{text}, {self.zone.words}" if self.zone else text
