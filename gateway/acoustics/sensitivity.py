"""How a measured value follows its points: the sensitivity coefficients of JCGM 100:2008 5.1.3."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.quantities import PLAIN, Drawing, computed_value, is_ellipse, signed_height_mm
from gateway.model.measurement import MeasurementKind

Floats = NDArray[np.float64]

PLAIN_LENGTHS = frozenset(
    {
        MeasurementKind.DISTANCE,
        MeasurementKind.HEIGHT,
        MeasurementKind.THICKNESS,
        MeasurementKind.BASE,
        MeasurementKind.WIDTH,
        MeasurementKind.DEPTH,
        MeasurementKind.AXIAL_LENGTH,
        MeasurementKind.PATH_LENGTH,
    }
)
"""Kinds whose value is the length of the line through their points."""
_STEP_MM = 1e-4
"""Small against any caliper, large against the rounding of doubles: central differences are good to nine digits."""


def gradient(kind: MeasurementKind, points_mm: Floats, drawing: Drawing = PLAIN) -> Floats:
    """Return how the value changes where a point moves.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 2)
        Neighbours on different spots, as `quantities.computed_value` asks.

    Returns
    -------
    ndarray, shape (n, 2)
        Value (mm, degrees or mm2) for each millimetre in x and y. Where the arms of an angle, or the points of a
        perpendicular height, lie on one line the absolute value has a kink; the slope given is that on one side of it.
    """
    if kind is MeasurementKind.ANGLE:
        return _of_angle(points_mm)
    if kind in PLAIN_LENGTHS:
        return _of_length(points_mm)
    if kind is MeasurementKind.AREA and not is_ellipse(kind, drawing, len(points_mm)):
        return _of_area(points_mm)
    if kind is MeasurementKind.PERPENDICULAR_HEIGHT:
        sign = -1.0 if signed_height_mm(points_mm) < 0 else 1.0
        return sign * by_steps(signed_height_mm, points_mm)
    if kind is MeasurementKind.PERIMETER and not is_ellipse(kind, drawing, len(points_mm)):
        closed = _of_length(np.vstack([points_mm, points_mm[:1]])) if _is_open(points_mm) else _of_length(points_mm)
        return _joined(closed, len(points_mm))
    return by_steps(lambda moved_mm: computed_value(kind, moved_mm, drawing), points_mm)


def by_steps(value_of: Callable[[Floats], float], points_mm: Floats) -> Floats:
    """Return how a value changes where a point moves, by central differences.

    Parameters
    ----------
    value_of : callable
        Points in mm, shape (n, 2), to the value.
    """
    slopes = np.zeros_like(points_mm)
    for place in np.ndindex(points_mm.shape):
        ahead, behind = points_mm.copy(), points_mm.copy()
        ahead[place] += _STEP_MM
        behind[place] -= _STEP_MM
        slopes[place] = (value_of(ahead) - value_of(behind)) / (2 * _STEP_MM)
    return slopes


def _is_open(points_mm: Floats) -> bool:
    return not bool(np.all(points_mm[0] == points_mm[-1]))


def _joined(slopes: Floats, count: int) -> Floats:
    """Return slopes of `count` points where the last one given is the first one again."""
    if len(slopes) == count:
        return slopes
    joined = slopes[:-1].copy()
    joined[0] += slopes[-1]
    return joined


def _of_length(points_mm: Floats) -> Floats:
    steps = np.diff(points_mm, axis=0)
    towards = steps / np.linalg.norm(steps, axis=1, keepdims=True)
    slopes = np.zeros_like(points_mm)
    slopes[:-1] -= towards
    slopes[1:] += towards
    return slopes


def _of_angle(points_mm: Floats) -> Floats:
    first, vertex, last = points_mm
    at_first, at_last = _turn(first - vertex), _turn(last - vertex)
    signed = np.cross(np.append(first - vertex, 0.0), np.append(last - vertex, 0.0))[2]
    sign = -1.0 if signed < 0 else 1.0
    return np.degrees(sign * np.array([-at_first, at_first - at_last, at_last]))


def _turn(arm: Floats) -> Floats:
    """Return how the direction of an arm changes, in radians for each mm of its end."""
    turned: Floats = np.array([-arm[1], arm[0]]) / float(np.dot(arm, arm))
    return turned


def _of_area(points_mm: Floats) -> Floats:
    x, y = points_mm.T
    signed = float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    sign = -1.0 if signed < 0 else 1.0
    across = np.roll(points_mm, -1, axis=0) - np.roll(points_mm, 1, axis=0)
    slopes: Floats = sign * np.column_stack([across[:, 1], -across[:, 0]]) / 2
    return slopes
