"""A-scans along any line of any picture: axis, amplitude and peaks keep their promises."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.signal import find_peaks

from gateway.acoustics.a_scan import AScan, Interpolation, SampledLine, along_line
from gateway.acoustics.curves import curves_of
from gateway.acoustics.pulse_echo import distance_mm
from gateway.model.a_scan import AScanLine
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.capture import Capture, CaptureKind
from gateway.model.laterality import Eye
from gateway.model.media import ColourModel, PixelFacts
from gateway.model.position import ProbePosition, Scan
from gateway.reports.a_scan_plot import ticks

ROWS, COLUMNS = 30, 40
PICTURES = arrays(np.uint8, (ROWS, COLUMNS))
POINTS = st.builds(Point, st.floats(0, COLUMNS), st.floats(0, ROWS))
SCALES = st.floats(0.01, 1.0)
SPEEDS = st.floats(900, 3000)


def distinct(start: Point, end: Point) -> None:
    assume(math.hypot(start.x - end.x, start.y - end.y) > 0.1)


def read(picture: NDArray[np.uint8], start: Point, end: Point, calibration: Calibration, **more: object) -> AScan:
    return along_line(picture, SampledLine(start, end, **more), calibration)  # type: ignore[arg-type]


@given(PICTURES, POINTS, POINTS, SCALES, SCALES)
def test_a_line_is_as_long_as_its_ends_are_apart(
    picture: NDArray[np.uint8], start: Point, end: Point, mm_x: float, mm_y: float
) -> None:
    distinct(start, end)
    scan = read(picture, start, end, Calibration(mm_x, mm_y))
    assert scan.depth_mm[0] == 0
    assert np.all(np.diff(scan.depth_mm) > 0)
    assert scan.depth_mm[-1] == pytest.approx(math.hypot((end.x - start.x) * mm_x, (end.y - start.y) * mm_y))


@given(PICTURES, POINTS, POINTS)
def test_a_line_read_backwards_is_the_same_curve_backwards(
    picture: NDArray[np.uint8], start: Point, end: Point
) -> None:
    distinct(start, end)
    there, back = (read(picture, *ends, Calibration(0.1, 0.1)) for ends in ((start, end), (end, start)))
    assert there.amplitude == pytest.approx(back.amplitude[::-1], abs=1e-6)


@given(PICTURES, POINTS, POINTS)
def test_bilinear_reading_is_that_of_scipy(picture: NDArray[np.uint8], start: Point, end: Point) -> None:
    """scipy.ndimage.map_coordinates, order 1, the edge going on; indices name the middles of pixels."""
    distinct(start, end)
    scan = read(picture, start, end, Calibration(0.1, 0.1), interpolation=Interpolation.BILINEAR)
    count = len(scan.amplitude)
    places = [np.linspace(a, b, count) - 0.5 for a, b in ((start.y, end.y), (start.x, end.x))]
    wanted = map_coordinates(picture.astype(float), places, order=1, mode="nearest")
    assert scan.amplitude == pytest.approx(wanted, abs=1e-6)


@given(PICTURES, POINTS, POINTS, st.sampled_from(Interpolation), st.floats(0, 1))
def test_no_reading_lies_further_out_than_its_kernel_allows(
    picture: NDArray[np.uint8], start: Point, end: Point, interpolation: Interpolation, band_mm: float
) -> None:
    """The weights of Keys' kernel sum to one, their amounts to at most 1.25 along each axis."""
    distinct(start, end)
    scan = read(picture, start, end, Calibration(0.1, 0.1), interpolation=interpolation, band_mm=band_mm)
    low, high = float(picture.min()), float(picture.max())
    beyond = (1.25**2 - 1) / 2 * (high - low) if interpolation is Interpolation.CUBIC else 0.0
    assert scan.amplitude.min() >= low - beyond - 1e-9
    assert scan.amplitude.max() <= high + beyond + 1e-9


@given(st.floats(0, 255), POINTS, POINTS, st.sampled_from(Interpolation), st.floats(0, 3))
def test_an_even_picture_gives_an_even_curve_without_peaks(
    grey: float, start: Point, end: Point, interpolation: Interpolation, band_mm: float
) -> None:
    distinct(start, end)
    picture = np.full((ROWS, COLUMNS), int(grey), dtype=np.uint8)
    scan = read(picture, start, end, Calibration(0.1, 0.1), interpolation=interpolation, band_mm=band_mm)
    assert scan.amplitude == pytest.approx(int(grey), abs=1e-9)
    assert all(peak.prominence < 1e-6 for peak in scan.peaks())


