"""Lengths, angles and areas from points in millimetres."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gateway.errors.measurement import PointCountError, PointsCoincideError
from gateway.model.measurement import MeasurementKind, Unit


def path_length_mm(points_mm: NDArray[np.float64]) -> float:
    """Length of the line through the points, shape (n, 2)."""
    return float(np.sum(np.linalg.norm(np.diff(points_mm, axis=0), axis=1)))


def angle_deg(points_mm: NDArray[np.float64]) -> float:
    """Angle at the middle one of three points, 0 to 180 degrees."""
    first, vertex, last = points_mm
    arms = first - vertex, last - vertex
    cross = arms[0][0] * arms[1][1] - arms[0][1] * arms[1][0]
    return float(np.degrees(np.abs(np.arctan2(cross, np.dot(*arms)))))


def polygon_area_mm2(points_mm: NDArray[np.float64]) -> float:
    """Area inside a closed outline by the surveyor's formula; the last point joins the first."""
    x, y = points_mm.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


@dataclass(frozen=True, slots=True)
class QuantityRule:
    """How one kind of measurement is computed.

    Parameters
    ----------
    fewest, most : int
        Allowed number of points.
    unit : Unit
        Of the computed value.
    compute : callable
        Points in mm, shape (n, 2), to the value.
    """

    fewest: int
    most: int
    unit: Unit
    compute: Callable[[NDArray[np.float64]], float]


_MANY = 10_000


def quantity_rule(kind: MeasurementKind) -> QuantityRule:
    """Return how `kind` is computed from its points."""
    if kind is MeasurementKind.ANGLE:
        return QuantityRule(3, 3, Unit.DEG, angle_deg)
    if kind is MeasurementKind.AREA:
        return QuantityRule(3, _MANY, Unit.MM2, polygon_area_mm2)
    if kind is MeasurementKind.PATH_LENGTH:
        return QuantityRule(2, _MANY, Unit.MM, path_length_mm)
    return QuantityRule(2, 2, Unit.MM, path_length_mm)


def computed_value(kind: MeasurementKind, points_mm: NDArray[np.float64]) -> float:
    """Compute a measurement from its points in millimetres, in the unit of its rule.

    Raises
    ------
    PointCountError, PointsCoincideError
        For the wrong number of points, or two neighbours on the same spot.
    """
    rule = quantity_rule(kind)
    if not rule.fewest <= len(points_mm) <= rule.most:
        raise PointCountError(f"{kind.words} needs {rule.fewest} points or more", was=str(len(points_mm)))
    if np.any(np.all(np.diff(points_mm, axis=0) == 0, axis=1)):
        raise PointsCoincideError(f"two points of this {kind.words} lie on the same spot")
    return rule.compute(points_mm)


_PER_BASE_UNIT = {Unit.MM: 1.0, Unit.CM: 0.1, Unit.UM: 1000.0, Unit.MM2: 1.0, Unit.CM2: 0.01, Unit.DEG: 1.0}
_DIMENSION = {
    Unit.MM: "length",
    Unit.CM: "length",
    Unit.UM: "length",
    Unit.MM2: "area",
    Unit.CM2: "area",
    Unit.DEG: "angle",
}


def measures(kind: MeasurementKind, unit: Unit) -> bool:
    """Whether a value of this kind can be given in this unit."""
    return _DIMENSION[quantity_rule(kind).unit] == _DIMENSION[unit]


def in_unit(value: float, unit: Unit) -> float:
    """Express a value computed in mm, mm2 or degrees in another unit of the same dimension."""
    return value * _PER_BASE_UNIT[unit]


def between_units(value: float, stated: Unit, wanted: Unit) -> float:
    """Express a value of one unit in another of the same dimension."""
    return value / _PER_BASE_UNIT[stated] * _PER_BASE_UNIT[wanted]
