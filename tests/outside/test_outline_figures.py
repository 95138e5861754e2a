"""Outlines, ellipses and heights against other people's geometry: shapely (GEOS), scikit-image, SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.special import ellipe
from shapely import LineString, Polygon
from shapely import Point as Place
from skimage.draw import ellipse as drawn_ellipse
from skimage.draw import polygon as drawn_polygon
from skimage.measure import label, perimeter_crofton, regionprops

from gateway.acoustics.outlines import (
    ellipse_area_mm2,
    ellipse_axis_ends,
    ellipse_outline,
    ellipse_perimeter_mm,
    polygon_area_mm2,
    polygon_perimeter_mm,
    require_outline,
)
from gateway.acoustics.quantities import perpendicular_height_mm
from gateway.errors.measurement import MeasurementError, SelfCrossingOutlineError

whole = st.integers(0, 12)
corners = st.lists(st.tuples(whole, whole), min_size=3, max_size=9, unique=True)


@given(corners)
def test_area_and_perimeter_are_those_of_geos(points):
    outline = np.array(points, dtype=np.float64)
    theirs = Polygon(points)
    assert polygon_perimeter_mm(outline) == pytest.approx(theirs.exterior.length, rel=1e-12)
    if theirs.is_valid:
        assert polygon_area_mm2(outline) == pytest.approx(theirs.area, rel=1e-12, abs=1e-12)


@given(corners)
def test_an_outline_is_refused_exactly_where_geos_calls_it_not_simple(points):
    theirs = Polygon(points)
    try:
        require_outline(np.array(points, dtype=np.float64))
    except MeasurementError as error:
        assert not theirs.is_valid or theirs.area == 0
        if isinstance(error, SelfCrossingOutlineError):
            assert not LineString([*points, points[0]]).is_simple
    else:
        assert theirs.is_valid


@given(st.floats(0.1, 30), st.floats(0.1, 30), st.floats(0, 2 * math.pi))
def test_an_ellipse_turned_anyhow_has_the_perimeter_of_the_elliptic_integral(a, b, turn):
    one, other = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    axes = np.array([a * one, -a * one, b * other, -b * other])
    long, short = max(a, b), min(a, b)
    assert ellipse_perimeter_mm(axes) == pytest.approx(4 * long * ellipe(1 - (short / long) ** 2), rel=1e-10)
    assert ellipse_area_mm2(axes) == pytest.approx(math.pi * a * b, rel=1e-10)


def test_a_drawn_ellipse_has_the_area_and_axes_that_scikit_image_counts():
    picture = np.zeros((400, 500), dtype=np.uint8)
    rows, columns = drawn_ellipse(200, 250, 80, 150, rotation=0.4)
    picture[rows, columns] = 1
    (region,) = regionprops(label(picture))
    # Its orientation counts from the rows' axis.
    along = np.array([math.sin(region.orientation), math.cos(region.orientation)])
    across = np.array([along[1], -along[0]])
    axes = np.array([along * 150, -along * 150, across * 80, -across * 80])
    assert ellipse_area_mm2(axes) == pytest.approx(region.area, rel=0.002)
    assert 2 * np.linalg.norm(axes[0]) == pytest.approx(region.axis_major_length, rel=0.005)
    # Crofton's estimate counts crossings of pixel lines, good to about a percent.
    assert ellipse_perimeter_mm(axes) == pytest.approx(perimeter_crofton(picture), rel=0.01)


def test_a_drawn_outline_has_the_area_that_scikit_image_counts():
    outline = np.array([(40, 60), (300, 30), (420, 200), (260, 330), (210, 180), (90, 300)], dtype=np.float64)
    picture = np.zeros((400, 500), dtype=np.uint8)
    picture[drawn_polygon(outline[:, 1], outline[:, 0])] = 1
    assert polygon_area_mm2(outline) == pytest.approx(float(picture.sum()), rel=0.01)


@given(st.floats(0.02, 0.5), st.floats(0.02, 0.5), st.floats(0, math.pi), st.floats(1, 15), st.floats(1, 15))
def test_the_axes_on_oblong_pixels_are_those_of_the_same_ellipse(pixel_x, pixel_y, turn, a, b):
    """Drawn in millimetres, written in pixels, read back by the rule of ELLIPSE: every point lies on the same curve."""
    one, other = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    scale = np.array([pixel_x, pixel_y])
    in_pixels = np.array([a * one, -a * one, b * other, -b * other]) / scale
    ends = ellipse_axis_ends(in_pixels)
    long, short = ends[1] - ends[0], ends[3] - ends[2]
    assert np.linalg.norm(long) >= np.linalg.norm(short)
    assert abs(np.dot(long, short)) <= 1e-9 * np.linalg.norm(long) * np.linalg.norm(short)
    back_mm = ellipse_outline(ends) * scale
    on_curve = (back_mm @ one / a) ** 2 + (back_mm @ other / b) ** 2
    assert on_curve == pytest.approx(np.ones(len(back_mm)), rel=1e-7)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=3, max_size=3))
def test_a_perpendicular_height_is_the_distance_from_a_long_line(points):
    first, last, top = (np.array(p) for p in points)
    chord = last - first
    assume(np.linalg.norm(chord) > 1)
    far = LineString([first - 1000 * chord, last + 1000 * chord])
    ours = perpendicular_height_mm(np.array([first, last, top]))
    assert ours == pytest.approx(Place(*top).distance(far), rel=1e-9, abs=1e-7)
