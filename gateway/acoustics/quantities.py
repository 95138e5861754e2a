"""Lengths, angles and areas from points in millimetres."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.outlines import (
    corners_of,
    ellipse_area_mm2,
    ellipse_perimeter_mm,
    polygon_area_mm2,
    polygon_perimeter_mm,
    require_ellipse,
    require_outline,
)
from gateway.errors.measurement import PointCountError, PointsCoincideError, SphereDiameterError
from gateway.model.measurement import Measurement, MeasurementKind, Shape, ThirdDimension, Unit


def path_length_mm(points_mm: NDArray[np.float64]) -> float:
    """Length of the line through the points, shape (n, 2)."""
    return float(np.sum(np.linalg.norm(np.diff(points_mm, axis=0), axis=1)))


def angle_deg(points_mm: NDArray[np.float64]) -> float:
    """Angle at the middle one of three points, 0 to 180 degrees."""
    first, vertex, last = points_mm
    arms = first - vertex, last - vertex
    cross = arms[0][0] * arms[1][1] - arms[0][1] * arms[1][0]
    return float(np.degrees(np.abs(np.arctan2(cross, np.dot(*arms)))))


def perpendicular_height_mm(points_mm: NDArray[np.float64]) -> float:
    """Distance of the third point from the line through the first two, also where its foot lies beyond them."""
    return abs(signed_height_mm(points_mm))


def signed_height_mm(points_mm: NDArray[np.float64]) -> float:
    """Perpendicular height with its sign: negative on one side of the chord."""
    chord = points_mm[1] - points_mm[0]
    to_top = points_mm[2] - points_mm[0]
    return float((chord[0] * to_top[1] - chord[1] * to_top[0]) / np.linalg.norm(chord))


def foot_on_chord(points_mm: NDArray[np.float64]) -> float:
    """Where the foot of a perpendicular height stands on its chord: 0 at the first end, 1 at the second."""
    chord = points_mm[1] - points_mm[0]
    return float(np.dot(points_mm[2] - points_mm[0], chord) / np.dot(chord, chord))


def arc_mm(chord_mm: float, sphere_diameter_mm: float) -> float:
    """Length along the great circle over a chord: ``2 R asin(c / 2R)``.

    Raises
    ------
    SphereDiameterError
        If the chord is longer than the sphere's diameter.
    """
    return sphere_diameter_mm * math.asin(_share(chord_mm, sphere_diameter_mm))


def two_chords_mm(chord_mm: float, sphere_diameter_mm: float) -> float:
    """Length of two equal chords over the middle of the arc: ``4 R sin(asin(c / 2R) / 2)``.

    Raises
    ------
    SphereDiameterError
    """
    return 2 * sphere_diameter_mm * math.sin(math.asin(_share(chord_mm, sphere_diameter_mm)) / 2)


def sagitta_mm(chord_mm: float, sphere_diameter_mm: float) -> float:
    """Height of the arc above its chord: ``R - sqrt(R^2 - c^2 / 4)``.

    Raises
    ------
    SphereDiameterError
    """
    share = _share(chord_mm, sphere_diameter_mm)
    return sphere_diameter_mm / 2 * (1 - math.sqrt(1 - share**2))


SMALLEST_SPHERE_MM, LARGEST_SPHERE_MM = 5.0, 50.0
"""Outside this range the diameter of an eye is taken for a slip; adults' eyes measure 20 to 30 mm, the smallest of
newborns about 15 (common practice)."""


def _share(chord_mm: float, sphere_diameter_mm: float) -> float:
    if not SMALLEST_SPHERE_MM <= sphere_diameter_mm <= LARGEST_SPHERE_MM:
        raise SphereDiameterError(
            "no eye has this diameter", was=f"{sphere_diameter_mm:g} mm", fix="write the diameter in millimetres"
        )
    if chord_mm > sphere_diameter_mm:
        raise SphereDiameterError(
            "the chord is longer than the sphere",
            was=f"{chord_mm:.2f} mm in {sphere_diameter_mm:g} mm",
            fix="look at points, scale and sphere_diameter_mm",
        )
    return chord_mm / sphere_diameter_mm


@dataclass(frozen=True, slots=True)
class Drawing:
    """How the points of a measurement are to be read, beyond its kind.

    Parameters
    ----------
    shape : Shape
        Of an area or a perimeter.
    sphere_diameter_mm : float or None
        Of the sphere on which a base along the wall is taken.
    """

    shape: Shape = Shape.POLYGON
    sphere_diameter_mm: float | None = None


PLAIN = Drawing()


def drawing_of(measurement: Measurement) -> Drawing:
    """Return how the points of a measurement are to be read."""
    return Drawing(measurement.shape or Shape.POLYGON, measurement.sphere_diameter_mm)


def is_ellipse(kind: MeasurementKind, drawing: Drawing, point_count: int) -> bool:
    """Whether the points are those of an ellipse."""
    if kind is MeasurementKind.CIRCUMFERENCE:
        return point_count > 2
    return kind in OUTLINED and drawing.shape is Shape.ELLIPSE


OUTLINED = frozenset({MeasurementKind.AREA, MeasurementKind.PERIMETER})
ON_SPHERE = frozenset({MeasurementKind.ARC_BASE, MeasurementKind.TWO_CHORD_BASE})
"""Kinds that can be computed on a sphere of stated diameter."""
VOLUMES = frozenset({MeasurementKind.ELLIPSOID_VOLUME, MeasurementKind.HALF_ELLIPSOID_VOLUME})
DERIVED_ALONE = VOLUMES | {MeasurementKind.RATIO}
"""Kinds that have no points of their own."""
DERIVABLE = DERIVED_ALONE | {MeasurementKind.ARC_BASE, MeasurementKind.TWO_CHORD_BASE, MeasurementKind.CIRCUMFERENCE}
"""Kinds that can be computed from other measurements."""


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
        Points in mm, shape (n, 2), and how they are to be read, to the value.
    """

    fewest: int
    most: int
    unit: Unit
    compute: Callable[[NDArray[np.float64], Drawing], float]

    @property
    def points_words(self) -> str:
        """How many points belong to it, in words."""
        if self.most == 0:
            return "none"
        if self.most - self.fewest < 2:
            return " or ".join(dict.fromkeys((str(self.fewest), str(self.most))))
        return f"{self.fewest} to {self.most}" if self.most < _MANY else f"{self.fewest} or more"


