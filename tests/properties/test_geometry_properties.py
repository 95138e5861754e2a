"""Whatever the picture: beams there and back, layers that add up, and values that do not hang on how it is turned."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gateway.acoustics.beam_coordinates import BeamCoordinates, beam_coordinates, picture_points
from gateway.acoustics.beams import for_other_speed_mm
from gateway.acoustics.media_paths import through_media_mm
from gateway.acoustics.quantities import Drawing, arc_mm, computed_value, quantity_rule, two_chords_mm
from gateway.acoustics.sensitivity import by_steps, gradient
from gateway.model.calibration import Calibration, DepthAxis, Geometry, Point, SectorGeometry
from gateway.model.measurement import MeasurementKind, Medium, Shape, TissueSpeed, Unit

axes = st.sampled_from(DepthAxis)
pixels = st.floats(0.02, 0.4)
speeds = st.floats(500.0, 3000.0)
angles = st.floats(-60, 60)
depths = st.floats(0.1, 50)


@st.composite
def calibrations(draw) -> Calibration:
    axis = draw(axes)
    scale = draw(pixels), draw(pixels)
    if draw(st.booleans()):
        return Calibration(*scale, axis, None, 1550.0, geometry=Geometry.LINEAR)
    pivot = Point(draw(st.floats(-500, 500)), draw(st.floats(-500, 500)))
    return Calibration(*scale, axis, SectorGeometry(pivot, draw(st.floats(0, 30)), 120.0), 1550.0)


@st.composite
def places(draw, calibration: Calibration, count: int) -> np.ndarray:
    """Points in pixels in front of the face, by depth and beam."""
    depth = np.array([draw(depths) for _ in range(count)])
    across = np.array([draw(angles) for _ in range(count)])
    return picture_points(BeamCoordinates(depth, across), calibration)


@given(st.data(), calibrations())
def test_to_the_beams_and_back_is_the_same_point(data, calibration):
    points = data.draw(places(calibration, 5))
    there = beam_coordinates(points, calibration)
    back = picture_points(there, calibration)
    assert back == pytest.approx(points, rel=1e-9, abs=1e-7)
    again = beam_coordinates(back, calibration)
    assert again.depth_mm == pytest.approx(there.depth_mm, abs=1e-7)


@given(st.data(), calibrations(), speeds)
def test_another_speed_and_back_is_the_same_point(data, calibration, speed):
    """Move to the new speed, call that the device's, and move back: the first points in millimetres."""
    points = data.draw(places(calibration, 3))
    scale = np.array([calibration.mm_per_pixel_x, calibration.mm_per_pixel_y])
    there = for_other_speed_mm(points, calibration, speed) / scale
    now_assumed = Calibration(*scale, calibration.depth_axis, calibration.sector, speed, geometry=calibration.geometry)
    back = for_other_speed_mm(there, now_assumed, 1550.0)
    assert back == pytest.approx(points * scale, rel=1e-7, abs=1e-6)


@given(calibrations(), angles, depths, depths, speeds, speeds)
def test_along_a_beam_the_length_grows_by_the_ratio_of_the_speeds(calibration, beam, near, far, speed, faster):
    assume(abs(near - far) > 0.01)
    ends = picture_points(BeamCoordinates(np.array([near, far]), np.array([beam, beam])), calibration)
    lengths = [np.linalg.norm(np.diff(for_other_speed_mm(ends, calibration, v), axis=0)) for v in (speed, faster)]
    assert lengths[0] == pytest.approx(abs(near - far) * speed / 1550.0, rel=1e-6)
    assert lengths[1] / lengths[0] == pytest.approx(faster / speed, rel=1e-6)


@given(calibrations(), angles, st.lists(st.tuples(st.floats(0.1, 10), speeds), min_size=1, max_size=5))
def test_layers_along_a_beam_add_up(calibration, beam, layers):
    """The whole way is the sum of each layer's shown thickness times its own speed ratio, however they are cut."""
    borders = np.cumsum([thickness for thickness, _speed in layers])
    line = picture_points(BeamCoordinates(borders, np.full(len(borders), beam)), calibration)
    media = [
        Medium(TissueSpeed(speed, "", ""), () if number == 0 else (Point(*map(float, line[number - 1])),))
        for number, (_thickness, speed) in enumerate(layers)
    ]
    whole = through_media_mm(line[-1:], calibration, media)
    face = picture_points(BeamCoordinates(np.zeros(1), np.array([beam])), calibration)
    start = through_media_mm(face, calibration, media)
    expected = sum(thickness * speed / 1550.0 for thickness, speed in layers)
    assert float(np.linalg.norm(whole - start)) == pytest.approx(expected, rel=1e-6)


