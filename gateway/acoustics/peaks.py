"""Peaks of a curve, offered with how far they stand out; never chosen for anybody."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Peak:
    """A peak that is offered.

    Parameters
    ----------
    index : int
        Of its sample; the middle one of a flat top, the lower where there are two.
    position : float
        Of the top of the parabola through the sample and its neighbours, in samples.
    height : float
        Of the sample.
    prominence : float
        How far it stands above the higher of the two lowest points between it and higher ground, or the end.
    """

    index: int
    position: float
    height: float
    prominence: float


def offered_peaks(curve: Floats, least_prominence: float) -> tuple[Peak, ...]:
    """Return every peak that stands out at least so far, in order of position.

    Parameters
    ----------
    curve : ndarray, shape (n,)
    least_prominence : float
        In the unit of the curve.
    """
    found = []
    for first, last in _tops(curve):
        index = (first + last) // 2
        prominence = float(curve[index] - max(_foot(curve[index::-1]), _foot(curve[index:])))
        if prominence >= least_prominence:
            position = _vertex(curve, index) if first == last else (first + last) / 2
            found.append(Peak(index, position, float(curve[index]), prominence))
    return tuple(found)


def _tops(curve: Floats) -> list[tuple[int, int]]:
    """Return first and last sample of each flat or pointed top; the ends of the curve are none."""
    if len(curve) < 3:
        return []
    begins = np.flatnonzero(np.diff(curve, prepend=np.nan) != 0)
    ends = np.append(begins[1:] - 1, len(curve) - 1)
    levels = curve[begins]
    inner = np.flatnonzero((levels[1:-1] > levels[:-2]) & (levels[1:-1] > levels[2:])) + 1
    return [(int(begins[run]), int(ends[run])) for run in inner]


def _foot(outwards: Floats) -> float:
    """Return the lowest point on the way from a peak to higher ground or to the end."""
    higher = np.flatnonzero(outwards > outwards[0])
    return float(np.min(outwards[: higher[0]] if len(higher) else outwards))


def _vertex(curve: Floats, index: int) -> float:
    before, at, after = curve[index - 1 : index + 2]
    return float(index + 0.5 * (before - after) / (before - 2 * at + after))
