"""How much of each eye the captures of an exam show, position by position, and in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
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
    """Say in words what is shown of each zone, back to front, zones alike on one line.

    Of what no picture shows, that is said and nothing else.
    """
    if not coverage.claims:
        return ()
    by_words: dict[str, list[Zone]] = {}
    for zone in reversed(Zone):
        by_words.setdefault(_zone_words(coverage, zone), []).append(zone)
    return tuple(f"{joined([zone.words for zone in zones])}: {words}" for words, zones in by_words.items())


def _zone_words(coverage: EyeCoverage, zone: Zone) -> str:
    centred = coverage.positions(zone, Shade.CENTRED)
    stored = coverage.positions(zone, Shade.IN_FIELD)
    declared = coverage.positions(zone, Shade.DECLARED)
    if not declared:
        return "not shown"
    parts = []
    if stored - centred:
        parts.append(f"{Shade.IN_FIELD.words} {hours_words(stored)}")
    if centred:
        parts.append(f"{Shade.CENTRED.words} {hours_words(centred)}")
    if declared - stored:
        parts.append(f"{Shade.DECLARED.words} {hours_words(declared - stored)}")
    missing = frozenset(range(HALF_HOURS_OF_DIAL)) - declared
    if missing:
        parts.append(f"not shown {gap_words(missing)}")
    return "; ".join(parts)


def hours_words(positions: Collection[int]) -> str:
    """Return positions as runs along the dial: ``9 to 3 and 6:30 o'clock``; all of them as ``all round``."""
    if len(frozenset(positions)) == HALF_HOURS_OF_DIAL:
        return "all round"
    runs = [_hour(a) if a == b else f"{_hour(a)} to {_hour(b)}" for a, b in _runs(positions)]
    return f"{joined(runs)} o'clock"


def gap_words(positions: Collection[int]) -> str:
    """Return positions that nothing holds by what bounds them: ``between 12 and 6 o'clock``."""
    runs = [f"between {_hour(first - 1)} and {_hour(last + 1)}" for first, last in _runs(positions)]
    return f"{', '.join(runs)} o'clock"


def _runs(positions: Collection[int]) -> list[tuple[int, int]]:
    """Return first and last of each run of neighbouring positions, clockwise from 12 o'clock; not for a whole dial."""
    wanted = frozenset(positions)
    runs = []
    for first in sorted(at for at in wanted if (at - 1) % HALF_HOURS_OF_DIAL not in wanted):
        last = first
        while (last + 1) % HALF_HOURS_OF_DIAL in wanted:
            last = (last + 1) % HALF_HOURS_OF_DIAL
        runs.append((first, last))
    return runs


def joined(parts: Sequence[str]) -> str:
    """Return a list as a person writes it: ``a, b and c``."""
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else "".join(parts)


def _hour(position: int) -> str:
    at = position % HALF_HOURS_OF_DIAL
    return ClockHour(at if at >= 2 else at + HALF_HOURS_OF_DIAL).words.removesuffix(" o'clock")
