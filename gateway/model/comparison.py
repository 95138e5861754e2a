"""What comes of comparing exams: differences with what they may mean, and trends, never an interpretation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.model.prior import PriorMeasurement, UnreadItem


class Link(StrEnum):
    """Why two groups of two visits are taken for one finding."""

    TRACKED = "tracked"
    """Both reports carry the same tracking UID."""
    PROPOSED = "proposed"
    """They agree in eye, structure, clock hour and zone, as far as both state them; a person decides."""


class Verdict(StrEnum):
    """What a difference is, held against how far readings of one thing differ."""

    WITHIN = "within the repeatability band"
    BEYOND = "beyond the repeatability band"
    NO_BAND = "no band known"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, slots=True)
class Visit:
    """One exam of the comparison; `number` counts from 1 in order of time."""

    number: int
    when: datetime
    study_uid: str
    device: str
    source: str
    unread: tuple[UnreadItem, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """One number at one visit."""

    visit: Visit
    measurement: PriorMeasurement


@dataclass(frozen=True, slots=True)
class Band:
    """Half the width within which 95 % of the differences of two readings of one thing lie: 1.96 x sqrt(2) x SD.

    Parameters
    ----------
    words : str
        The figure behind it, with what it holds for, whose it is and its source.
    """

    half_width: float
    unit: str
    words: str


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of one finding at two visits.

    Parameters
    ----------
    difference : float or None
        Later minus earlier in `unit`; None where they are not comparable.
    months : float
        Between the visits, in calendar months.
    reasons : tuple of str
        Why they are not comparable; empty where they are.
    remarks : tuple of str
        What one report says and the other does not.
    """

    finding: str
    quantity: str
    link: Link
    earlier: Reading
    later: Reading
    difference: float | None
    unit: str
    months: float
    verdict: Verdict
    band: Band | None = None
    reasons: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def per_month(self) -> float | None:
        """The difference over the months between; None where it is unknown or both visits were at one moment."""
        return self.difference / self.months if self.difference is not None and self.months > 0 else None


@dataclass(frozen=True, slots=True)
class Trend:
    """Least-squares line through the readings of three visits or more."""

    slope_per_month: float
    unit: str
    span_months: float


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity of one finding over all visits that can be compared with the last one.

    Parameters
    ----------
    values : tuple of float
        Of `readings`, in `unit`.
    left_out : tuple of str
        Readings that are not comparable with the last one, with reasons.
    trend : Trend or None
        None for fewer than three readings.
    """

    finding: str
    quantity: str
    link: Link
    readings: tuple[Reading, ...]
    values: tuple[float, ...]
    unit: str
    band: Band | None = None
    trend: Trend | None = None
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that comparing some exams of one patient gave.

    Parameters
    ----------
    notes : tuple of str
        What was not compared, and why: ambiguous proposals, numbers of one visit alone, reports left aside.
    """

    visits: tuple[Visit, ...]
    differences: tuple[Difference, ...]
    series: tuple[Series, ...]
    notes: tuple[str, ...]
