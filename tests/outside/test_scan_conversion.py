"""Scan conversion against other people's interpolation, scipy.ndimage and scikit-image, fed from the geometry alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates
from skimage.transform import warp

from gateway.acoustics.scan_conversion import line_places, plan_scan_conversion
from gateway.errors.scan_lines import ScanLineGeometryError
from gateway.model.calibration import DepthAxis
from gateway.model.scan_lines import LinearLines, ScanLines, SectorLines

ROOM = 4_000_000


def sector(first=-26.0, last=26.0, *, pivot=8.0, start=0.0, interval=0.08, pixel=0.11, axis=DepthAxis.LEFT_TO_RIGHT):
    return ScanLines(SectorLines(pivot, (first, last), is_even=True), axis, 1550.0, interval, start, pixel)


def noise(lines=48, samples=400, dtype=np.uint8):
    top = np.iinfo(dtype).max
    return np.random.default_rng(3).integers(0, top, (lines, samples), dtype=dtype, endpoint=True)


def coordinates(stated, plan, line_count):
    """Line and sample number at the middle of each pixel, from the geometry alone (corner convention)."""
    pivot_x, pivot_y = plan.pivot.x, plan.pivot.y
    rows, columns = plan.is_inside.shape
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    along, across = (x - pivot_x, y - pivot_y)
    if stated.depth_axis is DepthAxis.TOP_DOWN:
        along, across = across, along
    radius = np.hypot(along, across) * stated.mm_per_pixel
    angle = np.degrees(np.arctan2(across, along))
    first, last = stated.lines.angles_deg
    line = (angle - first) / (last - first) * (line_count - 1)
    sample = (radius - stated.lines.pivot_to_face_mm - stated.start_depth_mm) / stated.sample_interval_mm
    return line, sample


CASES = [
    sector(),
    sector(axis=DepthAxis.TOP_DOWN),
    sector(26, -26),
    sector(pivot=0.0, start=1.5),
    sector(5, 40, pivot=12.0),
    sector(-50, -10, start=3.0, axis=DepthAxis.TOP_DOWN),
]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("stated", CASES)
def test_the_picture_is_the_one_that_scipy_interpolates(stated, dtype):
    samples = noise(dtype=dtype)
    plan = plan_scan_conversion(stated, *samples.shape, ROOM)
    top = float(np.iinfo(dtype).max)
    ours = plan.picture(samples, (0.0, top))
    line, sample = coordinates(stated, plan, len(samples))
    theirs = map_coordinates(samples.astype(float), [line, sample], order=1, cval=np.nan) * 255 / top
    inside = ~np.isnan(theirs)
    assert np.mean(inside == plan.is_inside) > 0.9995  # a pixel on the very edge may fall either way
    both = inside & plan.is_inside
    assert both.sum() > 10_000
    assert np.max(np.abs(ours[both] - theirs[both])) <= 0.5 + 1e-6


@pytest.mark.parametrize("stated", CASES)
def test_the_picture_is_the_one_that_scikit_image_warps(stated):
    samples = noise()
    plan = plan_scan_conversion(stated, *samples.shape, ROOM)
    line, sample = coordinates(stated, plan, len(samples))
    theirs = warp(samples.astype(float), np.array([line, sample]), order=1, cval=-1, preserve_range=True)
    both = (theirs >= 0) & plan.is_inside
    assert np.max(np.abs(plan.picture(samples, (0.0, 255.0))[both] - theirs[both])) <= 0.5 + 1e-6


def test_angles_one_by_one_give_the_same_picture_as_even_ones():
    stated, samples = sector(), noise()
    listed = ScanLines(
        SectorLines(8.0, tuple(np.linspace(-26, 26, 48)), is_even=False), stated.depth_axis, 1550.0, 0.08, 0.0, 0.11
    )
    pictures = [plan_scan_conversion(s, *samples.shape, ROOM).picture(samples, (0, 255)) for s in (stated, listed)]
    assert np.array_equal(*pictures)


def test_uneven_angles_put_each_line_where_it_looked():
    angles = (-20.0, -5.0, 0.0, 2.0, 4.0)
    stated = ScanLines(SectorLines(8.0, angles, is_even=False), DepthAxis.LEFT_TO_RIGHT, 1550.0, 0.1, 0.0, 0.05)
    samples = np.zeros((5, 300), dtype=np.uint8)
    samples[3] = 255
    plan = plan_scan_conversion(stated, 5, 300, ROOM)
    picture = plan.picture(samples, (0, 255))
    rows, columns = np.nonzero(picture >= 250)
    angle = np.degrees(np.arctan2(rows + 0.5 - plan.pivot.y, columns + 0.5 - plan.pivot.x))
    assert np.median(angle) == pytest.approx(2.0, abs=0.05)


def test_linear_lines_become_a_rectangle():
    samples = noise(60, 200)
    stated = ScanLines(LinearLines(0.2), DepthAxis.TOP_DOWN, 1550.0, 0.1, 2.0, 0.05)
    plan = plan_scan_conversion(stated, 60, 200, ROOM)
    rows, columns = plan.is_inside.shape
    assert (rows, columns) == (398, 236)  # 199 x 0.1 mm by 59 x 0.2 mm
    line = ((np.arange(columns) + 0.5) * 0.05) / 0.2
    sample = ((np.arange(rows) + 0.5) * 0.05) / 0.1
    theirs = map_coordinates(samples.astype(float), np.meshgrid(line, sample), order=1)
    assert np.max(np.abs(plan.picture(samples, (0, 255)) - theirs)) <= 0.5 + 1e-6
    assert plan.pivot is None
    assert plan.face_px == pytest.approx(-40)


@settings(max_examples=60, deadline=None)
@given(
    pivot=st.floats(0, 20),
    half=st.floats(5, 60),
    start=st.floats(0, 5),
    axis=st.sampled_from(list(DepthAxis)),
    where=st.tuples(st.integers(1, 38), st.integers(20, 280)),
)
def test_an_echo_appears_at_its_depth_and_angle(pivot, half, start, axis, where):
    """One bright sample; its place on the picture, taken back through pivot and scale, is its own angle and depth."""
    number, sample = where
    samples = np.zeros((40, 300), dtype=np.uint8)
    samples[number - 1 : number + 2, sample - 2 : sample + 3] = 255
    stated = sector(-half, half, pivot=pivot, start=start, interval=0.1, pixel=0.04, axis=axis)
    plan = plan_scan_conversion(stated, 40, 300, 20_000_000)
    picture = plan.picture(samples, (0, 255)).astype(float)
    rows, columns = np.nonzero(picture > 250)
    if len(rows) < 12:  # too near the pivot to be a blob
        return
    x, y = columns + 0.5 - plan.pivot.x, rows + 0.5 - plan.pivot.y
    along, across = (x, y) if axis is DepthAxis.LEFT_TO_RIGHT else (y, x)
    depth = np.hypot(along, across) * 0.04 - pivot
    angle = np.degrees(np.arctan2(across, along))
    wanted_angle = line_places(stated, 40)[number]
    assert (depth.min() + depth.max()) / 2 == pytest.approx(start + sample * 0.1, abs=0.06)
    step_deg = 2 * half / 39
    resolution_deg = np.degrees(0.04 / (pivot + start + sample * 0.1))
    assert (angle.min() + angle.max()) / 2 == pytest.approx(wanted_angle, abs=0.1 * step_deg + resolution_deg)


@pytest.mark.parametrize(
    ("stated", "lines", "samples", "words"),
    [
        (sector(-95, 80), 10, 10, "180 degrees"),
        (sector(-90, 90), 10, 10, "180 degrees"),
        (sector(3, 3), 10, 10, "one way"),
        (sector(), 1, 10, "two lines"),
        (sector(), 10, 1, "two samples"),
        (sector(pixel=0.00001), 100, 1000, "too large"),
        (ScanLines(SectorLines(8, (1, 2, 3), is_even=False), DepthAxis.TOP_DOWN, 1550, 0.1, 0, 0.1), 4, 9, "each line"),
        (ScanLines(SectorLines(8, (1, 3, 2), is_even=False), DepthAxis.TOP_DOWN, 1550, 0.1, 0, 0.1), 3, 9, "one way"),
    ],
)
def test_a_geometry_that_makes_no_picture_is_refused(stated, lines, samples, words):
    with pytest.raises(ScanLineGeometryError, match=words):
        plan_scan_conversion(stated, lines, samples, ROOM)


@pytest.mark.parametrize("stated", [*CASES, ScanLines(LinearLines(0.2), DepthAxis.TOP_DOWN, 1550.0, 0.1, 2.0, 0.05)])
@pytest.mark.parametrize("number", [1, 17, 48])
def test_a_line_runs_on_the_picture_where_its_samples_went(stated, number):
    samples = np.zeros((48, 400), dtype=np.uint8)
    samples[number - 1] = 255
    plan = plan_scan_conversion(stated, 48, 400, ROOM)
    picture = plan.picture(samples, (0, 255)).astype(float)
    start, end = plan.line_ends(stated, number, (48, 400))
    steps = np.linspace(0.2, 0.95, 50)
    x, y = start.x + steps * (end.x - start.x) - 0.5, start.y + steps * (end.y - start.y) - 0.5
    rows, columns = picture.shape
    inside = (x > 1) & (x < columns - 2) & (y > 1) & (y < rows - 2)
    along = map_coordinates(picture, [y[inside], x[inside]], order=1)
    if isinstance(stated.lines, LinearLines) and number != 17:
        edges = {0.0, columns} if stated.depth_axis is DepthAxis.TOP_DOWN else {0.0, rows}
        assert {start.x, end.x} <= edges  # the outermost lines are the picture's own edges
    elif number == 17:  # on the first and last line half of each pixel lies beyond the fan
        assert np.median(along) > 200
    else:
        assert np.median(along) > 60
