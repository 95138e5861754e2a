"""When the frames of a movie were shown: times from the container's clock, and a rate where they keep to one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

RATE_TOLERANCE_MS = Fraction(1, 2)
"""How far a frame may stand from its place at the stated rate (own choice); one tick of a coarser clock is allowed."""


@dataclass(frozen=True, slots=True)
class FrameClock:
    """Times of a movie's frames.

    Parameters
    ----------
    times_ms : tuple of float or None
        From the first frame, which is 0; None where the container's clock cannot be used.
    rate_hz : float or None
        The container's rate where every frame keeps to it.
    note : str
        Why there are no times; empty where there are.
    """

    times_ms: tuple[float, ...] | None
    rate_hz: float | None
    note: str = ""


def frame_clock(
    ticks: Sequence[int | None], tick_s: Fraction | None, stated_rates: Sequence[Fraction | None]
) -> FrameClock:
    """Return the times of frames in the order in which they are shown.

    Parameters
    ----------
    ticks : sequence of int or None
        Presentation time of each frame in ticks.
    tick_s : Fraction or None
        Seconds of one tick.
    stated_rates : sequence of Fraction or None
        Rates that the container states, the likeliest first, frames per second.
    """
    known = [tick for tick in ticks if tick is not None]
    if tick_s is None or len(known) != len(ticks):
        return FrameClock(None, None, "The file's clock does not time every frame and was left out.")
    if any(after <= before for before, after in pairwise(known)):
        return FrameClock(None, None, "The file's frame times do not increase and were left out.")
    tick_ms = tick_s * 1000
    times = [(tick - known[0]) * tick_ms for tick in known]
    tolerance = max(RATE_TOLERANCE_MS, tick_ms if tick_ms < 5 else Fraction(0))
    rate = next((r for r in stated_rates if r and _keeps_to(times, r, tolerance)), None)
    return FrameClock(tuple(float(t) for t in times), float(rate) if rate else None)


def _keeps_to(times_ms: Sequence[Fraction], rate: Fraction, tolerance_ms: Fraction) -> bool:
    return all(abs(time - 1000 * number / rate) <= tolerance_ms for number, time in enumerate(times_ms))
