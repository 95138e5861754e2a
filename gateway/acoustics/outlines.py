"""Closed outlines in millimetres: polygons by their corners, ellipses by their axes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gateway.errors.measurement import EllipseAxesError, PointsOnOneLineError, SelfCrossingOutlineError

Floats = NDArray[np.float64]

_FLAT = 1e-9
"""An outline whose area is a smaller share of its squared perimeter than this has its points on one line."""
AXES_LEAN_DEG = 5.0
AXES_APART = 0.05
"""How far axes set by hand may be from a right angle, and their middles from each other as a share of the longer axis.
An ellipse through the four ends of axes that lean by 5 degrees is 0.4 % smaller than one whose axes do not."""


# ---------------------------------------------------------------- polygons


def corners_of(points: Floats) -> Floats:
    """Return the corners each once: a last point on the first one only closes the outline."""
    is_closed = len(points) > 1 and bool(np.all(points[0] == points[-1]))
    return points[:-1] if is_closed else points


def polygon_area_mm2(points_mm: Floats) -> float:
    """Area inside a closed outline by the surveyor's formula; the last point joins the first."""
    # Far from the origin the products would cost digits.
    x, y = (points_mm - points_mm[0]).T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def polygon_perimeter_mm(points_mm: Floats) -> float:
    """Length of a closed outline; the last point joins the first."""
    return float(np.sum(np.linalg.norm(np.roll(points_mm, -1, axis=0) - points_mm, axis=1)))


def require_outline(points: Floats) -> None:
    """Refuse corners that enclose no area, or an outline that crosses, touches or runs back on itself.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Corners in any unit, each once.

    Raises
    ------
    PointsOnOneLineError, SelfCrossingOutlineError
    """
    around = polygon_perimeter_mm(points)
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if spread[-1] <= _FLAT * around:
        raise PointsOnOneLineError("the points of this outline lie on one line", fix="set them along the outline")
    crossing = _first_crossing(points)
    if crossing is not None:
        raise SelfCrossingOutlineError(
            "the outline crosses or touches itself",
            was=f"the sides after points {crossing[0] + 1} and {crossing[1] + 1}",
            fix="give the corners in the order in which the outline runs",
        )


def _first_crossing(points: Floats) -> tuple[int, int] | None:
    """Return two sides that meet where they must not, by the order of their left ends (a sweep)."""
    ends = np.roll(points, -1, axis=0)
    low, high = np.minimum(points, ends), np.maximum(points, ends)
    order = np.argsort(low[:, 0], kind="stable")
    starts = low[order, 0]
    for place, side in enumerate(order):
        others = order[place + 1 : int(np.searchsorted(starts, high[side, 0], side="right"))]
        others = others[(low[others, 1] <= high[side, 1]) & (high[others, 1] >= low[side, 1])]
        met = others[_meet(points, ends, int(side), others)] if len(others) else others
        if len(met):
            pair = sorted((int(side), int(met[0])))
            return pair[0], pair[1]
    return None


