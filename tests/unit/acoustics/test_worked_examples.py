"""Worked examples with published inputs; the expected figures follow from the named formulas, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gateway.acoustics.beams import for_other_speed_mm
from gateway.acoustics.pulse_echo import (
    Layer,
    distance_mm,
    effective_speed_m_per_s,
    for_other_speed,
    layered_time_us,
    round_trip_time_us,
)
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry

# Speeds: Hoffer KJ, J Cataract Refract Surg 1994;20:554-62 (aqueous and vitreous 1532, lens and cornea 1641, whole
# phakic eye 1555, oil-filled phakic eye 1139); 1550 as teaching value (Waldron and Aaberg, A-Scan Biometry, 2008).
PHAKIC_EYE = (Layer(0.55, 1641), Layer(3.00, 1532), Layer(4.60, 1641), Layer(15.35, 1532))


@pytest.mark.parametrize(("speed", "expected_mm"), [(1532, 22.980), (1550, 23.250), (1555, 23.325)])
def test_thirty_microseconds_at_three_speeds(speed: float, expected_mm: float) -> None:
    assert float(distance_mm(30.0, speed)) == pytest.approx(expected_mm, abs=5e-4)


def test_time_of_an_average_eye() -> None:
    assert float(round_trip_time_us(23.50, 1555)) == pytest.approx(30.2251, abs=5e-5)


def test_layered_phakic_eye() -> None:
    time_us = layered_time_us(PHAKIC_EYE)
    assert time_us == pytest.approx(30.2323, abs=5e-5)
    assert effective_speed_m_per_s(PHAKIC_EYE) == pytest.approx(1554.6, abs=0.05)  # Hoffer 1994: 1555
    shown = {speed: float(distance_mm(time_us, speed)) for speed in (1555, 1550, 1532)}
    assert shown == pytest.approx({1555: 23.506, 1550: 23.430, 1532: 23.158}, abs=5e-4)


def test_oil_filled_eye_agrees_with_the_published_whole_eye_speed() -> None:
    oil_filled = (*PHAKIC_EYE[:3], Layer(15.35, 980))  # oil: Basic and Clinical Science Course, Clinical Optics 2020-21
    assert layered_time_us(oil_filled) == pytest.approx(41.5196, abs=5e-5)
    assert effective_speed_m_per_s(oil_filled) == pytest.approx(1132.0, abs=0.05)
    # Murray DC et al., Eye 1999: true length is 0.70 to 0.73 of the displayed one.
    assert 0.70 <= 23.50 / float(distance_mm(41.5196, 1550)) <= 0.7305


def test_gates_of_an_a_scan() -> None:
    segments = [float(distance_mm(t, v)) for t, v in ((4.60, 1532), (5.70, 1641), (20.40, 1532))]
    assert segments == pytest.approx([3.5236, 4.6769, 15.6264], abs=5e-5)
    assert sum(segments) == pytest.approx(23.8269, abs=5e-5)


@pytest.mark.parametrize(("speed", "expected_mm"), [(1550, 4.047), (1564, 4.084), (1580, 4.125)])
def test_tumour_caliper_for_other_speeds(speed: float, expected_mm: float) -> None:
    # 1564 mean, 1580 advised: BMC Dermatology 2001;1:1 (skin melanoma, 20 MHz).
    assert float(for_other_speed(4.00, 1532, speed)) == pytest.approx(expected_mm, abs=5e-4)


def sector(pivot_to_face_mm: float, assumed: float = 1550.0) -> Calibration:
    """One pixel a millimetre, depth to the right, pivot so that the face touches x = 0 on the axis."""
    pivot = Point(-pivot_to_face_mm, 0.0)
    return Calibration(1.0, 1.0, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(pivot, pivot_to_face_mm), assumed)


def polar(depth_mm: float, angle_deg: float, pivot_to_face_mm: float) -> tuple[float, float]:
    """x (depth) and y (lateral) of a point on a beam: textbook scan conversion."""
    radius, angle = depth_mm + pivot_to_face_mm, np.radians(angle_deg)
    return radius * np.cos(angle) - pivot_to_face_mm, radius * np.sin(angle)


@pytest.mark.parametrize(("pivot_to_face_mm", "expected_mm"), [(0.0, 8.3351), (8.0, 11.1135)])
def test_two_points_across_the_axis(pivot_to_face_mm: float, expected_mm: float) -> None:
    points = np.array([polar(24, -10, pivot_to_face_mm), polar(24, 10, pivot_to_face_mm)])
    same = for_other_speed_mm(points, sector(pivot_to_face_mm), 1550)
    assert float(np.linalg.norm(same[1] - same[0])) == pytest.approx(expected_mm, abs=5e-5)


def test_wrong_speed_scales_depth_and_width_differently_behind_a_pivot() -> None:
    # 24 mm shown at 1550, truly 1532, pivot 8 mm behind the face: on the axis 0.98839; at 20 degrees depth 0.98813,
    # lateral 0.9913 (sector geometry, computed from the formulas in beams.py's docstring).
    shown = np.array([polar(24, 0, 8), polar(24, 20, 8)])
    true = for_other_speed_mm(shown, sector(8.0), 1532)
    assert true[0, 0] / shown[0, 0] == pytest.approx(0.98839, abs=5e-6)
    assert true[1, 0] / shown[1, 0] == pytest.approx(0.98813, abs=5e-6)
    assert true[1, 1] / shown[1, 1] == pytest.approx(0.9913, abs=5e-5)
