"""The chart of both eyes that shows where each capture was taken; one drawing for every rendering.

The chart unrolls the globe from its posterior pole: the distance from the middle is the angle from the posterior pole.
Clock hours are as the examiner faces the patient, so nasal lies towards the middle of the page (common practice). The
widths of the zones are this project's own choice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gateway.model.laterality import Eye
from gateway.model.position import Scan, Zone
from gateway.reports.content import CaptureCard, EyeSection
from gateway.reports.coverage import shades_in_order, shape_path
from gateway.reports.templates import template

RIM_DEG: Final = 134.0
RIM: Final = 100.0
"""Radius of the drawn rim; everything else is in the same unit."""

_ZONE_MIDDLE_DEG: Final = {
    Zone.POSTERIOR_POLE: 12.5,
    Zone.NEAR_POSTERIOR_POLE: 37.5,
    Zone.POSTERIOR_TO_EQUATOR: 62.5,
    Zone.EQUATOR: 87.5,
    Zone.ANTERIOR_TO_EQUATOR: 108.0,
    Zone.ORA_SERRATA: 120.0,
    Zone.CILIARY_BODY: 129.0,
}
_CIRCLES_DEG: Final = (90.0, 120.0)
_OUTSIDE: Final = 107.0
"""Where a mark stands whose zone was not stated: outside the eye, because nothing may be guessed."""
_HALF_LENGTH: Final = 10.0
_DIGIT_WIDTH: Final = 6.8
_HALF_DIGIT_HEIGHT: Final = 5.0
_AXIAL_HOURS: Final = {Scan.AXIAL_HORIZONTAL: 3.0, Scan.AXIAL_VERTICAL: 12.0}


@dataclass(frozen=True, slots=True)
class Stroke:
    """A short line on the chart; a dot where both ends are the same."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Tag:
    """Numbers of the captures at one place."""

    x: float
    y: float
    text: str


@dataclass(frozen=True, slots=True)
class Dial:
    """One eye's chart, ready to be drawn around 0,0."""

    words: str
    description: str
    left_word: str
    right_word: str
    strokes: tuple[Stroke, ...]
    tags: tuple[Tag, ...]


def chart_svg(section: EyeSection) -> str:
    """Draw one eye's chart as SVG in the colour of the surrounding text."""
    circles = [angle / RIM_DEG * RIM for angle in _CIRCLES_DEG]
    hours = [(hour, *_at(hour, 122.0)) for hour in (12, 3, 6, 9)]
    ticks = [(*_at(hour, RIM - 4), *_at(hour, RIM)) for hour in range(1, 13)]
    return template("positions.svg").render(
        dial=dial(section), rim=RIM, circles=circles, hours=hours, ticks=ticks, shades=_shades(section), eye=section.eye
    )


def _shades(section: EyeSection) -> list[tuple[str, list[str]]]:
    """Return the outlines of what is shown, by shade, the least first so that more covers it."""
    shapes = section.coverage.shapes
    outlines = [
        (shade, [shape_path(s, RIM_DEG, RIM) for s in shapes if s.shade == shade]) for shade in shades_in_order()
    ]
    return [(shade, list(dict.fromkeys(paths))) for shade, paths in outlines if paths]


def dial(section: EyeSection) -> Dial:
    """Lay one eye's captures out on its dial."""
    placed: dict[tuple[float, float], list[CaptureCard]] = {}
    for card in section.captures:
        place = _place(card)
        if place is not None:
            placed.setdefault(place, []).append(card)
    strokes = [_stroke(card, hour, radius) for (hour, radius), cards in placed.items() for card in cards]
    nasal_right = section.eye is Eye.RIGHT
    return Dial(
        words=section.words,
        description=description(section),
        left_word="temporal" if nasal_right else "nasal",
        right_word="nasal" if nasal_right else "temporal",
        strokes=tuple(dict.fromkeys(strokes)),
        tags=tuple(_tags(placed)),
    )


def description(section: EyeSection) -> str:
    """Say in words what the chart of one eye shows."""
    if not section.captures:
        return f"{section.words}: {section.nothing}"
    return f"{section.words}: " + "; ".join(f"picture {card.number} {card.position}" for card in section.captures)


def unplaced(section: EyeSection) -> tuple[CaptureCard, ...]:
    """Return the captures that have no place on the dial, because no clock hour or meridian was stated."""
    return tuple(card for card in section.captures if _place(card) is None)


def _place(card: CaptureCard) -> tuple[float, float] | None:
    """Return hour on the dial and radius, or None."""
    mark = card.mark
    if mark.scan in _AXIAL_HOURS:
        return _AXIAL_HOURS[mark.scan], 0.0
    if mark.clock_hour is None:
        return None
    if mark.scan is Scan.AXIAL_OBLIQUE:
        return mark.clock_hour.hours, 0.0
    radius = _ZONE_MIDDLE_DEG[mark.zone] / RIM_DEG * RIM if mark.zone else _OUTSIDE
    return mark.clock_hour.hours, radius


def _at(hour: float, radius: float) -> tuple[float, float]:
    """Return the point at an hour: x to the right, y down, 12 o'clock at the top."""
    angle = math.radians(hour * 30)
    return radius * math.sin(angle), -radius * math.cos(angle)


def _stroke(card: CaptureCard, hour: float, radius: float) -> Stroke:
    """Draw across the meridian for a transverse scan, along it for a longitudinal, through the middle for an axial."""
    x, y = _at(hour, radius)
    if card.mark.scan is Scan.TRANSVERSE:
        dx, dy = _at(hour + 3, _HALF_LENGTH)
    elif card.mark.scan is Scan.LONGITUDINAL:
        dx, dy = _at(hour, _HALF_LENGTH)
    elif card.mark.scan.is_axial:
        dx, dy = _at(hour, 2 * _HALF_LENGTH)
    else:
        dx, dy = 0.0, 0.0
    return Stroke(x - dx, y - dy, x + dx, y + dy)


def _tags(placed: dict[tuple[float, float], list[CaptureCard]]) -> Iterator[Tag]:
    for (hour, radius), cards in placed.items():
        text = ", ".join(str(card.number) for card in cards)
        # Beside the mark, clockwise; at the end of the line for an axial scan, whose middle is taken.
        towards_x, towards_y = _at(hour if radius == 0 else hour + 3, 1.0)
        away = _clearance(text, (towards_x, towards_y), 2 * _HALF_LENGTH if radius == 0 else _HALF_LENGTH)
        x, y = _at(hour, radius)
        yield Tag(x + towards_x * away, y + towards_y * away, text)


def _clearance(text: str, towards: tuple[float, float], half_length: float) -> float:
    """Return how far the middle of a text stands from the middle of its mark, so that they do not touch."""
    half_text = abs(towards[0]) * _DIGIT_WIDTH * len(text) / 2 + abs(towards[1]) * _HALF_DIGIT_HEIGHT
    return half_length + 7 + half_text
