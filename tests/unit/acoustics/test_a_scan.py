"""Amplitude over depth: from pictures, from samples, in millimetres and in microseconds."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.ndimage import map_coordinates

from gateway.acoustics.a_scan import GREY_LEVEL, Interpolation, SampledLine, Sampling, along_line, from_samples
from gateway.acoustics.pulse_echo import distance_mm
from gateway.errors.measurement import CorrectionRefusedError, LineNotMeasurableError
from gateway.model.calibration import Calibration, DepthAxis, PixelRegion, Point, SectorGeometry

DEMO = Path(__file__).parents[3] / "fixtures" / "demo-exam"
# As the demo's exam document states them, in corner convention.
DEMO_SCALE = Calibration(
    0.0625, 0.0625, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(-112.0, 240.0), 8.0, 52.0), 1550.0
)
LINEAR = Calibration(0.1, 0.1, DepthAxis.TOP_DOWN, assumed_speed_m_per_s=1532.0)
GEL_MM = 2.0
"""Of the phantom's axial picture, at 1532 m/s (fixtures.make)."""


def demo_scan(interpolation: Interpolation, band_mm: float = 0.0):
    picture = np.asarray(Image.open(DEMO / "media" / "od-axh.png"))
    line = SampledLine(Point(16, 240), Point(480, 240), band_mm=band_mm, interpolation=interpolation)
    return along_line(picture, line, DEMO_SCALE)


def phantom_layers():
    truth = json.loads((DEMO / "truth.json").read_text())
    return [(GEL_MM, 1532.0), *truth["axial_layers_mm_at_m_per_s"]]


@pytest.mark.parametrize("interpolation", Interpolation)
@pytest.mark.parametrize("band_mm", [0.0, 0.5])
def test_the_phantoms_interfaces_are_offered_where_they_truly_lie(interpolation, band_mm):
    """Truth is the phantom's construction; by the time of each echo and the speeds of its layers, within 0.5 %."""
    scan = demo_scan(interpolation, band_mm)
    assert scan.start_mm == pytest.approx(0.0, abs=1e-9)
    times_us = np.array([scan.time_at_us(peak.position) for peak in scan.peaks()])
    true_mm, true_us = 0.0, 0.0
    for thickness_mm, speed in phantom_layers():
        before_us, before_mm = true_us, true_mm
        true_us += 2000 * thickness_mm / speed
        true_mm += thickness_mm
        found_us = times_us[np.argmin(np.abs(times_us - true_us))]
        # The echo's depth when everything in front of it is known.
        found_mm = before_mm + (found_us - before_us) * speed / 2000
        assert found_mm == pytest.approx(true_mm, rel=0.005)


def test_peaks_that_are_offered_say_how_far_they_stand_out():
    peaks = demo_scan(Interpolation.CUBIC).peaks(share=0.25)
    span = np.ptp(demo_scan(Interpolation.CUBIC).amplitude)
    assert all(peak.prominence >= 0.25 * span for peak in peaks)
    assert [peak.position for peak in peaks] == sorted(peak.position for peak in peaks)


@pytest.mark.parametrize(("interpolation", "order"), [(Interpolation.BILINEAR, 1)])
def test_bilinear_sampling_is_that_of_scipy(interpolation, order):
    picture = np.random.default_rng(1).integers(0, 256, (40, 60), dtype=np.uint8)
    scan = along_line(picture, SampledLine(Point(3.2, 2.7), Point(55.1, 37.9), interpolation=interpolation), LINEAR)
    x, y = (np.linspace(a, b, len(scan.amplitude)) - 0.5 for a, b in ((3.2, 55.1), (2.7, 37.9)))
    assert scan.amplitude == pytest.approx(map_coordinates(picture.astype(float), [y, x], order=order))


@pytest.mark.parametrize("interpolation", Interpolation)
def test_a_plane_is_sampled_without_error_away_from_the_edge(interpolation):
    rows, columns = np.mgrid[0:40, 0:60]
    picture = (2 * columns + rows).astype(np.uint8)
    scan = along_line(picture, SampledLine(Point(5, 5), Point(50, 30), interpolation=interpolation), LINEAR)
    x, y = np.linspace(5, 50, len(scan.amplitude)), np.linspace(5, 30, len(scan.amplitude))
    assert scan.amplitude == pytest.approx(2 * (x - 0.5) + (y - 0.5))


def test_colour_is_read_as_grey_and_named_what_it_is():
    picture = np.zeros((40, 60, 3), dtype=np.uint8)
    picture[...] = (200, 100, 50)
    scan = along_line(picture, SampledLine(Point(5, 5), Point(5, 30)), LINEAR)
    assert scan.amplitude == pytest.approx(0.299 * 200 + 0.587 * 100 + 0.114 * 50)  # ITU-R BT.601
    assert scan.amplitude_words == GREY_LEVEL == "grey level, not reflectivity"