_MANY = 10_000


def quantity_rule(kind: MeasurementKind, drawing: Drawing = PLAIN) -> QuantityRule:
    """Return how `kind` is computed from its points."""
    if kind in OUTLINED and drawing.shape is Shape.ELLIPSE:
        return _ELLIPSE_RULES[kind]
    if kind is MeasurementKind.TWO_CHORD_BASE and drawing.sphere_diameter_mm is not None:
        return QuantityRule(2, 2, Unit.MM, _two_chords)
    return _RULES.get(kind, QuantityRule(2, 2, Unit.MM, _length))


def _length(points_mm: NDArray[np.float64], _drawing: Drawing) -> float:
    return path_length_mm(points_mm)


def _circumference(points_mm: NDArray[np.float64], _drawing: Drawing) -> float:
    return ellipse_perimeter_mm(points_mm) if len(points_mm) > 2 else math.pi * path_length_mm(points_mm)


def _arc(points_mm: NDArray[np.float64], drawing: Drawing) -> float:
    return arc_mm(path_length_mm(points_mm), _stated_sphere(drawing))


def _two_chords(points_mm: NDArray[np.float64], drawing: Drawing) -> float:
    return two_chords_mm(path_length_mm(points_mm), _stated_sphere(drawing))


def _stated_sphere(drawing: Drawing) -> float:
    if drawing.sphere_diameter_mm is None:
        raise SphereDiameterError(
            "the sphere on which the base is taken is not stated", fix="write sphere_diameter_mm, usually the eye's own"
        )
    return drawing.sphere_diameter_mm


