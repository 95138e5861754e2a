"""The measure step: recompute every measurement from its calipers, compare, and correct for the stated tissue."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from gateway.acoustics.axial_lengths import from_gates, with_second_lengths
from gateway.acoustics.beams import for_other_speed_mm, to_mm
from gateway.acoustics.derived import derived_value
from gateway.acoustics.media_paths import media_words, through_media_mm
from gateway.acoustics.quantities import (
    VOLUMES,
    computed_value,
    drawing_of,
    equation_of,
    in_unit,
    measures,
    quantity_rule,
    remarks_on,
    require_sound,
)
from gateway.acoustics.repeatability import figures_for
from gateway.acoustics.shown_digits import following, quantity_shown, require_agreement, with_digits
from gateway.acoustics.traces import along_depth_alone
from gateway.acoustics.uncertainty import Reading, caliper_uncertainty, transcribed_uncertainty
from gateway.errors import GatewayError
from gateway.errors.document import DependsOnHeldPartError
from gateway.errors.measurement import (
    BorderNotDrawnError,
    CorrectionRefusedError,
    GeometryNotStatedError,
    MeasurementError,
    NoScaleError,
    PointBehindProbeError,
)
from gateway.model.calibration import Calibration
from gateway.model.exam import Exam, HeldPart, MeasuredExam
from gateway.model.measurement import (
    ALREADY_USED,
    CorrectedValue,
    MeasuredValue,
    Measurement,
    Medium,
    Quantity,
    ValueOrigin,
)
from gateway.model.position import Scan
from gateway.model.repeatability import RepeatabilityFigure
from gateway.model.session import Probe


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
    values: dict[int, MeasuredValue] = {}
    held: dict[int, HeldPart] = {}
    # What is computed from other measurements comes after them, wherever it stands.
    for place, measurement in sorted(enumerate(exam.measurements), key=lambda numbered: bool(numbered[1].of)):
        try:
            values[place] = _value_of(exam, measurement, tuple(values.values()), repeatability)
        except GatewayError as error:
            at = exam.origins.get(f"measurements {measurement.id}")
            error.where = error.where or at or f"measurement {measurement.id} on {measurement.capture_id}"
            held[place] = HeldPart(at.field if at else "measurements", measurement.id, error)
    in_order = tuple(values[place] for place in sorted(values))
    return MeasuredExam(exam, in_order, tuple(held[place] for place in sorted(held)))


def _value_of(
    exam: Exam,
    measurement: Measurement,
    measured: Sequence[MeasuredValue],
    repeatability: Sequence[RepeatabilityFigure],
) -> MeasuredValue:
    if measurement.of:
        by_id = {value.measurement.id: value for value in measured}
        missing = [name for name in measurement.of if name not in by_id]
        if missing:
            raise DependsOnHeldPartError(
                "computed from a measurement that is held", was=", ".join(missing), fix="mend that measurement first"
            )
        return derived_value(measurement, [by_id[name] for name in measurement.of])
    capture = exam.capture(measurement.capture_id)
    conditions = Conditions(exam.session.probe, figures_for(measurement, capture, repeatability))
    calibration = capture.calibration
    if calibration is not None and measurement.points and capture.position.scan is Scan.A_SCAN:
        calibration = along_depth_alone(measurement, calibration)
    value = measured_value(measurement, calibration, conditions)
    return with_second_lengths(value, capture, conditions.probe, conditions.figures)


def measured_value(
    measurement: Measurement, calibration: Calibration | None, conditions: Conditions = _NOTHING_KNOWN
) -> MeasuredValue:
    """Measure one measurement.

    A number without points travels as transcribed and is never corrected. Points give a recomputed value, which must
    agree with the displayed one; a stated tissue gives a corrected value beside it, never instead of it.

    Raises
    ------
    NoScaleError, PointCountError, PointsCoincideError, DisplayedValueDisagreesError, MeasurementError
    PointsOnOneLineError, SelfCrossingOutlineError, EllipseAxesError, SphereDiameterError
        For points that no such measurement can have.
    SpeedNotPhysicalError, MediaOrderError, SectorAngleError
        For speeds, media or a sector that cannot be.
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
    points_mm, drawing = to_mm(points_px, calibration), drawing_of(measurement)
    value = in_unit(computed_value(measurement.kind, points_mm, drawing), unit)
    require_sound(measurement.kind, points_mm, drawing)
    recomputed = quantity_shown(value, unit, displayed)
    if displayed is not None:
        require_agreement(displayed, recomputed)
    reading = Reading(measurement, calibration, points_px, unit, displayed=displayed)
    uncertainty = with_digits(caliper_uncertainty(reading, conditions.probe, conditions.figures), unit, displayed)
    if displayed is None:
        recomputed = following(recomputed, uncertainty)
    corrected, reason = _corrected(replace(reading, displayed=None), recomputed, conditions)
    return MeasuredValue(
        measurement,
        displayed or recomputed,
        ValueOrigin.RECOMPUTED if displayed else ValueOrigin.COMPUTED,
        recomputed,
        corrected,
        reason,
        uncertainty,
        equation=equation_of(measurement.kind, drawing, len(points_mm)),
        remarks=remarks_on(measurement.kind, points_mm),
    )