def test_another_speed_stretches_the_axis_and_leaves_the_time():
    picture = np.zeros((40, 60), dtype=np.uint8)
    ends = Point(5, 5), Point(5, 30)
    shown, other = along_line(picture, SampledLine(*ends), LINEAR), along_line(picture, SampledLine(*ends, 980), LINEAR)
    assert shown.depth_mm[-1] == pytest.approx(2.5)
    assert other.depth_mm[-1] == pytest.approx(2.5 * 980 / 1532)
    assert other.time_us == pytest.approx(shown.time_us)
    assert shown.start_mm == pytest.approx(0.5)
    assert other.start_mm == pytest.approx(0.5 * 980 / 1532)


def test_a_line_across_the_beams_has_millimetres_and_no_time():
    picture = np.zeros((40, 60), dtype=np.uint8)
    scan = along_line(picture, SampledLine(Point(5, 20), Point(50, 20)), LINEAR)
    assert scan.time_us is None
    assert scan.start_mm is None
    assert scan.depth_mm[-1] == pytest.approx(4.5)
    with pytest.raises(CorrectionRefusedError):
        along_line(picture, SampledLine(Point(5, 20), Point(50, 20), 980), LINEAR)


def test_a_line_towards_the_probe_has_no_time():
    scan = along_line(np.zeros((40, 60), dtype=np.uint8), SampledLine(Point(5, 30), Point(5, 5)), LINEAR)
    assert scan.time_us is None


@pytest.mark.parametrize("ends", [((5, 5), (5, 5)), ((-1, 5), (5, 30)), ((5, 5), (61, 30)), ((5, 5), (5, 40.5))])
def test_lines_that_cannot_be_read_are_refused(ends):
    with pytest.raises(LineNotMeasurableError):
        along_line(np.zeros((40, 60), dtype=np.uint8), SampledLine(*(Point(x, y) for x, y in ends)), LINEAR)


def test_a_line_that_leaves_the_region_of_the_scale_is_refused():
    picture, scale = np.zeros((40, 60), dtype=np.uint8), replace(LINEAR, region=PixelRegion(5, 0, 30, 39))
    along_line(picture, SampledLine(Point(5, 0), Point(31, 40)), scale)
    with pytest.raises(LineNotMeasurableError, match="region"):
        along_line(picture, SampledLine(Point(5, 0), Point(32, 39)), scale)


def test_a_scan_line_of_samples():
    samples = np.exp(-(((np.arange(4000) - 2450.25) / 12) ** 2))
    scan = from_samples(samples, Sampling(1 / 100.0), 1532)
    (peak,) = scan.peaks()
    assert scan.time_at_us(peak.position) == pytest.approx(24.5025, abs=1e-3)
    assert scan.depth_at_mm(peak.position) == pytest.approx(24.5025 * 1532 / 2000, abs=1e-3)
    same = from_samples(samples, Sampling(0.01, 3.0), 1532)
    assert same.depth_mm == pytest.approx(scan.depth_mm)
    assert same.start_mm == 3.0


@pytest.mark.parametrize(
    ("samples", "sampling"),
    [
        (np.zeros(2), Sampling(0.01)),
        (np.zeros((3, 3)), Sampling(0.01)),
        (np.array([0, np.nan, 0]), Sampling(0.01)),
        (np.zeros(9), Sampling(0.0)),
        (np.zeros(9), Sampling(-0.2)),
    ],
)
def test_samples_that_are_no_scan_line_are_refused(samples, sampling):
    with pytest.raises(LineNotMeasurableError):
        from_samples(samples, sampling, 1532)


@given(st.floats(1, 200), st.floats(400, 3000), st.integers(3, 500))
def test_millimetres_and_microseconds_of_an_axis_turn_into_one_another(rate_mhz, speed, count):
    scan = from_samples(np.zeros(count), Sampling(1 / rate_mhz), speed)
    assert distance_mm(scan.time_us, speed) == pytest.approx(scan.depth_mm)


@given(st.floats(0.5, 39.5), st.floats(0.5, 19.5), st.floats(20.0, 39.5))
def test_two_halves_of_a_line_are_as_long_as_the_line(x, top, bottom):
    picture = np.zeros((40, 40), dtype=np.uint8)
    middle = Point(x, (top + bottom) / 2)
    length = along_line(picture, SampledLine(Point(x, top), Point(x, bottom)), LINEAR).depth_mm[-1]
    upper = along_line(picture, SampledLine(Point(x, top), middle), LINEAR).depth_mm[-1]
    lower = along_line(picture, SampledLine(middle, Point(x, bottom)), LINEAR).depth_mm[-1]
    assert upper + lower == pytest.approx(length, rel=1e-9)