def _without_points(_points_mm: NDArray[np.float64], _drawing: Drawing) -> float:
    raise PointCountError("this kind is computed from other measurements", fix="name them with of:")


_RULES: Mapping[MeasurementKind, QuantityRule] = {
    MeasurementKind.ANGLE: QuantityRule(3, 3, Unit.DEG, lambda points, _drawing: angle_deg(points)),
    MeasurementKind.AREA: QuantityRule(3, _MANY, Unit.MM2, lambda points, _drawing: polygon_area_mm2(points)),
    MeasurementKind.PERIMETER: QuantityRule(3, _MANY, Unit.MM, lambda points, _drawing: polygon_perimeter_mm(points)),
    MeasurementKind.PATH_LENGTH: QuantityRule(2, _MANY, Unit.MM, _length),
    MeasurementKind.PERPENDICULAR_HEIGHT: QuantityRule(
        3, 3, Unit.MM, lambda points, _drawing: perpendicular_height_mm(points)
    ),
    MeasurementKind.CIRCUMFERENCE: QuantityRule(2, 4, Unit.MM, _circumference),
    MeasurementKind.ARC_BASE: QuantityRule(2, 2, Unit.MM, _arc),
    MeasurementKind.TWO_CHORD_BASE: QuantityRule(3, 3, Unit.MM, _length),
    MeasurementKind.ELLIPSOID_VOLUME: QuantityRule(0, 0, Unit.MM3, _without_points),
    MeasurementKind.HALF_ELLIPSOID_VOLUME: QuantityRule(0, 0, Unit.MM3, _without_points),
    MeasurementKind.RATIO: QuantityRule(0, 0, Unit.ONE, _without_points),
}
_ELLIPSE_RULES: Mapping[MeasurementKind, QuantityRule] = {
    MeasurementKind.AREA: QuantityRule(3, 4, Unit.MM2, lambda points, _drawing: ellipse_area_mm2(points)),
    MeasurementKind.PERIMETER: QuantityRule(3, 4, Unit.MM, lambda points, _drawing: ellipse_perimeter_mm(points)),
}


def equation_of(kind: MeasurementKind, drawing: Drawing, point_count: int) -> str:
    """Say how the value follows from its points, where the kind alone does not say it; else empty."""
    if is_ellipse(kind, drawing, point_count):
        ellipse = "of the ellipse with these axes"
        return f"pi a b {ellipse}, a and b half axes" if kind is MeasurementKind.AREA else f"circumference {ellipse}"
    if kind is MeasurementKind.CIRCUMFERENCE:
        return "pi d, of a sphere with diameter d"
    if drawing.sphere_diameter_mm is None or kind not in ON_SPHERE:
        return "sum of both chords" if kind is MeasurementKind.TWO_CHORD_BASE else ""
    return SPHERE_EQUATIONS[kind].format(f"R = {drawing.sphere_diameter_mm / 2:g} mm as stated")


SPHERE_EQUATIONS = {
    MeasurementKind.ARC_BASE: "2 R asin(c / 2R) over the chord c on a sphere, {}",
    MeasurementKind.TWO_CHORD_BASE: "4 R sin(asin(c / 2R) / 2) over the chord c on a sphere, {}",
}


def assumptions_of(measurement: Measurement) -> tuple[str, ...]:
    """Say what the value takes for granted, as what its uncertainty leaves out."""
    said = []
    if measurement.kind in VOLUMES:
        said.append("shape (taken as an ellipsoid)")
    if measurement.third_dimension is not None:
        said.append(f"the dimension that was not measured (taken {third_words(measurement.third_dimension)})")
    if measurement.kind in ON_SPHERE and (measurement.sphere_diameter_mm is not None or measurement.of):
        said.append("shape of the wall (taken as a sphere)")
    if measurement.sphere_diameter_mm is not None:
        said.append("diameter of the sphere (as stated)")
    return tuple(said)


