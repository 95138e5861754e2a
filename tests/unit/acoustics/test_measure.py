from __future__ import annotations

import math

import pytest

from gateway.acoustics.measure import measured_value
from gateway.errors.measurement import (
    DisplayedValueDisagreesError,
    MeasurementError,
    NoScaleError,
    PointCountError,
    PointsCoincideError,
    SpeedNotPhysicalError,
)
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, TissueSpeed, Unit, ValueOrigin

SCALE = 0.1
LINEAR = Calibration(SCALE, SCALE, DepthAxis.LEFT_TO_RIGHT, None, 1550.0)
VITREOUS = TissueSpeed(1532.0, "vitreous", "test")


def length(*points: tuple[float, float], displayed: str = "", tissue: TissueSpeed | None = None) -> Measurement:
    quantity = Quantity(float(displayed), Unit.MM, displayed) if displayed else None
    return Measurement(
        "m1",
        "c1",
        MeasurementKind.DISTANCE,
        points=tuple(Point(*p) for p in points),
        displayed=quantity,
        tissue_speed=tissue,
    )


def test_a_number_without_points_travels_untouched_and_is_never_corrected() -> None:
    value = measured_value(length(displayed="4.20", tissue=VITREOUS), LINEAR)
    assert value.origin is ValueOrigin.TRANSCRIBED
    assert value.value.words == "4.20 mm"
    assert value.corrected is None
    assert "calipers" in value.not_corrected_because


def test_the_displayed_value_is_kept_and_the_recomputed_stands_beside_it() -> None:
    value = measured_value(length((0, 0), (100.4, 0), displayed="10.0"), LINEAR)
    assert value.value.value == 10.0
    assert value.recomputed is not None
    assert value.recomputed.value == pytest.approx(10.04)


def test_one_percent_apart_is_held_just_below_goes_on() -> None:
    measured_value(length((0, 0), (100.99, 0), displayed="10.0"), LINEAR)
    with pytest.raises(DisplayedValueDisagreesError):
        measured_value(length((0, 0), (101.01, 0), displayed="10.0"), LINEAR)


def test_displayed_centimetres_are_compared_as_centimetres() -> None:
    in_cm = Measurement(
        "m1",
        "c1",
        MeasurementKind.DISTANCE,
        points=(Point(0, 0), Point(100, 0)),
        displayed=Quantity(1.0, Unit.CM, "1.0"),
    )
    assert measured_value(in_cm, LINEAR).recomputed == Quantity(1.0, Unit.CM, "1.0")


def test_correction_on_the_depth_axis_without_a_pivot() -> None:
    value = measured_value(length((0, 0), (100, 0), displayed="10.00", tissue=VITREOUS), LINEAR)
    assert value.corrected is not None
    assert value.corrected.quantity.value == pytest.approx(10 * 1532 / 1550)
    assert value.corrected.quantity.words == "9.88 mm"
    assert value.value.value == 10.0


def test_correction_off_the_axis_without_a_pivot_is_refused_with_the_reason() -> None:
    value = measured_value(length((0, 0), (100, 50), tissue=VITREOUS), LINEAR)
    assert value.corrected is None
    assert "pivot" in value.not_corrected_because


def test_correction_off_the_axis_along_a_beam_with_a_pivot() -> None:
    calibration = Calibration(SCALE, SCALE, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(-80, 0), 8.0), 1550.0)
    direction = math.cos(math.radians(20)), math.sin(math.radians(20))
    near, far = ((-80 + r * direction[0], r * direction[1]) for r in (280.0, 320.0))
    value = measured_value(length(near, far, tissue=VITREOUS), calibration)
    assert value.corrected is not None
    assert value.corrected.quantity.value == pytest.approx(4.0 * 1532 / 1550)


def test_no_correction_where_the_device_used_the_tissue_speed() -> None:
    value = measured_value(length((0, 0), (100, 0), tissue=TissueSpeed(1550.0, "tumour", "test")), LINEAR)
    assert value.corrected is None
    assert "already" in value.not_corrected_because


@pytest.mark.parametrize(
    ("measurement", "calibration", "error"),
    [
        (length((0, 0), (1, 0)), None, NoScaleError),
        (length((0, 0)), LINEAR, PointCountError),
        (length((3, 3), (3, 3)), LINEAR, PointsCoincideError),
        (length(), LINEAR, MeasurementError),
        (length((0, 0), (1, 0), tissue=TissueSpeed(-1532.0, "", "test")), LINEAR, SpeedNotPhysicalError),
    ],
)
def test_nonsense_raises_its_own_error(
    measurement: Measurement, calibration: Calibration | None, error: type[Exception]
) -> None:
    with pytest.raises(error):
        measured_value(measurement, calibration)


def test_a_point_behind_the_probe_is_not_corrected() -> None:
    calibration = Calibration(SCALE, SCALE, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(0, 0), 8.0), 1550.0)
    value = measured_value(length((10, 0), (100, 0), tissue=VITREOUS), calibration)
    assert value.corrected is None
    assert "behind the probe" in value.not_corrected_because


def test_angle_and_area() -> None:
    right_angle = Measurement("m", "c", MeasurementKind.ANGLE, points=(Point(10, 0), Point(0, 0), Point(0, 10)))
    assert measured_value(right_angle, LINEAR).value.value == pytest.approx(90.0)
    square = Measurement(
        "m", "c", MeasurementKind.AREA, points=(Point(0, 0), Point(100, 0), Point(100, 100), Point(0, 100))
    )
    assert measured_value(square, LINEAR).value.value == pytest.approx(100.0)
