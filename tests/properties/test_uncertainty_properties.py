"""Whatever is measured: an uncertainty is never smaller than a part of it, and follows the scale."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from gateway.acoustics.measure import Conditions, measured_value
from gateway.acoustics.quantities import quantity_rule
from gateway.acoustics.uncertainty import combined, shown
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.measurement import Measurement, MeasurementKind, TissueSpeed
from gateway.model.session import Probe
from gateway.model.uncertainty import UncertaintyComponent

CALIBRATION = Calibration(
    0.0625,
    0.0625,
    DepthAxis.LEFT_TO_RIGHT,
    SectorGeometry(Point(-112.0, 240.0), 2.0),
    1550.0,
    scale_tolerance_percent=1.0,
)
PROBE = Probe("SECTOR_MECH", 10.0, 2.0)


def polygon_area(corners):
    """Twice-signed shoelace over two (common practice)."""
    x, y = corners.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


points = st.builds(Point, st.floats(20, 600), st.floats(0, 480))


DRAWN = [kind for kind in MeasurementKind if quantity_rule(kind).most and kind is not MeasurementKind.ARC_BASE]
"""Kinds that follow from points alone; a base along the wall is no multiple of its chord."""
CORNERED = {
    *(MeasurementKind.AREA, MeasurementKind.PERIMETER),
    *(MeasurementKind.PERPENDICULAR_HEIGHT, MeasurementKind.TWO_CHORD_BASE),
}


@st.composite
def measurements(draw) -> Measurement:
    kind = draw(st.sampled_from(DRAWN))
    rule = quantity_rule(kind)
    most = {MeasurementKind.CIRCUMFERENCE: 2, MeasurementKind.PATH_LENGTH: 8}.get(kind, min(rule.most, 4))
    count = draw(st.integers(rule.fewest, most))
    chosen = draw(st.lists(points, min_size=count, max_size=count))
    assume(all(math.dist((a.x, a.y), (b.x, b.y)) > 1 for a, b in pairwise(chosen)))
    if kind in CORNERED:
        corners = np.array([(point.x, point.y) for point in chosen])
        assume(abs(polygon_area(corners)) > 100)
        assume(len(chosen) < 4 or Polygon(corners).is_valid)
    speed = TissueSpeed(draw(st.floats(900, 1700)), "x", "x", draw(st.floats(0.1, 50)))
    return Measurement("m", "c", kind, points=tuple(chosen), tissue_speed=speed)


@given(measurements())
def test_the_whole_is_never_less_than_a_part(measurement):
    value = measured_value(measurement, CALIBRATION, Conditions(PROBE))
    for uncertainty in [value.uncertainty, *([value.corrected.uncertainty] if value.corrected else [])]:
        assert uncertainty.components
        for component in uncertainty.components:
            assert math.isfinite(component.standard)
            assert component.standard <= uncertainty.standard * (1 + 1e-12)
        assert uncertainty.standard <= sum(c.standard for c in uncertainty.components) * (1 + 1e-12)
        assert float(uncertainty.text) >= uncertainty.expanded * (1 - 1e-8)


@given(measurements(), st.floats(1.1, 8.0))
def test_calipers_on_larger_pixels_are_less_certain_in_proportion(measurement, factor):
    measurement = replace(measurement, tissue_speed=None)
    power = {MeasurementKind.ANGLE: 0, MeasurementKind.AREA: 2}.get(measurement.kind, 1)
    small = replace(CALIBRATION, sector=None)
    large = replace(small, mm_per_pixel_x=0.0625 * factor, mm_per_pixel_y=0.0625 * factor)
    first, second = (
        next(c.standard for c in measured_value(measurement, one).uncertainty.components if "calipers" in c.name)
        for one in (small, large)
    )
    # The derivative of an outline is taken numerically.
    assert second == pytest.approx(first * factor**power, rel=1e-5)


@given(measurements(), st.floats(0.01, 20))
def test_twice_the_tolerance_is_twice_the_component(measurement, percent):
    one, two = (
        next(
            c.standard
            for c in measured_value(
                measurement, replace(CALIBRATION, scale_tolerance_percent=percent * times)
            ).uncertainty.components
            if c.name == "scale"
        )
        for times in (1, 2)
    )
    assert two == pytest.approx(2 * one, rel=1e-5)


@given(st.lists(st.floats(0, 1e3), min_size=1, max_size=8), st.floats(1e-3, 1e3))
def test_a_combination_scales_with_its_components_and_knows_no_order(standards, factor):
    def whole(values):
        return combined([UncertaintyComponent("", value, "") for value in values]).standard

    assert whole([factor * s for s in standards]) == pytest.approx(factor * whole(standards))
    assert whole(standards[::-1]) == pytest.approx(whole(standards))
    assert whole([*standards, 1.0]) > whole(standards) or whole(standards) > 1e6


@given(st.floats(1e-6, 1e4), st.integers(0, 4))
def test_shown_digits_never_say_less_than_the_uncertainty(expanded, most):
    text = shown(expanded, most)
    decimals = len(text.partition(".")[2])
    assert decimals <= most
    # 1e-8 of itself is rounded off as binary noise.
    assert float(text) >= expanded * (1 - 1e-8)
    assert float(text) - expanded <= 10.0**-decimals * (1 + 1e-6)
