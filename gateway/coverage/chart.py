"""How much of each eye the captures of an exam show, position by position, and in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from gateway.coverage.claims import HALF_HOURS_OF_DIAL, Claim, Shade, claims_of, claims_of_eye
from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Zone

Cell = tuple[int, Zone]
"""Half hours from 12 o'clock, and depth."""


@dataclass(frozen=True, slots=True)
class EyeCoverage:
    """What is shown of one eye.

    Parameters
    ----------
    claims : tuple of Claim
        Each once, as they are drawn.
    cells : mapping of Cell to Shade
        The best that any claim says of a cell; a cell that is not in it is shown by nothing.
    without_place : tuple of str
        Ids of captures that claim nothing, because clock hour or depth is not stated or the scan names no place.
    has_captures : bool
    """

    eye: Eye
    claims: tuple[Claim, ...]
    cells: Mapping[Cell, Shade]
    without_place: tuple[str, ...]
    has_captures: bool

    def positions(self, zone: Zone, least: Shade) -> frozenset[int]:
        """Return the positions of one zone that are shown at least so well."""
        return frozenset(at for (at, of), shade in self.cells.items() if of is zone and shade >= least)


def coverage_of(exam: Exam, eye: Eye) -> EyeCoverage:
    """Return what the captures and declarations of an exam show of one eye."""
    claims = claims_of_eye(exam, eye)
    cells: dict[Cell, Shade] = {}
    for claim in claims:
        for zone in claim.zones:
            for at in claim.positions:
                cells[at, zone] = max(claim.shade, cells.get((at, zone), claim.shade))
    captures = [capture for capture in exam.captures if capture.eye is eye]
    return EyeCoverage(eye, claims, MappingProxyType(cells), _without_place(captures), bool(captures))


def _without_place(captures: Collection[Capture]) -> tuple[str, ...]:
    return tuple(capture.id for capture in captures if not claims_of(capture))


def coverage_lines(coverage: EyeCoverage) -> tuple[str, ...]:
    """Say in words what is shown of each zone, back to front; nothing is said of what no picture shows but that."""
    if not coverage.claims:
        return ()
    return tuple(f"{zone.words}: {_zone_words(coverage, zone)}" for zone in reversed(Zone))


def _zone_words(coverage: EyeCoverage, zone: Zone) -> str:
    centred = coverage.positions(zone, Shade.CENTRED)
    stored = coverage.positions(zone, Shade.IN_FIELD)
    declared = coverage.positions(zone, Shade.DECLARED) - stored
    parts = [
        f"{shade.words} {hours_words(positions)}"
        for shade, positions in (
            (Shade.CENTRED, centred),
            (Shade.IN_FIELD, stored - centred),
            (Shade.DECLARED, declared),
        )
        if positions
    ]
    missing = frozenset(range(HALF_HOURS_OF_DIAL)) - stored - declared
    if not parts:
        return "not shown"
    return "; ".join([*parts, *([f"not shown {hours_words(missing)}"] if missing else [])])


def hours_words(positions: Collection[int]) -> str:
    """Return positions as runs along the dial: ``9 to 3 and 6:30 o'clock``; all of them as ``all round``."""
    wanted = frozenset(positions)
    if len(wanted) == HALF_HOURS_OF_DIAL:
        return "all round"
    starts = sorted(at for at in wanted if (at - 1) % HALF_HOURS_OF_DIAL not in wanted)
    runs = []
    for start in starts:
        end = start
        while (end + 1) % HALF_HOURS_OF_DIAL in wanted:
            end = (end + 1) % HALF_HOURS_OF_DIAL
        runs.append(_hour(start) if start == end else f"{_hour(start)} to {_hour(end)}")
    return f"{' and '.join(runs)} o'clock"


def _hour(position: int) -> str:
    return ClockHour(position if position >= 2 else position + HALF_HOURS_OF_DIAL).words.removesuffix(" o'clock")
