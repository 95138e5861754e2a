"""Caliper points as spatial coordinates (PS3.3 C.18.6)."""

from __future__ import annotations

from gateway.builders.built import BuiltObject
from gateway.errors.document import PointOutsidePictureError
from gateway.model.calibration import Point
from gateway.model.measurement import Measurement, MeasurementKind


def outline(measurement: Measurement) -> tuple[Point, ...]:
    """Return the points as drawn: the outline of an area is closed (PS3.3 C.18.6.1.2)."""
    points = measurement.points
    if measurement.kind is MeasurementKind.AREA and points[0] != points[-1]:
        return (*points, points[0])
    return points


def require_inside(measurement: Measurement, image: BuiltObject) -> None:
    """Refuse calipers that lie beside their image: intake has held them, and no report may be built past it.

    Raises
    ------
    PointOutsidePictureError
    """
    for point in measurement.points:
        if not (0 <= point.x <= image.columns and 0 <= point.y <= image.rows):
            raise PointOutsidePictureError(
                "a point outside the picture",
                where=f"measurement {measurement.id} on {measurement.capture_id}",
                was=f"[{point.x:g}, {point.y:g}] on {image.columns} x {image.rows} pixels",
                fix="give the points in pixels of the file that was handed over",
            )
