"""The session: when, where, by whom, with which device."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.model.laterality import Eye
from gateway.model.people import PersonName
from gateway.model.position import ClockHour
from gateway.model.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Device:
    """The ultrasound device that acquired the captures."""

    maker: str = ""
    model: str = ""
    serial: str = ""
    software: str = ""
    clock_ahead_s: float = 0.0
    """By how much its clock ran ahead of true time; times in the exam are true, this plus them is what it showed."""


@dataclass(frozen=True, slots=True)
class Probe:
    """The probe in use.

    Parameters
    ----------
    type : str
        A Transducer Type term (PS3.3 C.8.5.6), e.g. ``SECTOR_MECH``; empty if not stated.
    nominal_frequency_mhz : float or None
    cycles : float or None
        Length of its pulse in cycles of the nominal frequency.
    bandwidth_mhz : float or None
    """

    type: str = ""
    nominal_frequency_mhz: float | None = None
    cycles: float | None = None
    bandwidth_mhz: float | None = None


@dataclass(frozen=True, slots=True)
class DeclaredSweep:
    """A transverse sweep that the examiner says was made, and of which no picture was kept."""

    eye: Eye
    clock_hour: ClockHour


@dataclass(frozen=True, slots=True)
class Session:
    """One visit in front of one device."""

    start: datetime
    """Aware: carries the site's offset from UTC at that moment."""
    examiner: PersonName | None = None
    performing_physician: PersonName | None = None
    institution: str = ""
    station: str = ""
    device: Device = Device()
    probe: Probe = Probe()
    visit: str = ""
    """The site's own key where one patient is seen twice by one device within the same minute; usually empty."""
    protocol: Protocol | None = None
    """What was to be acquired, where the exam names a protocol."""
    declared_swept: tuple[DeclaredSweep, ...] = ()


def clock_words(ahead_s: float) -> str:
    """Return how a clock ran in words: ``130 s ahead`` or ``2.5 s behind``."""
    return f"{abs(ahead_s):g} s {'ahead' if ahead_s > 0 else 'behind'}"
