"""Kinds with points of their own beyond plain lengths, and points that none of them can have."""

from __future__ import annotations

import math

import pytest

from gateway.acoustics.measure import measured_value
from gateway.errors.measurement import (
    EllipseAxesError,
    PointCountError,
    PointsCoincideError,
    PointsOnOneLineError,
    SelfCrossingOutlineError,
    SphereDiameterError,
)
from gateway.model.calibration import Calibration, DepthAxis, Geometry, Point
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, Shape, TissueSpeed, Unit

KIND = MeasurementKind
OBLONG = Calibration(0.1, 0.2, DepthAxis.LEFT_TO_RIGHT, None, 1550.0, geometry=Geometry.LINEAR)


def value_of(kind: MeasurementKind, *points_mm: tuple[float, float], **more):
    """Measure points given in millimetres, on pixels twice as high as wide."""
    points = tuple(Point(x / 0.1, y / 0.2) for x, y in points_mm)
    return measured_value(Measurement("m", "c", kind, points=points, **more), OBLONG)


AXES = ((2, 10), (12, 10), (7, 7), (7, 13))
"""An ellipse 10 mm by 6 mm, the ends of its axes."""


def test_a_perpendicular_height_stands_on_the_line_through_both_ends_of_its_chord():
    value = value_of(KIND.PERPENDICULAR_HEIGHT, (0, 0), (10, 0), (4, 6))
    assert value.value.value == pytest.approx(6.0)
    assert value.remarks == ()


def test_a_foot_beyond_the_chord_is_allowed_and_said():
    value = value_of(KIND.PERPENDICULAR_HEIGHT, (0, 0), (10, 0), (12, 6))
    assert value.value.value == pytest.approx(6.0)
    assert value.remarks == ("the foot of the height lies beyond the ends of its chord",)


@pytest.mark.parametrize("points", [AXES, ((7, 10), (12, 10), (7, 13))], ids=["four ends", "centre and two ends"])
def test_an_ellipse_is_the_same_by_its_axes_and_by_its_centre(points):
    assert value_of(KIND.AREA, *points, shape=Shape.ELLIPSE).value.value == pytest.approx(math.pi * 15)
    perimeter = value_of(KIND.PERIMETER, *points, shape=Shape.ELLIPSE).value.value
    # Ramanujan's second approximation, good to 1e-9 at this shape (from memory).
    h = ((5 - 3) / (5 + 3)) ** 2
    assert perimeter == pytest.approx(math.pi * 8 * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h))), rel=1e-8)
    assert value_of(KIND.CIRCUMFERENCE, *points).value.value == pytest.approx(perimeter)


def test_an_ellipse_says_its_equation_and_a_polygon_needs_none():
    assert "half axes" in value_of(KIND.AREA, *AXES, shape=Shape.ELLIPSE).equation
    assert value_of(KIND.AREA, (0, 0), (10, 0), (0, 10)).equation == ""


def test_two_points_of_a_circumference_are_the_diameter_of_a_sphere():
    value = value_of(KIND.CIRCUMFERENCE, (0, 0), (6, 8))
    assert value.value.value == pytest.approx(10 * math.pi)
    assert value.equation == "pi d, of a sphere with diameter d"


def test_a_perimeter_closes_its_outline():
    triangle = ((0, 0), (3, 0), (0, 4))
    assert value_of(KIND.PERIMETER, *triangle).value.value == pytest.approx(12.0)
    assert value_of(KIND.PERIMETER, *triangle, (0, 0)).value.value == pytest.approx(12.0)
    assert value_of(KIND.AREA, *triangle, (0, 0)).value.value == pytest.approx(6.0)


def test_a_base_along_the_wall_is_longer_than_its_chord_by_the_sphere():
    ends = ((0, 0), (12, 0))
    arc = value_of(KIND.ARC_BASE, *ends, sphere_diameter_mm=24.0)
    assert arc.value.value == pytest.approx(4 * math.pi)
    assert "R = 12 mm as stated" in arc.equation
    assert "diameter of the sphere (as stated)" in arc.uncertainty.not_included
    two = value_of(KIND.TWO_CHORD_BASE, *ends, sphere_diameter_mm=24.0)
    assert two.value.value == pytest.approx(48 * math.sin(math.radians(15)))


