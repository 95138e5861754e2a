"""Second lengths of a measurement: the sum of its gated segments, and a published correction, never mixed.

The number that was displayed stays as it is. Each second length carries its method, equation, speeds and reference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gateway.acoustics.biometry import (
    EyeState,
    corrected_length,
    length_rule,
    one_speed_mm,
    segments_of,
    ungated_us,
    unstated,
)
from gateway.acoustics.length_uncertainty import formula_uncertainty, layers_uncertainty
from gateway.acoustics.quantities import between_units, in_unit
from gateway.errors.measurement import FormulaNotApplicableError, GatesDisagreeError
from gateway.model.biometry import BiometryValue, LengthFormula
from gateway.model.capture import Capture
from gateway.model.measurement import MeasuredValue, Measurement, MeasurementKind, Quantity, Unit, ValueOrigin
from gateway.model.repeatability import RepeatabilityFigure
from gateway.model.session import Probe

GATES_AGREEMENT = 0.01
"""Displayed number and gates may differ by this share of the displayed one, as calipers may."""

_NO_PROBE = Probe()
LAYERS_EQUATION = "sum of v t / 2 over the segments"
LAYERS_REFERENCE = "time of flight, each segment at its own speed of sound"


def from_gates(measurement: Measurement) -> MeasuredValue:
    """Return the sum of the segments of a measurement that has gates and no displayed number.

    Raises
    ------
    GateOrderError, SpeedNotPhysicalError
    """
    layered = _layered(measurement, Unit.MM, decimals=2)
    return MeasuredValue(measurement, layered.quantity, ValueOrigin.FROM_GATES, biometry=(layered,))


def with_second_lengths(
    value: MeasuredValue, capture: Capture, probe: Probe = _NO_PROBE, figures: Sequence[RepeatabilityFigure] = ()
) -> MeasuredValue:
    """Return a measured value with the lengths that its gates and its formula give beside it.

    Parameters
    ----------
    figures : sequence of RepeatabilityFigure
        Those that hold for the measurement, the one to be used first.

    Raises
    ------
    GateOrderError, GatesDisagreeError, FormulaNotApplicableError
    """
    measurement = value.measurement
    decimals = len(value.value.text.partition(".")[2])
    found = list(value.biometry)
    if measurement.gates and not found:
        layered = _layered(measurement, value.value.unit, decimals)
        _require_agreement(value.value, layered, measurement, reading_speed(measurement, capture))
        found.append(layered)
    if measurement.gates:
        budget = layers_uncertainty(measurement, value.value.unit, decimals, probe, figures)
        found = [replace(layered, uncertainty=budget) for layered in found]
        if value.origin is ValueOrigin.FROM_GATES:
            value = replace(value, uncertainty=budget)
    if measurement.formula is not None:
        found.append(_by_formula(measurement.formula, value, capture, decimals))
    return replace(value, biometry=tuple(found)) if found else value


def reading_speed(measurement: Measurement, capture: Capture) -> float | None:
    """Return the speed at which the displayed number was read; a stated one goes before the picture's."""
    if measurement.reading_m_per_s is not None:
        return measurement.reading_m_per_s
    return capture.calibration.assumed_speed_m_per_s if capture.calibration else None


def eye_state(measurement: Measurement, capture: Capture) -> EyeState:
    """Return what is stated of the eye behind a measurement."""
    return EyeState(reading_speed(measurement, capture), capture.lens, capture.vitreous, measurement.implant)


def _layered(measurement: Measurement, unit: Unit, decimals: int) -> BiometryValue:
    gates = measurement.gates
    segments = segments_of(gates)
    total_mm = sum(segment.length_mm for segment in segments)
    terms = " + ".join(f"{gate.time_us:.10g} us x {gate.speed.speed_m_per_s:g} m/s" for gate in gates)
    gap_us = ungated_us(gates)
    remarks = (f"{gap_us:.3g} us between the gates belong to no segment and are not in the sum",) if gap_us > 0 else ()
    return BiometryValue(
        _quantity(total_mm, unit, decimals),
        None,
        LAYERS_EQUATION,
        f"({terms}) / 2",
        LAYERS_REFERENCE,
        segments=segments,
        remarks=remarks,
    )


def _quantity(length_mm: float, unit: Unit, decimals: int) -> Quantity:
    value = in_unit(length_mm, unit)
    return Quantity(value, unit, f"{value:.{decimals}f}")


def _require_agreement(
    displayed: Quantity, layered: BiometryValue, measurement: Measurement, reading_m_per_s: float | None
) -> None:
    """Require the number to be the sum of the segments, or the whole time at one speed: devices show either."""
    could_be = [layered.quantity.value]
    if reading_m_per_s is not None:
        could_be.append(in_unit(one_speed_mm(measurement.gates, reading_m_per_s), displayed.unit))
    # The tiny allowance is for the binary representation of decimal digits, not for the measurement.
    allowed = GATES_AGREEMENT * abs(displayed.value) + 1e-12
    if min(abs(length - displayed.value) for length in could_be) > allowed:
        lengths = " or ".join(f"{length:.4g} {displayed.unit.value}" for length in could_be)
        raise GatesDisagreeError(
            "displayed value and gates differ by more than 1 %",
            was=f"{displayed.words} displayed, {lengths} from the gates",
            fix="look at the gates and at the speed of the reading",
        )


def _by_formula(formula: LengthFormula, value: MeasuredValue, capture: Capture, decimals: int) -> BiometryValue:
    measurement = value.measurement
    if measurement.kind is not MeasurementKind.AXIAL_LENGTH or value.origin is ValueOrigin.FROM_GATES:
        raise FormulaNotApplicableError(
            f"{formula.value} is for an axial length read at one speed",
            was="gates alone" if value.origin is ValueOrigin.FROM_GATES else measurement.kind.words,
            fix="give the displayed reading, or leave formula out",
        )
    state = eye_state(measurement, capture)
    reading_mm = between_units(value.value.value, value.value.unit, Unit.MM)
    corrected = corrected_length(formula, reading_mm, state)
    rule = length_rule(formula)
    return BiometryValue(
        _quantity(corrected.length_mm, value.value.unit, decimals),
        formula,
        corrected.equation,
        f"{corrected.worked} mm" if value.value.unit is not Unit.MM else corrected.worked,
        rule.reference,
        reading_m_per_s=state.reading_m_per_s,
        whole_eye_m_per_s=rule.whole_eye_m_per_s,
        remarks=unstated(formula, state),
        uncertainty=formula_uncertainty(formula, value, state, decimals),
    )
