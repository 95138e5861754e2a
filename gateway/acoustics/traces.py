"""Calipers on a picture that is nothing but an A-scan: a length along depth alone, never along the amplitude."""

from __future__ import annotations

from dataclasses import replace

from gateway.acoustics.sensitivity import PLAIN_LENGTHS
from gateway.errors.measurement import TraceNotMeasurableError
from gateway.model.calibration import Calibration, DepthAxis, Geometry
from gateway.model.measurement import Measurement, MeasurementKind


def along_depth_alone(measurement: Measurement, calibration: Calibration) -> Calibration:
    """Return the scale of an A-scan for calipers on it: a pixel has its depth, and no width.

    How high on its spike a caliper stands then adds nothing to the length.

    Raises
    ------
    TraceNotMeasurableError
        If the direction of depth is not stated, or the measurement is no length between two points along one beam.
    """
    if calibration.depth_axis is None:
        raise TraceNotMeasurableError(
            "calipers on an A-scan whose depth axis is not stated",
            fix="state depth_axis in the calibration of this capture, or give the displayed number without points",
        )
    kind = measurement.kind
    if kind not in PLAIN_LENGTHS or kind is MeasurementKind.PATH_LENGTH or measurement.media:
        raise TraceNotMeasurableError(
            "an A-scan has lengths along depth alone",
            was="media along its beam" if measurement.media else kind.words,
            fix="measure it on a picture; pieces in several media are gates of an A-scan",
        )
    if calibration.depth_axis is DepthAxis.LEFT_TO_RIGHT:
        return replace(calibration, mm_per_pixel_y=0.0, sector=None, geometry=Geometry.LINEAR)
    return replace(calibration, mm_per_pixel_x=0.0, sector=None, geometry=Geometry.LINEAR)