def test_two_chords_over_a_point_on_the_wall_are_added():
    value = value_of(KIND.TWO_CHORD_BASE, (0, 0), (6, 1.5), (12, 0))
    assert value.value.value == pytest.approx(2 * math.hypot(6, 1.5))


def test_for_another_speed_an_ellipse_s_axes_move_along_the_beams():
    """In a linear picture depth alone follows: the area with it, exactly."""
    value = value_of(KIND.AREA, *AXES, shape=Shape.ELLIPSE, tissue_speed=TissueSpeed(1600.0, "tumour", "test"))
    assert value.corrected.quantity.value == pytest.approx(math.pi * 15 * 1600 / 1550)


def test_the_chord_of_a_corrected_arc_is_the_corrected_one_on_the_same_sphere():
    value = value_of(
        KIND.ARC_BASE, (0, 0), (12, 0), sphere_diameter_mm=24.0, tissue_speed=TissueSpeed(1600.0, "tumour", "test")
    )
    assert value.corrected.quantity.value == pytest.approx(24 * math.asin(12 * 1600 / 1550 / 24))


@pytest.mark.parametrize(
    ("kind", "points", "more", "error"),
    [
        (KIND.AREA, ((0, 0), (5, 5), (10, 10)), {}, PointsOnOneLineError),
        (KIND.PERIMETER, ((0, 0), (0, 4), (0, 9)), {}, PointsOnOneLineError),
        (KIND.AREA, ((0, 0), (10, 10), (10, 0), (0, 10)), {}, SelfCrossingOutlineError),
        (KIND.AREA, ((0, 0), (10, 0), (5, 5), (10, 10), (0, 10), (5, 5)), {}, SelfCrossingOutlineError),
        (KIND.AREA, ((0, 0), (10, 0), (4, 0), (4, 8)), {}, SelfCrossingOutlineError),
        (KIND.AREA, ((0, 0), (5, 0), (0, 0)), {}, PointCountError),
        (KIND.AREA, ((0, 0), (10, 0), (5, 5)), {"shape": Shape.ELLIPSE}, EllipseAxesError),
        (KIND.AREA, ((2, 10), (12, 10), (12, 7), (12, 13)), {"shape": Shape.ELLIPSE}, EllipseAxesError),
        (KIND.AREA, ((2, 10), (12, 10), (5, 10), (9, 10)), {"shape": Shape.ELLIPSE}, PointsOnOneLineError),
        (KIND.AREA, ((0, 0), (1, 0)), {"shape": Shape.ELLIPSE}, PointCountError),
        (KIND.PERPENDICULAR_HEIGHT, ((0, 0), (0, 0), (4, 6)), {}, PointsCoincideError),
        (KIND.TWO_CHORD_BASE, ((0, 0), (6, 1), (0, 0)), {}, PointsCoincideError),
        (KIND.ARC_BASE, ((0, 0), (12, 0)), {}, SphereDiameterError),
        (KIND.ARC_BASE, ((0, 0), (12, 0)), {"sphere_diameter_mm": 11.0}, SphereDiameterError),
        (KIND.ARC_BASE, ((0, 0), (12, 0)), {"sphere_diameter_mm": 240.0}, SphereDiameterError),
        (KIND.ARC_BASE, ((0, 0), (12, 0)), {"sphere_diameter_mm": -24.0}, SphereDiameterError),
        (KIND.RATIO, ((0, 0), (12, 0)), {}, PointCountError),
    ],
)
def test_points_that_no_such_measurement_can_have_raise_their_own_error(kind, points, more, error):
    with pytest.raises(error):
        value_of(kind, *points, **more)


def test_an_outline_that_only_comes_near_itself_is_no_crossing():
    horseshoe = ((0, 0), (10, 0), (10, 8), (6, 8), (6, 3), (4, 3), (4, 8), (0, 8))
    assert value_of(KIND.AREA, *horseshoe).value.value == pytest.approx(70.0)


def test_displayed_square_centimetres_are_compared_as_such():
    value = value_of(KIND.AREA, *AXES, shape=Shape.ELLIPSE, displayed=Quantity(0.471, Unit.CM2, "0.471"))
    assert value.recomputed.value == pytest.approx(0.4712, abs=1e-4)
