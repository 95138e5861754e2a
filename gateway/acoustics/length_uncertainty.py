"""How far a length by layers, or by a published correction, may be off (JCGM 100:2008, clauses named beside).

As for calipers, only what is stated counts and what is not is named as left out. Segments of one tissue share the error
of its speed, and an echo between two gates moves both, so neither is counted twice (5.2.2, F.1.2.4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from gateway.acoustics.biometry import EyeState, corrected_length, length_rule, segments_of, ungated_us
from gateway.acoustics.quantities import between_units, in_unit
from gateway.acoustics.repeatability import repeatability_components
from gateway.acoustics.resolution import pulse_time_us
from gateway.acoustics.uncertainty import HALF_WIDTH, WHOLE_WIDTH, combined, remark_on, shown
from gateway.model.biometry import Gate, LengthFormula, Segment
from gateway.model.measurement import MeasuredValue, Measurement, Unit
from gateway.model.repeatability import RepeatabilityFigure
from gateway.model.session import Probe
from gateway.model.uncertainty import Uncertainty, UncertaintyComponent

Parts = tuple[list[UncertaintyComponent], list[str]]

_STEP = 1e-6
"""Share of a reading by which it is moved to see how a correction follows it."""


def layers_uncertainty(
    measurement: Measurement, unit: Unit, decimals: int, probe: Probe, figures: Sequence[RepeatabilityFigure]
) -> Uncertainty:
    """Return the budget of the sum of a measurement's gated segments.

    Parameters
    ----------
    unit : Unit
        Of the length and of its uncertainty.
    decimals : int
        With which the length is shown.
    """
    gates = measurement.gates
    slope_mm_per_us = math.hypot(*_slopes_mm_per_us(gates))
    included, left_out = _speeds(segments_of(gates), unit)
    for parts in (
        _times(measurement, in_unit(slope_mm_per_us, unit)),
        _resolution(probe, in_unit(slope_mm_per_us, unit)),
        repeatability_components(measurement, unit, figures),
    ):
        included += parts[0]
        left_out += parts[1]
    if ungated_us(gates) > 0:
        left_out.append("what lies between the gates (it belongs to no segment)")
    return _with_digits(combined(included, left_out, remark_on(measurement)), decimals)


def _slopes_mm_per_us(gates: Sequence[Gate]) -> list[float]:
    """Return how the sum follows the time of each echo; one that ends a gate and begins the next moves both."""
    by_time_us: dict[float, float] = {}
    for gate in gates:
        half_speed_mm_per_us = gate.speed.speed_m_per_s / 2000
        by_time_us[gate.start_us] = by_time_us.get(gate.start_us, 0.0) - half_speed_mm_per_us
        by_time_us[gate.end_us] = by_time_us.get(gate.end_us, 0.0) + half_speed_mm_per_us
    return list(by_time_us.values())


def _speeds(segments: Sequence[Segment], unit: Unit) -> Parts:
    included, left_out = [], []
    by_tissue: dict[str, list[Segment]] = {}
    for segment in segments:
        by_tissue.setdefault(segment.gate.speed.tissue or f"segment {segment.gate.segment}", []).append(segment)
    for tissue, of_tissue in by_tissue.items():
        name = f"speed of sound in {tissue.replace('-', ' ')}"
        tolerances = [segment.gate.speed.tolerance_m_per_s for segment in of_tissue]
        if None in tolerances:
            left_out.append(f"{name} (its tolerance is not stated)")
        moved_mm = sum(
            segment.length_mm / segment.gate.speed.speed_m_per_s * (tolerance or 0.0)
            for segment, tolerance in zip(of_tissue, tolerances, strict=True)
        )
        if moved_mm > 0:
            stated = " and ".join(dict.fromkeys(f"{tolerance:g}" for tolerance in tolerances if tolerance))
            how = f"stated tolerance {stated} m/s either way, rectangular"
            included.append(UncertaintyComponent(name, in_unit(moved_mm, unit) * HALF_WIDTH, how))
    return included, left_out


def _times(measurement: Measurement, slope_per_us: float) -> Parts:
    tolerance_us = measurement.gate_tolerance_us
    if tolerance_us is None:
        return [], ["times of the echoes (their tolerance is not stated)"]
    how = f"stated tolerance {tolerance_us:g} us either way at each echo, rectangular"
    return [UncertaintyComponent("times of the echoes", slope_per_us * tolerance_us * HALF_WIDTH, how)], []


def _resolution(probe: Probe, slope_per_us: float) -> Parts:
    pulse_us = pulse_time_us(probe)
    if pulse_us is None:
        return [], ["resolution (cycles or bandwidth of the pulse not stated)"]
    pulse = f"{probe.cycles:g} cycles" if probe.cycles is not None else f"{probe.bandwidth_mhz:g} MHz bandwidth"
    how = f"pulse of {pulse_us:.3g} us from {pulse}, as width of a rectangle at each echo"
    return [UncertaintyComponent("axial resolution", slope_per_us * pulse_us * WHOLE_WIDTH, how)], []


def formula_uncertainty(formula: LengthFormula, value: MeasuredValue, state: EyeState, decimals: int) -> Uncertainty:
    """Return the budget of a corrected reading: the reading's own as the correction passes it on, and the correction's.

    Parameters
    ----------
    value : MeasuredValue
        The reading that was corrected, in the unit of the result.
    """
    unit, of_reading = value.value.unit, value.uncertainty or Uncertainty(())
    reading_mm = between_units(value.value.value, unit, Unit.MM)
    slope = _slope(formula, reading_mm, state)
    included = [
        replace(part, name=f"reading: {part.name}", standard=slope * part.standard) for part in of_reading.components
    ]
    # Which speed the eye truly has is the correction's own question below.
    left_out = [f"reading: {words}" for words in of_reading.not_included if not words.startswith("speed of sound (")]
    rule = length_rule(formula)
    if rule.spread is not None:
        standard = in_unit(reading_mm * rule.spread, unit)
        how = f"standard deviation {rule.spread:g} of the factor, {rule.reference}"
        included.append(UncertaintyComponent("correction between eyes (published, not yours)", standard, how, True))
    else:
        left_out.append("how far this eye lies from the published correction (no spread was published with it)")
    if rule.factors:
        left_out.append("thickness of the implant (its tolerance is not stated)")
    return _with_digits(combined(included, left_out, of_reading.remark), decimals)


def _slope(formula: LengthFormula, reading_mm: float, state: EyeState) -> float:
    further_mm = reading_mm * (1 + _STEP)
    at, beyond = (corrected_length(formula, length, state).length_mm for length in (reading_mm, further_mm))
    return abs(beyond - at) / (further_mm - reading_mm)


def _with_digits(uncertainty: Uncertainty, decimals: int) -> Uncertainty:
    if not uncertainty.is_stated:
        return uncertainty
    return replace(uncertainty, text=shown(uncertainty.expanded, decimals))
