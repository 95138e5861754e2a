"""Lengths by named methods in words: the method stands beside the value wherever the value stands."""

from __future__ import annotations

from gateway.model.biometry import LENS_POWER_CAUTION, BiometryValue
from gateway.model.measurement import MeasuredValue, MeasurementKind, ValueOrigin
from gateway.reports.characters import seen
from gateway.reports.content import LengthRow
from gateway.standard.codes import concept


def length_rows(value: MeasuredValue) -> tuple[LengthRow, ...]:
    """Return a row for each length by a named method, in the order in which they were worked out."""
    caution = (LENS_POWER_CAUTION,) if value.measurement.kind is MeasurementKind.AXIAL_LENGTH else ()
    return tuple(
        LengthRow(
            value=length.quantity.words,
            uncertainty=length.uncertainty.plus_minus(length.quantity.unit.words) if length.uncertainty else "",
            method=concept("length_method", length.method).meaning,
            basis=seen("; ".join((_segments(length) or length.worked, length.reference))),
            remarks=tuple(seen(remark) for remark in (*length.remarks, *caution)),
            is_the_value=value.origin is ValueOrigin.FROM_GATES,
        )
        for length in value.biometry
    )


def _segments(length: BiometryValue) -> str:
    return ", ".join(
        f"{segment.gate.segment.replace('-', ' ')} {segment.length_mm:.2f} mm ({segment.gate.time_us:.10g} µs at "
        f"{segment.gate.speed.speed_m_per_s:g} m/s)"
        for segment in length.segments
    )