def _meet(points: Floats, ends: Floats, side: int, others: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which other sides share a point with a side whose bounding box they overlap.

    Neighbours share their corner. Where one runs back on the other, the side after it touches one of them too.
    """
    count = len(points)
    start, end = points[side], ends[side]
    first, last = points[others], ends[others]
    touches = (_turn(start, end, first) * _turn(start, end, last) <= 0) & (
        _turn(first, last, start) * _turn(first, last, end) <= 0
    )
    are_neighbours = ((others - side) % count == 1) | ((side - others) % count == 1)
    met: NDArray[np.bool_] = touches & ~are_neighbours
    return met


def _turn(start: Floats, end: Floats, point: Floats) -> Floats:
    return _cross(end - start, point - start)


def _cross(one: Floats, other: Floats) -> Floats:
    crossed: Floats = one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]
    return crossed


# ---------------------------------------------------------------- ellipses


def ellipse_of(points: Floats) -> tuple[Floats, Floats]:
    """Return centre and half axes of an ellipse.

    Parameters
    ----------
    points : ndarray, shape (4, 2) or (3, 2)
        Ends of one axis, then of the other; or the centre and one end of each.

    Returns
    -------
    centre : ndarray, shape (2,)
    half_axes : ndarray, shape (2, 2)
        One in each row. Where the axes do not stand at right angles these are conjugate half diameters, and the ellipse
        still runs through their ends.
    """
    if len(points) == 3:
        return points[0], points[1:] - points[0]
    return points.mean(axis=0), np.stack([points[1] - points[0], points[3] - points[2]]) / 2


def require_ellipse(points_mm: Floats) -> None:
    """Refuse axes that have no length, lie on one line, or do not halve each other at right angles.

    Raises
    ------
    PointsOnOneLineError, EllipseAxesError
    """
    _centre, (one, other) = ellipse_of(points_mm)
    lengths = np.linalg.norm(one), np.linalg.norm(other)
    if abs(float(_cross(one, other))) <= _FLAT * float(max(lengths)) ** 2:
        raise PointsOnOneLineError(
            "the axes of this ellipse lie on one line", fix="set the second axis across the first"
        )
    cosine = abs(float(np.dot(one, other))) / float(lengths[0] * lengths[1])
    lean_deg = math.degrees(math.asin(min(cosine, 1.0)))
    apart = 0.0
    if len(points_mm) == 4:
        middles = points_mm.reshape(2, 2, 2).mean(axis=1)
        apart = float(np.linalg.norm(middles[1] - middles[0])) / (2 * float(max(lengths)))
    if lean_deg > AXES_LEAN_DEG or apart > AXES_APART:
        raise EllipseAxesError(
            "the axes do not halve each other at right angles",
            was=f"{90 - lean_deg:.0f} degrees, middles {apart:.0%} of the longer axis apart",
            fix="give the ends of one axis, then those of the other",
        )


def ellipse_area_mm2(points_mm: Floats) -> float:
    """Area of an ellipse: pi times the parallelogram of its half axes."""
    _centre, (one, other) = ellipse_of(points_mm)
    return float(math.pi * abs(_cross(one, other)))


def ellipse_perimeter_mm(points_mm: Floats) -> float:
    """Length of an ellipse by the arithmetic-geometric mean, exact to double precision.

    Source: complete elliptic integral of the second kind, NIST Digital Library of Mathematical Functions 19.8.6.
    """
    _centre, half_axes = ellipse_of(points_mm)
    long, short = np.linalg.svd(half_axes, compute_uv=False)
    if short == 0:
        return float(4 * long)
    mean, geometric = float(long), float(short)
    correction, weight = (mean**2 + geometric**2) / 2, 0.5
    while abs(mean - geometric) > 1e-15 * mean:
        half_difference = (mean - geometric) / 2
        mean, geometric = (mean + geometric) / 2, math.sqrt(mean * geometric)
        weight *= 2
        correction -= weight * half_difference**2
    return 2 * math.pi * correction / mean


def ellipse_axis_ends(points: Floats) -> Floats:
    """Return the ends of the longer and then of the shorter principal axis, shape (4, 2), as ELLIPSE asks.

    In pixels that are not square the axes as they were set need not be the axes of the ellipse on the pixel grid; the
    ones returned are (PS3.3 C.18.6.1.2).
    """
    centre, half_axes = ellipse_of(points)
    _left, lengths, directions = np.linalg.svd(half_axes)
    ends: Floats = np.stack(
        [
            centre - lengths[0] * directions[0],
            centre + lengths[0] * directions[0],
            centre - lengths[1] * directions[1],
            centre + lengths[1] * directions[1],
        ]
    )
    return ends


def ellipse_outline(points: Floats, count: int = 72) -> Floats:
    """Return points along an ellipse, shape (count, 2), for drawing."""
    centre, half_axes = ellipse_of(points)
    angles = np.linspace(0.0, 2 * math.pi, count, endpoint=False)
    drawn: Floats = centre + np.stack([np.cos(angles), np.sin(angles)], axis=1) @ half_axes
    return drawn
