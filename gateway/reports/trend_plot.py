"""Readings over time as one drawing: a panel for each quantity, points with the repeatability band, dates below.

A bar reaches half the band's width to either side, so a point outside another one's bar differs from it by more than
95 % of two readings of one thing would. A line is drawn where three visits or more give a trend; it is never extended.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from gateway.model.comparison import Comparison, Series
from gateway.model.measurement import unit_words
from gateway.reports.characters import seen
from gateway.reports.templates import template

WIDTH: Final = 720.0
_LEFT, _RIGHT = 70.0, 690.0
_PLOT_HEIGHT: Final = 130.0
_TITLE_LINE: Final = 18.0
_NOTE_LINE: Final = 14.0
_NEAREST_DATES: Final = 74.0
_LETTERS: Final = 108


@dataclass(frozen=True, slots=True)
class PlotPoint:
    """One reading, in units of the drawing; `top` and `bottom` are the ends of its bar, equal to `y` without a band."""

    x: float
    y: float
    top: float
    bottom: float
    value: str
    date: str
    is_dated: bool


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity, ready to be drawn."""

    y: float
    title: tuple[str, ...]
    unit: str
    top: float
    bottom: float
    points: tuple[PlotPoint, ...]
    ticks: tuple[tuple[float, str], ...]
    line: tuple[float, float, float, float] | None
    notes: tuple[str, ...]


def render_trend_plot(comparison: Comparison) -> str:
    """Draw every series of a comparison as SVG."""
    panels = list(_panels(comparison.series))
    height = panels[-1].bottom + 46 + _NOTE_LINE * len(panels[-1].notes) if panels else 60.0
    words = "; ".join(_in_words(series) for series in comparison.series)
    return template("trend.svg").render(
        panels=panels,
        width=WIDTH,
        height=height,
        left=_LEFT,
        right=_RIGHT,
        description=seen(words) or "nothing to be drawn",
    )


def _in_words(series: Series) -> str:
    readings = ", ".join(f"{r.visit.when:%Y-%m-%d} {r.measurement.shown}" for r in series.readings)
    return f"{series.quantity} of {series.finding}: {readings}"


def _panels(series: Sequence[Series]) -> Iterator[Panel]:
    y = 16.0
    for one in series:
        panel = _panel(one, y)
        yield panel
        y = panel.bottom + 56 + _NOTE_LINE * len(panel.notes)


def _panel(series: Series, y: float) -> Panel:
    proposed = " (joined as proposed)" if series.link.value == "proposed" else ""
    title = tuple(textwrap.wrap(seen(f"{series.quantity}: {series.finding}{proposed}"), 84)) or ("",)
    top = y + _TITLE_LINE * len(title) + 26
    bottom = top + _PLOT_HEIGHT
    half = series.band.half_width if series.band else 0.0
    low, high, step = _scale([v - half for v in series.values], [v + half for v in series.values])

    def height_of(value: float) -> float:
        return bottom - (value - low) / (high - low) * _PLOT_HEIGHT

    xs = _across([reading.visit.when for reading in series.readings])
    dated = _dated(xs)
    points = tuple(
        PlotPoint(
            x,
            height_of(value),
            height_of(value + half),
            height_of(value - half),
            seen(reading.measurement.text or f"{value:g}"),
            f"{reading.visit.when:%Y-%m-%d}",
            index in dated,
        )
        for index, (x, value, reading) in enumerate(zip(xs, series.values, series.readings, strict=True))
    )
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    count = round((high - low) / step)
    ticks = tuple((height_of(low + n * step), f"{low + n * step:.{places}f}") for n in range(count + 1))
    return Panel(
        y,
        title,
        seen(unit_words(series.unit)),
        top,
        bottom,
        points,
        ticks,
        _line(series, xs, height_of),
        tuple(_notes(series)),
    )


def _line(
    series: Series, xs: Sequence[float], height_of: Callable[[float], float]
) -> tuple[float, float, float, float] | None:
    """Return the ends of the least-squares line, from the first to the last visit."""
    trend = series.trend
    if trend is None:
        return None
    share = [(x - xs[0]) / (xs[-1] - xs[0]) for x in xs]
    middle, mean = sum(share) / len(share), sum(series.values) / len(series.values)
    rise = trend.slope_per_month * trend.span_months
    ends = mean - middle * rise, mean + (1 - middle) * rise
    return xs[0], height_of(ends[0]), xs[-1], height_of(ends[1])


def _notes(series: Series) -> Iterator[str]:
    unit = unit_words(series.unit)
    if series.band is not None:
        yield from _wrapped(f"bars: ± {series.band.half_width:.3f} {unit}, repeatability band: {series.band.words}")
    else:
        yield "no bars: no repeatability band known"
    if series.trend is not None:
        slope, span = series.trend.slope_per_month * (1 + 1e-9), series.trend.span_months
        yield f"line: least squares, {slope:+.4f} {unit} per month over {span:.1f} months"
    for words in series.left_out:
        yield from _wrapped(f"left out: {words}")


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(seen(words), _LETTERS)


def _across(moments: Sequence[datetime]) -> list[float]:
    span = (moments[-1] - moments[0]).total_seconds()
    inner = _RIGHT - _LEFT - 80
    if span <= 0:
        return [_LEFT + 40 + inner * (index + 1) / (len(moments) + 1) for index in range(len(moments))]
    return [_LEFT + 40 + inner * (moment - moments[0]).total_seconds() / span for moment in moments]


def _dated(xs: Sequence[float]) -> set[int]:
    """Return which points have room for their date: the first and last always, between them what fits."""
    last = len(xs) - 1
    shown = {0, last}
    at = xs[0]
    for index in range(1, last):
        if xs[index] - at >= _NEAREST_DATES and xs[last] - xs[index] >= _NEAREST_DATES:
            shown.add(index)
            at = xs[index]
    return shown


def _scale(lows: Sequence[float], highs: Sequence[float]) -> tuple[float, float, float]:
    """Return the ends of the axis and the step between its marks: 1, 2 or 5 times a power of ten."""
    low, high = min(lows), max(highs)
    if high <= low:
        # Readings that are all the same stand in the middle.
        around = max(abs(high), 1.0) * 0.1
        low, high = low - around, high + around
    span = high - low
    rough = span / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough)
    low, high = math.floor(low / step) * step, math.ceil(high / step) * step
    return low, high if high > low else low + step, step
