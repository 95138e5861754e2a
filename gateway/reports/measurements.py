"""Measured values in words: what was measured where, with which speed of sound, and how the number came to be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gateway.acoustics.repeats import shown_mean_and_deviation
from gateway.acoustics.shown_digits import AGREEMENT
from gateway.errors.measurement import MeasurementError
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.measurement import MeasuredValue, Measurement, Quantity, TissueSpeed, ValueOrigin
from gateway.model.uncertainty import Uncertainty
from gateway.reports.characters import seen
from gateway.reports.content import MeasurementRow
from gateway.reports.lengths import length_rows

_HOW: Final = {
    ValueOrigin.RECOMPUTED: f"displayed; recomputed from its calipers within {AGREEMENT:.0%}",
    ValueOrigin.TRANSCRIBED: "transcribed; came without its calipers",
    ValueOrigin.COMPUTED: "computed from its calipers; no number was displayed",
    ValueOrigin.FROM_GATES: "sum of the gated segments; no number was displayed",
    ValueOrigin.DERIVED: "computed from other measurements; no number was displayed",
    ValueOrigin.DERIVED_AGAIN: f"displayed; computed again from other measurements within {AGREEMENT:.0%}",
}


def measurement_row(exam: Exam, value: MeasuredValue, numbers: Mapping[str, int]) -> MeasurementRow:
    """Say one measured value."""
    measurement, corrected = value.measurement, value.corrected
    capture = exam.capture(measurement.capture_id)
    structure = seen(measurement.structure.replace("-", " "))
    return MeasurementRow(
        id=seen(measurement.id),
        eye=capture.eye,
        what=f"{measurement.kind.words}, {structure}" if structure else measurement.kind.words,
        finding=_finding_words(exam, measurement),
        place=seen(capture.position.words),
        picture=_picture_words(capture, measurement, numbers[capture.id]),
        value=seen(value.value.words),
        uncertainty=_beside(value.value, value.uncertainty),
        corrected=seen(corrected.quantity.words) if corrected else "",
        corrected_uncertainty=_beside(corrected.quantity, corrected.uncertainty) if corrected else "",
        speed=_speed_words(capture, value),
        formula=seen(corrected.formula) if corrected else "",
        how=seen("; ".join(part for part in (_HOW[value.origin], value.equation, *value.remarks) if part)),
        not_corrected=seen(value.not_corrected_because),
        repeats=_repeats_words(measurement.repeats),
        measured_by=seen(measurement.measured_by.words) if measurement.measured_by else "",
        comment=seen(measurement.comment),
        lengths=length_rows(value),
    )


def speed_sources(values: Sequence[MeasuredValue]) -> tuple[str, ...]:
    """Return each speed of sound that a value was corrected to, or that a segment has, once, with who says so."""
    speeds = [speed for value in values if value.corrected for speed in value.corrected.speeds]
    speeds += [part.gate.speed for value in values for length in value.biometry for part in length.segments]
    return tuple(dict.fromkeys(seen(f"{_tissue_words(speed)}: {speed.source}") for speed in speeds))


def _beside(quantity: Quantity, uncertainty: Uncertainty | None) -> str:
    return uncertainty.plus_minus(quantity.unit.words) if uncertainty else ""


def _tissue_words(speed: TissueSpeed) -> str:
    tissue = speed.tissue.replace("-", " ")
    return f"{speed.speed_m_per_s:g} m/s, {tissue}" if tissue else f"{speed.speed_m_per_s:g} m/s"


def _speed_words(capture: Capture, value: MeasuredValue) -> str:
    """Say the speed that the device assumed and, where the value was corrected, the speed used instead."""
    if value.sources:
        return "those of what it is computed from"
    if value.corrected:
        used = ", then ".join(_tissue_words(speed) for speed in value.corrected.speeds)
        return seen(f"{value.corrected.assumed_speed_m_per_s:g} → {used}")
    if value.origin is ValueOrigin.FROM_GATES:
        return "each segment's own"
    if value.measurement.reading_m_per_s is not None:
        return f"{value.measurement.reading_m_per_s:g} m/s, as stated for the reading"
    if capture.calibration and capture.calibration.assumed_speed_m_per_s is not None:
        return f"{capture.calibration.assumed_speed_m_per_s:g} m/s, as the device assumed"
    return "not stated"


def _finding_words(exam: Exam, measurement: Measurement) -> str:
    named = [finding for finding in exam.findings if finding.id == measurement.finding_id]
    return seen(named[0].what.words) if named else ""


def _picture_words(capture: Capture, measurement: Measurement, number: int) -> str:
    if capture.kind is CaptureKind.LOOP and measurement.frame is not None:
        return f"picture {number}, frame {measurement.frame}"
    return f"picture {number}"


def _repeats_words(repeats: Sequence[Quantity]) -> str:
    """Say repeats as they were displayed, with mean and spread where they can be taken."""
    if not repeats:
        return ""
    text = "repeats " + ", ".join(quantity.words for quantity in repeats)
    try:
        mean, deviation = shown_mean_and_deviation(repeats)
    except MeasurementError:
        return text
    return f"{text}: mean {mean.words}, standard deviation {deviation.words}"