@given(st.floats(0, COLUMNS), st.floats(0, ROWS / 2), st.floats(1, ROWS / 2), SPEEDS, SPEEDS)
def test_along_the_beams_time_is_the_devices_whatever_the_axis_is(
    x: float, top: float, length: float, assumed: float, other: float
) -> None:
    picture = np.zeros((ROWS, COLUMNS), dtype=np.uint8)
    linear = Calibration(0.1, 0.1, DepthAxis.TOP_DOWN, assumed_speed_m_per_s=assumed)
    ends = Point(x, top), Point(x, top + length)
    shown, moved = read(picture, *ends, linear), read(picture, *ends, linear, speed_m_per_s=other)
    assert shown.time_us is not None
    assert moved.time_us is not None
    assert moved.time_us == pytest.approx(shown.time_us)
    assert moved.depth_mm == pytest.approx(shown.depth_mm * other / assumed)
    assert distance_mm(moved.time_us, other) == pytest.approx(moved.depth_mm)


@given(st.floats(-0.35, 0.35), SPEEDS)
def test_along_any_beam_of_a_sector_other_speeds_scale_the_line(angle: float, other: float) -> None:
    """From the pivot outwards every line is a beam: x = (a + r) sin, z = (a + r) cos - a."""
    sector = SectorGeometry(Point(-10.0, 15.0), 2.0)
    calibration = Calibration(0.5, 0.5, DepthAxis.LEFT_TO_RIGHT, sector, 1550.0)
    ends = [Point(-10 + r * math.cos(angle), 15 + r * math.sin(angle)) for r in (16.0, 36.0)]
    assume(all(0 <= p.x <= COLUMNS and 0 <= p.y <= ROWS for p in ends))
    picture = np.zeros((ROWS, COLUMNS), dtype=np.uint8)
    shown, moved = (read(picture, *ends, calibration, speed_m_per_s=speed) for speed in (None, other))
    assert shown.start_mm == pytest.approx(8.0 - 2.0)
    assert shown.depth_mm[-1] == pytest.approx(10.0)
    assert moved.depth_mm[-1] == pytest.approx(10.0 * other / 1550)
    assert moved.time_us == pytest.approx(shown.time_us)


@given(PICTURES, POINTS, POINTS, st.floats(0.01, 0.9))
def test_peaks_along_a_line_are_those_of_scipy(
    picture: NDArray[np.uint8], start: Point, end: Point, share: float
) -> None:
    distinct(start, end)
    scan = read(picture, start, end, Calibration(0.1, 0.1))
    # Rounded, so that both see the same flat tops.
    curve = np.round(scan.amplitude, 3)
    rounded = AScan(curve, scan.depth_mm, None, None, scan.amplitude_words)
    span = float(np.ptp(curve))
    wanted, facts = find_peaks(curve, prominence=share * span) if span else (np.array([]), {"prominences": []})
    offered = rounded.peaks(share)
    assert [peak.index for peak in offered] == list(wanted)
    assert [peak.prominence for peak in offered] == pytest.approx(list(facts["prominences"]))
    for peak in offered:
        assert abs(peak.position - peak.index) <= 0.5 + 1e-9
        assert scan.depth_mm[0] <= rounded.depth_at_mm(peak.position) <= scan.depth_mm[-1]


class OneFrame:
    """A still held in memory."""

    def __init__(self, picture: NDArray[np.uint8]) -> None:
        self.picture = picture
        self.facts = PixelFacts(*picture.shape[:2], ColourModel.GREY, "0" * 64)

    def frames(self):
        yield self.picture


@settings(max_examples=60)
@given(PICTURES, st.lists(st.tuples(*[st.floats(-20, 60)] * 4), max_size=6))
def test_every_line_is_either_read_or_held_and_none_is_lost(
    picture: NDArray[np.uint8], lines: list[tuple[float, float, float, float]]
) -> None:
    stated = tuple(AScanLine(f"l{n}", Point(x1, y1), Point(x2, y2)) for n, (x1, y1, x2, y2) in enumerate(lines))
    capture = Capture(
        "c", CaptureKind.STILL, ("c.png",), Eye.RIGHT, ProbePosition(Scan.MACULA), number=3,
        calibration=Calibration(0.1, 0.1), a_scan_lines=stated,
    )  # fmt: skip
    found, held = curves_of(capture, OneFrame(picture))
    names = [curve.id for curve in found] + [part.name.removeprefix("c ") for part in held]
    assert sorted(names) == sorted(line.id for line in stated)
    for part in held:
        assert part.part.startswith("captures[2].a_scan_lines[")
        assert part.reason.code == "line-not-measurable"


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.integers(2, 12))
def test_ticks_are_round_in_order_and_on_the_axis(low: float, span: float, most: int) -> None:
    assume(span > 1e-9 * abs(low))
    high = low + span
    places = [place for place, _ in ticks(low, high, most)]
    assert len(places) <= most + 1
    assert places == sorted(set(places))
    assert all(low - 1e-6 * span <= place <= high + 1e-6 * span for place in places)
