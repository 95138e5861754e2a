"""Whatever is measured: an uncertainty is never smaller than a part of it, and follows the scale."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gateway.acoustics.measure import Conditions, measured_value
from gateway.acoustics.quantities import OUTLINED, quantity_rule
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

points = st.builds(Point, st.floats(20, 600), st.floats(0, 480))


@st.composite
def measurements(draw) -> Measurement:
    kind = draw(st.sampled_from([kind for kind in MeasurementKind if quantity_rule(kind).most]))
    rule = quantity_rule(kind)
    count = draw(st.integers(3, 8)) if rule.most > 4 else rule.fewest
    chosen = draw(st.lists(points, min_size=count, max_size=count))
    assume(all(math.dist((a.x, a.y), (b.x, b.y)) > 1 for a, b in combinations(chosen, 2)))
    if kind in OUTLINED:
        chosen = around_their_middle(chosen)
    speed = TissueSpeed(draw(st.floats(900, 1700)), "x", "x", draw(st.floats(0.1, 50)))
    sphere_mm = 50.0 if kind is MeasurementKind.ARC_BASE else None
    return Measurement("m", "c", kind, points=tuple(chosen), tissue_speed=speed, sphere_diameter_mm=sphere_mm)


def around_their_middle(corners: list[Point]) -> list[Point]:
    """Put corners in the order in which an outline around their middle passes them: it then does not cross itself."""
    x, y = (math.fsum(values) / len(corners) for values in zip(*((p.x, p.y) for p in corners), strict=True))
    turned = sorted(corners, key=lambda p: math.atan2(p.y - y, p.x - x))
    angles = [math.atan2(p.y - y, p.x - x) for p in turned]
    assume(all(b - a > 0.01 for a, b in pairwise(angles)) and angles[-1] - angles[0] > math.pi)
    assume(all((b - a) < math.pi - 0.01 for a, b in pairwise(angles)))
    return turned


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
    # A base on a sphere does not grow with its chord alone.
    assume(measurement.kind is not MeasurementKind.ARC_BASE)
    measurement = replace(measurement, tissue_speed=None)
    power = {MeasurementKind.ANGLE: 0, MeasurementKind.AREA: 2}.get(measurement.kind, 1)
    small = replace(CALIBRATION, sector=None)
    large = replace(small, mm_per_pixel_x=0.0625 * factor, mm_per_pixel_y=0.0625 * factor)
    first, second = (
        next(c.standard for c in measured_value(measurement, one).uncertainty.components if "calipers" in c.name)
        for one in (small, large)
    )
    # Slopes found by small steps have fewer digits than those in closed form.
    assert second == pytest.approx(first * factor**power, rel=1e-6)


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
    assert two == pytest.approx(2 * one, rel=1e-9)


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
