"""Caliper points as spatial coordinates, and measurements whose calipers are not on their picture (PS3.3 C.18.6)."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from gateway.builders.built import BuiltObject
from gateway.errors.document import PointOutsidePictureError
from gateway.model.calibration import Point
from gateway.model.exam import HeldPart, MeasuredExam
from gateway.model.measurement import Measurement, MeasurementKind


def outline(measurement: Measurement) -> tuple[Point, ...]:
    """Return the points as drawn: the outline of an area is closed (PS3.3 C.18.6.1.2)."""
    points = measurement.points
    if measurement.kind is MeasurementKind.AREA and points[0] != points[-1]:
        return (*points, points[0])
    return points


def require_inside(measurement: Measurement, image: BuiltObject) -> None:
    """Refuse calipers that lie beside their image.

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


def hold_measurements_outside(measured: MeasuredExam, images: Sequence[BuiltObject]) -> MeasuredExam:
    """Hold each measurement whose calipers lie beside its image, so that the others can be reported.

    Only the built image knows its size, so this cannot be asked when the document is read.
    """
    built = {image.capture_id: image for image in images}
    kept, held = [], []
    for value in measured.values:
        measurement = value.measurement
        image = built.get(measurement.capture_id)
        try:
            if image is not None:
                require_inside(measurement, image)
            kept.append(value)
        except PointOutsidePictureError as error:
            held.append(HeldPart(f"measurements {measurement.id}", measurement.id, error))
    return dataclasses.replace(measured, values=tuple(kept), held=(*measured.held, *held))
