"""How a measured value follows its points: the sensitivity coefficients of JCGM 100:2008 5.1.3."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gateway.model.measurement import MeasurementKind

Floats = NDArray[np.float64]


def gradient(kind: MeasurementKind, points_mm: Floats) -> Floats:
    """Return how the value changes where a point moves.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 2)
        Neighbours on different spots, as `quantities.computed_value` asks.

    Returns
    -------
    ndarray, shape (n, 2)
        Value (mm, degrees or mm2) for each millimetre in x and y. Where arms of an angle lie on one line its absolute
        value has a kink; the slope given is the one on either side of it.
    """
    if kind is MeasurementKind.ANGLE:
        return _of_angle(points_mm)
    if kind is MeasurementKind.AREA:
        return _of_area(points_mm)
    return _of_length(points_mm)


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
