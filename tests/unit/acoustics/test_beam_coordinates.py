from __future__ import annotations

import numpy as np
import pytest

from gateway.acoustics.beam_coordinates import BeamCoordinates, beam_coordinates, picture_points
from gateway.acoustics.beams import corrected_lengths_mm, for_other_speed_mm
from gateway.errors.measurement import (
    CorrectionRefusedError,
    GeometryNotStatedError,
    PointBehindProbeError,
    SectorAngleError,
    SpeedNotPhysicalError,
)
from gateway.model.calibration import Calibration, DepthAxis, Geometry, PixelRegion, Point, SectorGeometry

OBLONG = (0.05, 0.2)
"""Pixels four times as high as wide."""


def linear(axis: DepthAxis, **more) -> Calibration:
    return Calibration(*OBLONG, axis, None, 1550.0, geometry=Geometry.LINEAR, **more)


def sector(axis: DepthAxis, opening: float | None = None) -> Calibration:
    return Calibration(*OBLONG, axis, SectorGeometry(Point(-160.0, 100.0), 8.0, opening), 1550.0)


def test_depth_of_a_linear_picture_runs_along_its_stated_axis_with_that_axis_s_own_pixels():
    point = np.array([40.0, 30.0])
    sideways = beam_coordinates(point, linear(DepthAxis.LEFT_TO_RIGHT))
    downwards = beam_coordinates(point, linear(DepthAxis.TOP_DOWN))
    assert (sideways.depth_mm, sideways.across) == pytest.approx((2.0, 6.0))
    assert (downwards.depth_mm, downwards.across) == pytest.approx((6.0, 2.0))


def test_depth_of_a_linear_picture_begins_at_the_edge_of_its_region():
    calibration = linear(DepthAxis.LEFT_TO_RIGHT, region=PixelRegion(20, 0, 639, 479))
    assert beam_coordinates(np.array([40.0, 30.0]), calibration).depth_mm == pytest.approx(1.0)
    with pytest.raises(PointBehindProbeError):
        beam_coordinates(np.array([19.0, 30.0]), calibration)


def test_angles_of_a_sector_count_from_its_depth_axis_and_grow_as_the_picture_does():
    # Pivot at (-8, 20) mm; (0, 20) lies on the face and axis, (0, 28) at 45 degrees below.
    found = beam_coordinates(np.array([[0.0, 100.0], [0.0, 140.0]]), sector(DepthAxis.LEFT_TO_RIGHT))
    assert found.depth_mm == pytest.approx([0.0, 8 * np.sqrt(2) - 8])
    assert found.across == pytest.approx([0.0, 45.0])
    turned = beam_coordinates(np.array([0.0, 140.0]), sector(DepthAxis.TOP_DOWN))
    assert turned.across == pytest.approx(45.0)


def test_a_picture_without_stated_geometry_has_no_beam_coordinates():
    for calibration in (
        Calibration(0.1, 0.1, DepthAxis.LEFT_TO_RIGHT),
        Calibration(0.1, 0.1, None, geometry=Geometry.LINEAR),
        Calibration(0.1, 0.1, DepthAxis.TOP_DOWN, geometry=Geometry.SECTOR),
    ):
        with pytest.raises(GeometryNotStatedError):
            beam_coordinates(np.array([1.0, 1.0]), calibration)


@pytest.mark.parametrize("opening", [-5.0, 0.0, 180.5, 360.0])
def test_a_sector_wider_than_half_a_turn_or_of_no_width_is_refused(opening):
    with pytest.raises(SectorAngleError):
        beam_coordinates(np.array([10.0, 100.0]), sector(DepthAxis.LEFT_TO_RIGHT, opening))


def test_behind_the_probe_there_is_nothing():
    with pytest.raises(PointBehindProbeError):
        beam_coordinates(np.array([-20.0, 100.0]), sector(DepthAxis.LEFT_TO_RIGHT))
    with pytest.raises(PointBehindProbeError):
        picture_points(BeamCoordinates(np.array(-0.1), np.array(0.0)), sector(DepthAxis.LEFT_TO_RIGHT))


def test_in_a_linear_picture_only_depth_follows_the_speed_in_any_direction():
    across = np.array([[40.0, 10.0], [40.0, 40.0]])
    oblique = np.array([[40.0, 10.0], [100.0, 25.0]])
    calibration = linear(DepthAxis.LEFT_TO_RIGHT)
    assert float(np.linalg.norm(np.diff(for_other_speed_mm(across, calibration, 1000.0), axis=0))) == pytest.approx(6.0)
    step = np.diff(for_other_speed_mm(oblique, calibration, 1532.0), axis=0)[0]
    assert step == pytest.approx([3.0 * 1532 / 1550, 3.0])


def test_the_same_line_is_refused_where_nobody_says_that_the_picture_is_linear():
    with pytest.raises(CorrectionRefusedError):
        for_other_speed_mm(
            np.array([[40.0, 10.0], [100.0, 25.0]]), Calibration(*OBLONG, DepthAxis.LEFT_TO_RIGHT, None, 1550.0), 1532.0
        )


def test_ten_thousand_at_once_are_the_same_as_one_by_one():
    rng = np.random.default_rng(3)
    points = rng.uniform([50, 40], [600, 160], (200, 2, 2))
    speeds = rng.uniform(980, 1641, 200)
    for calibration in (sector(DepthAxis.LEFT_TO_RIGHT), linear(DepthAxis.TOP_DOWN)):
        one_by_one = [
            float(np.linalg.norm(np.diff(for_other_speed_mm(pair, calibration, float(speed)), axis=0)))
            for pair, speed in zip(points, speeds, strict=True)
        ]
        assert corrected_lengths_mm(points, calibration, speeds) == pytest.approx(one_by_one, rel=1e-12)


@pytest.mark.parametrize("speed", [-1532.0, 0.0, 299.0, 8001.0, float("nan")])
def test_one_absurd_speed_among_many_is_refused(speed):
    with pytest.raises(SpeedNotPhysicalError):
        corrected_lengths_mm(np.ones((2, 2, 2)) * 50, sector(DepthAxis.LEFT_TO_RIGHT), [1532.0, speed])