@given(st.data(), calibrations(), speeds, depths)
def test_cutting_one_medium_in_two_changes_nothing(data, calibration, speed, at):
    points = data.draw(places(calibration, 3))
    border = picture_points(BeamCoordinates(np.array(at), np.array(0.0)), calibration)
    tissue = TissueSpeed(speed, "", "")
    cut = through_media_mm(points, calibration, [Medium(tissue), Medium(tissue, (Point(*map(float, border)),))])
    assert cut == pytest.approx(for_other_speed_mm(points, calibration, speed), rel=1e-7, abs=1e-6)


COUNTS = {
    MeasurementKind.ANGLE: 3,
    MeasurementKind.PERPENDICULAR_HEIGHT: 3,
    MeasurementKind.TWO_CHORD_BASE: 3,
    MeasurementKind.AREA: 4,
    MeasurementKind.PERIMETER: 4,
    MeasurementKind.CIRCUMFERENCE: 4,
    MeasurementKind.PATH_LENGTH: 5,
}
with_points = st.sampled_from([kind for kind in MeasurementKind if quantity_rule(kind).most])
corners = st.tuples(st.floats(-20, 20), st.floats(-20, 20))


@st.composite
def drawn(draw):
    kind = draw(with_points)
    shape = draw(st.sampled_from(Shape)) if kind in {MeasurementKind.AREA, MeasurementKind.PERIMETER} else Shape.POLYGON
    sphere = 50.0 if kind is MeasurementKind.ARC_BASE else None
    count = COUNTS.get(kind, 2)
    points = np.array(draw(st.lists(corners, min_size=count, max_size=count)))
    assume(all(np.linalg.norm(a - b) > 0.5 for i, a in enumerate(points) for b in points[:i]))
    if kind is MeasurementKind.ARC_BASE:
        assume(np.linalg.norm(points[1] - points[0]) < 45)
    return kind, points, Drawing(shape, sphere)


@given(drawn(), st.floats(0, 2 * math.pi), corners)
def test_turning_and_shifting_the_picture_changes_no_value(measured, turn, shift):
    kind, points, drawing = measured
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    # The circumference of flat ellipses and the arccosine near 180 degrees lose digits, not meaning.
    assert computed_value(kind, points @ rotation.T + np.array(shift), drawing) == pytest.approx(
        computed_value(kind, points, drawing), rel=1e-6, abs=1e-5
    )


@given(drawn(), st.floats(0.3, 0.99))
def test_a_smaller_picture_gives_smaller_values_by_their_dimension(measured, factor):
    kind, points, drawing = measured
    assume(kind is not MeasurementKind.ARC_BASE)
    power = {Unit.MM: 1, Unit.MM2: 2, Unit.DEG: 0}[quantity_rule(kind, drawing).unit]
    assert computed_value(kind, points * factor, drawing) == pytest.approx(
        computed_value(kind, points, drawing) * factor**power, rel=1e-7, abs=1e-7
    )


@given(drawn())
def test_the_slopes_of_every_kind_are_those_of_small_steps(measured):
    kind, points, drawing = measured
    value = computed_value(kind, points, drawing)
    assume(kind is not MeasurementKind.ANGLE or 2 < value < 178)
    assume(kind not in {MeasurementKind.AREA, MeasurementKind.PERPENDICULAR_HEIGHT} or value > 0.01)
    assert gradient(kind, points, drawing) == pytest.approx(
        by_steps(lambda moved: computed_value(kind, moved, drawing), points), rel=1e-4, abs=1e-5
    )


@given(st.floats(0.01, 24), st.floats(24, 50))
def test_an_arc_is_longer_than_two_chords_and_those_than_one(chord, diameter):
    assert chord < two_chords_mm(chord, diameter) < arc_mm(chord, diameter) or chord / diameter < 1e-3
    assert arc_mm(chord, diameter) <= math.pi / 2 * diameter * (1 + 1e-12)
