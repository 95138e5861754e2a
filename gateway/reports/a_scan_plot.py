"""An A-scan as one drawing: amplitude over depth, millimetres below and microseconds above, offered peaks numbered."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gateway.reports.content import AScanCard, AScanPlot
from gateway.reports.templates import template

WIDTH: Final = 480.0
_LEFT, _RIGHT = 50.0, 470.0
_TOP, _BOTTOM = 54.0, 176.0
_HEIGHT: Final = 214.0
_TIME_AXIS: Final = 28.0
"""Room above the curve that is cut away where there is no time axis."""
_NEAREST_NUMBERS: Final = 13.0
_NUMBER_LINE: Final = 10.0
_CLEAR_OF_AXIS: Final = 5.0


@dataclass(frozen=True, slots=True)
class PeakMark:
    """The number of an offered peak, its foot on the curve, and where the number stands, in units of the drawing."""

    text: str
    x: float
    y: float
    text_y: float


def a_scan_svg(card: AScanCard) -> str:
    """Draw one A-scan as SVG."""
    plot = card.plot
    end_mm = plot.depth_mm[-1]
    span = plot.highest - plot.lowest or 1.0

    def across(depth_mm: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * depth_mm / end_mm

    def up(amplitude: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * (amplitude - plot.lowest) / span

    end_us = plot.end_us
    return template("a_scan.svg").render(
        card=card,
        plot=plot,
        width=WIDTH,
        height=_HEIGHT - (0 if end_us else _TIME_AXIS),
        above=0 if end_us else _TIME_AXIS,
        left=_LEFT,
        right=_RIGHT,
        top=_TOP,
        bottom=_BOTTOM,
        points=" ".join(f"{across(x):.1f},{up(y):.1f}" for x, y in zip(plot.depth_mm, plot.amplitude, strict=True)),
        depths=[(across(value), text) for value, text in ticks(0.0, end_mm, 7)],
        times=[(across(value / end_us * end_mm), text) for value, text in ticks(0.0, end_us, 7)] if end_us else [],
        levels=[(up(value), text) for value, text in ticks(plot.lowest, plot.highest, 5)],
        peaks=list(
            _marks(
                plot, across_of=[across(peak.depth_mm) for peak in plot.peaks], up_of=[up(p.height) for p in plot.peaks]
            )
        ),
    )


def _marks(plot: AScanPlot, across_of: list[float], up_of: list[float]) -> Iterator[PeakMark]:
    """Yield the marks; a number that would touch the one before it stands a line higher."""
    last_x, lift = -math.inf, 0
    for peak, x, y in zip(plot.peaks, across_of, up_of, strict=True):
        lift = (lift + 1) % 3 if x - last_x < _NEAREST_NUMBERS else 0
        last_x = x
        yield PeakMark(str(peak.number), max(x, _LEFT + _CLEAR_OF_AXIS), y, y - 4 - lift * _NUMBER_LINE)


def ticks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """Return round places on an axis and what stands beside them: steps of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    most : int
        At most so many steps.
    """
    span = high - low
    if not span > 0:
        return [(low, f"{low:g}")]
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(factor * power for factor in (1, 2, 5, 10) if span / (factor * power) <= most)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    # Adding zero turns -0.0 into 0.0.
    return [(number * step, f"{number * step + 0.0:.{decimals}f}") for number in range(first, last + 1)]
