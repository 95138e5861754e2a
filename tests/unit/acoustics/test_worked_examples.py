"""Worked examples with published inputs; the expected figures follow from the named formulas, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gateway.acoustics.beam_coordinates import BeamCoordinates, picture_points
from gateway.acoustics.beams import for_other_speed_mm
from gateway.acoustics.derived import derived_value
from gateway.acoustics.media_paths import through_media_mm
from gateway.acoustics.pulse_echo import (
    Layer,
    distance_mm,
    effective_speed_m_per_s,
    for_other_speed,
    layered_time_us,
    round_trip_time_us,
)
from gateway.acoustics.quantities import Drawing, arc_mm, computed_value, sagitta_mm, two_chords_mm
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.laterality import Eye
from gateway.model.measurement import (
    MeasuredValue,
    Measurement,
    MeasurementKind,
    Medium,
    Quantity,
    TissueSpeed,
    Unit,
    ValueOrigin,
)
from gateway.model.position import ClockHour

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


def test_a_point_of_a_beam_lies_sideways_and_deep_as_the_sector_says() -> None:
    # Depth 30 mm on the beam at +20 degrees, pivot on the face: 30 sin 20 and 30 cos 20, by hand.
    on_beam = BeamCoordinates(np.array(30.0), np.array(20.0))
    deep_mm, aside_mm = picture_points(on_beam, sector(0.0))
    assert (aside_mm, deep_mm) == pytest.approx((10.2606, 28.1908), abs=5e-5)


@pytest.mark.parametrize(
    ("depth_mm", "time_us", "most_khz", "most_frames_per_s"), [(40, 52.22, 19.15, 63.8), (60, 78.33, 12.77, 42.6)]
)
def test_the_way_there_and_back_limits_the_rate(
    depth_mm: float, time_us: float, most_khz: float, most_frames_per_s: float
) -> None:
    # Pulse-echo at 1532 m/s (Hoffer 1994), 300 lines a frame (common practice).
    found_us = float(round_trip_time_us(depth_mm, 1532))
    assert found_us == pytest.approx(time_us, abs=5e-3)
    assert 1000 / found_us == pytest.approx(most_khz, abs=5e-3)
    assert 1e6 / found_us / 300 == pytest.approx(most_frames_per_s, abs=0.05)


def test_chord_of_twelve_on_a_sphere_of_radius_twelve() -> None:
    # 2 R asin(c/2R) = 24 asin(1/2) = 4 pi; 4 R sin(asin(c/2R)/2) = 48 sin 15 degrees; R - sqrt(R^2 - 36). That one
    # chord under-reads the base: Computing uveal melanoma basal diameters, Int J Retina Vitreous 2018.
    assert arc_mm(12.0, 24.0) == pytest.approx(12.566, abs=5e-4)
    assert two_chords_mm(12.0, 24.0) == pytest.approx(12.423, abs=5e-4)
    assert sagitta_mm(12.0, 24.0) == pytest.approx(1.608, abs=5e-4)
    chord = np.array([[0.0, 0.0], [12.0, 0.0]])
    assert computed_value(MeasurementKind.ARC_BASE, chord, Drawing(sphere_diameter_mm=24.0)) == pytest.approx(4 * np.pi)


def stated(name: str, kind: MeasurementKind, text: str) -> MeasuredValue:
    quantity = Quantity(float(text), Unit.MM, text)
    return MeasuredValue(Measurement(name, "c", kind, displayed=quantity), quantity, ValueOrigin.TRANSCRIBED)


def test_half_an_ellipsoid_twelve_by_ten_six_high() -> None:
    # pi/6 a b h = 120 pi; the formula as used in melanoma: Richtig E et al., Eye 2004;18:619-23.
    sources = [
        stated("a", MeasurementKind.BASE, "12.0"),
        stated("b", MeasurementKind.BASE, "10.0"),
        stated("h", MeasurementKind.HEIGHT, "6.0"),
    ]
    volume = Measurement("v", "c", MeasurementKind.HALF_ELLIPSOID_VOLUME, of=("a", "b", "h"))
    assert derived_value(volume, sources).value.value == pytest.approx(376.99, abs=5e-3)


def test_a_sheath_of_5_4_mm_that_becomes_4_2_mm_has_lost_22_2_percent() -> None:
    # Thirty-degree test: 22.4 +- 8.4 % in raised pressure (thirty-degree test in papilloedema, PMC5726530).
    sources = [stated("gaze", MeasurementKind.WIDTH, "4.2"), stated("straight", MeasurementKind.WIDTH, "5.4")]
    ratio = derived_value(Measurement("r", "c", MeasurementKind.RATIO, of=("gaze", "straight")), sources)
    assert 100 * (1 - ratio.value.value) == pytest.approx(22.2, abs=0.05)


@pytest.mark.parametrize(("eye", "nasal_hour"), [(Eye.RIGHT, 3), (Eye.LEFT, 9)])
def test_three_is_nasal_in_the_right_eye_and_nine_in_the_left(eye: Eye, nasal_hour: int) -> None:
    # To show an hour the probe sits opposite (common practice): 3 o'clock of a right eye from its temporal side.
    assert ClockHour(2 * nasal_hour).side(eye) == "nasal"
    assert ClockHour(2 * ((nasal_hour + 6) % 12)).side(eye) == "temporal"
    assert [ClockHour(2 * hour).side(eye) for hour in (12, 6)] == ["superior", "inferior"]
    assert ClockHour(2 * 9).side(Eye.RIGHT) == "temporal"
    assert ClockHour(2 * 9).side(Eye.LEFT) == "nasal"


def test_a_tumour_behind_oil_is_misplaced_but_not_thicker_than_its_own_speed_makes_it() -> None:
    # 16 mm of oil at 980 m/s shown at 1550 is 25.306 mm; 4 mm of tumour at 1550 stays 4 mm. One multiplier for the
    # whole line would give 2.53 mm.
    begins = 16 * 1550 / 980
    oil = Medium(TissueSpeed(980.0, "silicone-oil", "Clinical Optics 2020-21"))
    tumour = Medium(TissueSpeed(1550.0, "tumour", "common practice"), (Point(begins, 0.0),))
    ends = through_media_mm(np.array([[begins, 0.0], [begins + 4.0, 0.0]]), sector(8.0), [oil, tumour])
    assert begins == pytest.approx(25.306, abs=5e-4)
    assert ends[:, 0] == pytest.approx([16.0, 20.0])