def third_words(third: ThirdDimension) -> str:
    """Say how a dimension that was not measured is taken."""
    return third.value.replace("-", " ").replace("mean of", "as the mean of")


def remarks_on(kind: MeasurementKind, points_mm: NDArray[np.float64]) -> tuple[str, ...]:
    """Say what a reader must know of a computed value."""
    if kind is MeasurementKind.PERPENDICULAR_HEIGHT and not 0 <= foot_on_chord(points_mm) <= 1:
        return ("the foot of the height lies beyond the ends of its chord",)
    return ()


def computed_value(kind: MeasurementKind, points_mm: NDArray[np.float64], drawing: Drawing = PLAIN) -> float:
    """Compute a measurement from its points in millimetres, in the unit of its rule.

    Raises
    ------
    PointCountError, PointsCoincideError
        For the wrong number of points, or two neighbours on the same spot.
    SphereDiameterError
        For a base along the wall on a sphere that is not stated or too small.
    """
    rule = quantity_rule(kind, drawing)
    if not rule.fewest <= len(points_mm) <= rule.most:
        raise PointCountError(f"{kind.words} needs {rule.points_words} points", was=str(len(points_mm)))
    if np.any(np.all(np.diff(points_mm, axis=0) == 0, axis=1)):
        raise PointsCoincideError(f"two points of this {kind.words} lie on the same spot")
    return rule.compute(points_mm, drawing)


def require_sound(kind: MeasurementKind, points_mm: NDArray[np.float64], drawing: Drawing = PLAIN) -> None:
    """Refuse points, as they were drawn, that no such measurement can have.

    Raises
    ------
    PointsOnOneLineError, SelfCrossingOutlineError, EllipseAxesError
        For an outline without an area, one that crosses itself, or axes that are none.
    PointsCoincideError
        For two points of one axis, or the two ends of a chord, on the same spot.
    """
    if is_ellipse(kind, drawing, len(points_mm)):
        require_ellipse(points_mm)
    elif kind in OUTLINED:
        corners = corners_of(points_mm)
        if len(corners) < 3:
            raise PointCountError(f"{kind.words} needs three corners or more", was=str(len(corners)))
        require_outline(corners)
    elif kind is MeasurementKind.TWO_CHORD_BASE and bool(np.all(points_mm[0] == points_mm[-1])):
        raise PointsCoincideError("both ends of this two chord base lie on the same spot")


_UNITS: Mapping[Unit, tuple[str, float]] = {
    Unit.MM: ("length", 1.0),
    Unit.CM: ("length", 0.1),
    Unit.UM: ("length", 1000.0),
    Unit.MM2: ("area", 1.0),
    Unit.CM2: ("area", 0.01),
    Unit.MM3: ("volume", 1.0),
    Unit.CM3: ("volume", 0.001),
    Unit.DEG: ("angle", 1.0),
    Unit.ONE: ("ratio", 1.0),
}
"""Dimension of each unit, and how many of it go into the one that values are computed in."""


def dimension_of(unit: Unit) -> str:
    """Return what a unit measures, e.g. ``length``."""
    return _UNITS[unit][0]


def measures(kind: MeasurementKind, unit: Unit) -> bool:
    """Whether a value of this kind can be given in this unit."""
    return dimension_of(quantity_rule(kind).unit) == dimension_of(unit)


def in_unit(value: float, unit: Unit) -> float:
    """Express a value computed in mm, mm2, mm3 or degrees in another unit of the same dimension."""
    return value * _UNITS[unit][1]


def between_units(value: float, stated: Unit, wanted: Unit) -> float:
    """Express a value of one unit in another of the same dimension."""
    return value / _UNITS[stated][1] * _UNITS[wanted][1]
