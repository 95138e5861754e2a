"""Calipers on an A-scan: a length along depth, whatever the height of the spikes; never one across the amplitude."""

from __future__ import annotations

import pytest

from gateway.acoustics.measure import measured_value
from gateway.acoustics.traces import along_depth_alone
from gateway.errors.measurement import PointsCoincideError, TraceNotMeasurableError
from gateway.model.calibration import Calibration, DepthAxis, Point
from gateway.model.measurement import MeasuredValue, Measurement, MeasurementKind, Medium, TissueSpeed

VITREOUS = TissueSpeed(1532.0, "vitreous", "test")
TRACE = Calibration(0.1, 0.1, DepthAxis.LEFT_TO_RIGHT, None, 1550.0)


def between(*points: tuple[float, float], kind: MeasurementKind = MeasurementKind.DISTANCE) -> Measurement:
    return Measurement("m", "c", kind, points=tuple(Point(*p) for p in points), tissue_speed=VITREOUS)


def measured(measurement: Measurement, calibration: Calibration = TRACE) -> MeasuredValue:
    return measured_value(measurement, along_depth_alone(measurement, calibration))


@pytest.mark.parametrize("height_px", [0, 40, -200])
def test_the_height_of_a_spike_adds_nothing_to_a_length(height_px: float) -> None:
    value = measured(between((20, 300), (120, 300 + height_px)))
    assert value.value.value == pytest.approx(10.0)
    assert value.corrected is not None
    assert value.corrected.quantity.value == pytest.approx(10.0 * 1532 / 1550)


def test_only_the_place_along_depth_is_uncertain() -> None:
    value = measured(between((20, 300), (120, 340)))
    assert value.uncertainty is not None
    (calipers, *_others) = value.uncertainty.components
    # Half a pixel of 0.1 mm either way, rectangular, at each of two ends: 0.1 / sqrt(12) x sqrt(2).
    assert calipers.standard == pytest.approx(0.1 / 12**0.5 * 2**0.5)


def test_a_trace_may_run_downwards() -> None:
    downwards = Calibration(0.1, 0.2, DepthAxis.TOP_DOWN, None, 1550.0)
    assert measured(between((20, 100), (90, 150)), downwards).value.value == pytest.approx(10.0)


def test_two_calipers_at_one_depth_have_no_length() -> None:
    with pytest.raises(PointsCoincideError):
        measured(between((20, 300), (20, 340)))


def test_without_a_depth_axis_nothing_is_measured() -> None:
    with pytest.raises(TraceNotMeasurableError, match="depth axis"):
        measured(between((20, 300), (120, 300)), Calibration(0.1, 0.1))


@pytest.mark.parametrize("kind", [MeasurementKind.ANGLE, MeasurementKind.AREA, MeasurementKind.PATH_LENGTH])
def test_what_an_a_scan_does_not_show_is_refused(kind: MeasurementKind) -> None:
    with pytest.raises(TraceNotMeasurableError, match="along depth alone"):
        measured(between((20, 300), (120, 340), (60, 10), kind=kind))


def test_media_on_a_trace_are_for_gates() -> None:
    calipers = Measurement(
        "m", "c", MeasurementKind.DEPTH, points=(Point(1, 1), Point(9, 1)), media=(Medium(VITREOUS),)
    )
    with pytest.raises(TraceNotMeasurableError, match="gates"):
        along_depth_alone(calipers, TRACE)