def _transcribed(measurement: Measurement, conditions: Conditions) -> MeasuredValue:
    displayed = measurement.displayed
    if displayed is None:
        raise MeasurementError(
            "neither points nor a displayed value", fix="give the calipers, the number that was displayed, or both"
        )
    is_corrigible = measurement.tissue_speed is not None or bool(measurement.media)
    reason = "the number came without its calipers" if is_corrigible else ""
    uncertainty = transcribed_uncertainty(measurement, displayed.unit, conditions.figures)
    return MeasuredValue(
        measurement,
        displayed,
        ValueOrigin.TRANSCRIBED,
        not_corrected_because=reason,
        uncertainty=with_digits(uncertainty, displayed.unit, displayed),
        remarks=("how its dimensions were taken is not stated",) if measurement.kind in VOLUMES else (),
    )


def _corrected(reading: Reading, recomputed: Quantity, conditions: Conditions) -> tuple[CorrectedValue | None, str]:
    """Return the value for the stated tissue and an empty reason, or None and why there is none."""
    measurement, calibration = reading.measurement, reading.calibration
    media = measurement.media or ((Medium(measurement.tissue_speed),) if measurement.tissue_speed else ())
    if not media:
        return None, ""
    assumed = calibration.assumed_speed_m_per_s
    if assumed is None:
        return None, "the speed of sound that the device assumed is not stated"
    if all(medium.speed.speed_m_per_s == assumed for medium in media):
        return None, f"{ALREADY_USED} {assumed:g} m/s"
    speed = measurement.tissue_speed if not measurement.media else None
    try:
        moved_mm = (
            for_other_speed_mm(reading.points_px, calibration, speed.speed_m_per_s)
            if speed is not None
            else through_media_mm(reading.points_px, calibration, media)
        )
    except (CorrectionRefusedError, GeometryNotStatedError, BorderNotDrawnError, PointBehindProbeError) as error:
        return None, str(error)
    value = in_unit(computed_value(measurement.kind, moved_mm, drawing_of(measurement)), recomputed.unit)
    how = "end points moved along their beams" if calibration.sector or speed is None else "depth axis scaled"
    pieces = media_words(media, assumed) if speed is None else f"depth x {speed.speed_m_per_s:g}/{assumed:g}"
    formula = f"{how}, {pieces}, refraction neglected"
    at_speed = replace(
        reading,
        corrected_to_m_per_s=speed.speed_m_per_s if speed is not None else None,
        media=media if speed is None else (),
    )
    budget = caliper_uncertainty(at_speed, conditions.probe, conditions.figures)
    uncertainty = with_digits(budget, reading.unit, measurement.displayed)
    quantity = following(Quantity(value, recomputed.unit), uncertainty)
    return CorrectedValue(quantity, speed, assumed, formula, uncertainty, measurement.media), ""
