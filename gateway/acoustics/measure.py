"""The measure step: recompute every measurement from its calipers, compare, and correct for the stated tissue."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from gateway.acoustics.axial_lengths import from_gates, with_second_lengths
from gateway.acoustics.beams import for_other_speed_mm, to_mm
from gateway.acoustics.quantities import computed_value, in_unit, measures, quantity_rule
from gateway.acoustics.repeatability import figures_for
from gateway.acoustics.uncertainty import Reading, caliper_uncertainty, shown, transcribed_uncertainty
from gateway.errors import GatewayError
from gateway.errors.measurement import (
    CorrectionRefusedError,
    DisplayedValueDisagreesError,
    MeasurementError,
    NoScaleError,
    PointBehindProbeError,
)
from gateway.model.calibration import Calibration
from gateway.model.exam import Exam, HeldPart, MeasuredExam
from gateway.model.measurement import (
    CorrectedValue,
    MeasuredValue,
    Measurement,
    Quantity,
    Unit,
    ValueOrigin,
)
from gateway.model.repeatability import RepeatabilityFigure
from gateway.model.session import Probe
from gateway.model.uncertainty import Uncertainty

AGREEMENT = 0.01
"""Displayed and recomputed value may differ by this share of the displayed one."""

_DECIMALS = {Unit.MM: 2, Unit.CM: 3, Unit.UM: 0, Unit.MM2: 1, Unit.CM2: 3, Unit.DEG: 1}
"""Digits shown where the source displayed none: a hundredth of a millimetre, finer than any 10 MHz probe resolves."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the uncertainty of one measurement rests on besides points and scale.

    Parameters
    ----------
    probe : Probe
    figures : tuple of RepeatabilityFigure
        Those that hold for the measurement, the one to be used first.
    """

    probe: Probe = field(default_factory=Probe)
    figures: tuple[RepeatabilityFigure, ...] = ()


_NOTHING_KNOWN = Conditions()


def measure(exam: Exam, repeatability: Sequence[RepeatabilityFigure] = ()) -> MeasuredExam:
    """Measure every measurement of an exam; those that contradict themselves are held, the others go on.

    Parameters
    ----------
    exam : Exam
    repeatability : sequence of RepeatabilityFigure
        How much readings differ, as published or as the site found.

    Returns
    -------
    MeasuredExam
        One value for each measurement that could be measured, in the exam's order, and the held ones with reasons.
    """
    values: list[MeasuredValue] = []
    held: list[HeldPart] = []
    for measurement in exam.measurements:
        capture = exam.capture(measurement.capture_id)
        conditions = Conditions(exam.session.probe, figures_for(measurement, capture, repeatability))
        try:
            value = measured_value(measurement, capture.calibration, conditions)
            values.append(with_second_lengths(value, capture, conditions.probe, conditions.figures))
        except GatewayError as error:
            place = exam.origins.get(f"measurements {measurement.id}")
            error.where = error.where or place or f"measurement {measurement.id} on {measurement.capture_id}"
            held.append(HeldPart(place.field if place else "measurements", measurement.id, error))
    return MeasuredExam(exam, tuple(values), tuple(held))


def measured_value(
    measurement: Measurement, calibration: Calibration | None, conditions: Conditions = _NOTHING_KNOWN
) -> MeasuredValue:
    """Measure one measurement.

    A number without points travels as transcribed and is never corrected. Points give a recomputed value, which must
    agree with the displayed one; a stated tissue gives a corrected value beside it, never instead of it.

    Raises
    ------
    NoScaleError, PointCountError, PointsCoincideError, DisplayedValueDisagreesError, MeasurementError
    """
    displayed = measurement.displayed
    if displayed is not None and not measures(measurement.kind, displayed.unit):
        raise MeasurementError(
            f"{measurement.kind.words} cannot be given in this unit",
            was=displayed.unit.value,
            fix=f"write it in {quantity_rule(measurement.kind).unit.value}",
        )
    if measurement.gates and displayed is None and not measurement.points:
        return from_gates(measurement)
    if not measurement.points:
        return _transcribed(measurement, conditions)
    if calibration is None:
        raise NoScaleError("calipers on a picture without a scale", fix="state mm_per_pixel for this capture")
    points_px = np.array([(p.x, p.y) for p in measurement.points], dtype=np.float64)
    unit = displayed.unit if displayed else quantity_rule(measurement.kind).unit
    value = in_unit(computed_value(measurement.kind, to_mm(points_px, calibration)), unit)
    recomputed = Quantity(value, unit, _shown(value, unit, displayed))
    if displayed is not None:
        _require_agreement(displayed, recomputed)
    reading = Reading(measurement, calibration, points_px, unit, displayed=displayed)
    uncertainty = _with_digits(caliper_uncertainty(reading, conditions.probe, conditions.figures), unit, displayed)
    if displayed is None:
        recomputed = _following(recomputed, uncertainty)
    corrected, reason = _corrected(replace(reading, displayed=None), recomputed, conditions)
    return MeasuredValue(
        measurement,
        displayed or recomputed,
        ValueOrigin.RECOMPUTED if displayed else ValueOrigin.COMPUTED,
        recomputed,
        corrected,
        reason,
        uncertainty,
    )


def _transcribed(measurement: Measurement, conditions: Conditions) -> MeasuredValue:
    displayed = measurement.displayed
    if displayed is None:
        raise MeasurementError(
            "neither points nor a displayed value", fix="give the calipers, the number that was displayed, or both"
        )
    reason = "the number came without its calipers" if measurement.tissue_speed else ""
    uncertainty = transcribed_uncertainty(measurement, displayed.unit, conditions.figures)
    return MeasuredValue(
        measurement,
        displayed,
        ValueOrigin.TRANSCRIBED,
        not_corrected_because=reason,
        uncertainty=_with_digits(uncertainty, displayed.unit, displayed),
    )


def _require_agreement(displayed: Quantity, recomputed: Quantity) -> None:
    difference = abs(recomputed.value - displayed.value)
    # The tiny allowance is for the binary representation of decimal digits, not for the measurement.
    if difference > AGREEMENT * abs(displayed.value) + 1e-12:
        raise DisplayedValueDisagreesError(
            "displayed value and calipers differ by more than 1 %",
            was=f"{displayed.words} displayed, {recomputed.value:.4g} {recomputed.unit.value} from the calipers",
            fix="look at the capture's scale and at the caliper points",
        )


def _corrected(reading: Reading, recomputed: Quantity, conditions: Conditions) -> tuple[CorrectedValue | None, str]:
    """Return the value for the stated tissue and an empty reason, or None and why there is none."""
    measurement, calibration = reading.measurement, reading.calibration
    speed = measurement.tissue_speed
    if speed is None:
        return None, ""
    assumed = calibration.assumed_speed_m_per_s
    if assumed is None:
        return None, "the speed of sound that the device assumed is not stated"
    if assumed == speed.speed_m_per_s:
        return None, f"the device already used {assumed:g} m/s"
    try:
        moved_mm = for_other_speed_mm(reading.points_px, calibration, speed.speed_m_per_s)
    except (CorrectionRefusedError, PointBehindProbeError) as error:
        return None, str(error)
    value = in_unit(computed_value(measurement.kind, moved_mm), recomputed.unit)
    how = "end points moved along their beams" if calibration.sector else "depth axis scaled"
    formula = f"{how}, depth x {speed.speed_m_per_s:g}/{assumed:g}, refraction neglected"
    at_speed = replace(reading, corrected_to_m_per_s=speed.speed_m_per_s)
    budget = caliper_uncertainty(at_speed, conditions.probe, conditions.figures)
    uncertainty = _with_digits(budget, reading.unit, measurement.displayed)
    quantity = _following(Quantity(value, recomputed.unit), uncertainty)
    return CorrectedValue(quantity, speed, assumed, formula, uncertainty), ""


def _with_digits(uncertainty: Uncertainty, unit: Unit, displayed: Quantity | None) -> Uncertainty:
    if not uncertainty.is_stated:
        return uncertainty
    return replace(uncertainty, text=shown(uncertainty.expanded, _decimals(unit, displayed)))


def _following(quantity: Quantity, uncertainty: Uncertainty) -> Quantity:
    """Show a computed value to the last digit of its uncertainty (JCGM 100:2008 7.2.6); the value itself stays."""
    decimals = len(uncertainty.text.partition(".")[2])
    return replace(quantity, text=f"{quantity.value:.{decimals}f}")


def _shown(value: float, unit: Unit, displayed: Quantity | None) -> str:
    return f"{value:.{_decimals(unit, displayed)}f}"


def _decimals(unit: Unit, displayed: Quantity | None) -> int:
    """Digits as the source showed them, where it showed any."""
    if displayed is not None and displayed.text:
        return len(displayed.text.partition(".")[2])
    return _DECIMALS[unit]
