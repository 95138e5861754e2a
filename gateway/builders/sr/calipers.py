"""Caliper points as spatial coordinates (PS3.3 C.18.6)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gateway.acoustics.outlines import ellipse_axis_ends
from gateway.acoustics.quantities import OUTLINED, drawing_of, is_ellipse
from gateway.builders.built import BuiltObject
from gateway.builders.sr.values import Coordinates, GraphicType
from gateway.errors.document import PointOutsidePictureError
from gateway.model.calibration import Point
from gateway.model.measurement import Measurement


def drawn(measurement: Measurement) -> Coordinates:
    """Return the points as drawn: outlines are closed, an ellipse has its longer axis first (PS3.3 C.18.6.1.2)."""
    points = measurement.points
    if is_ellipse(measurement.kind, drawing_of(measurement), len(points)):
        ends = ellipse_axis_ends(np.array([(point.x, point.y) for point in points], dtype=np.float64))
        return Coordinates(GraphicType.ELLIPSE, tuple(Point(float(x), float(y)) for x, y in ends))
    if measurement.kind in OUTLINED and points[0] != points[-1]:
        points = (*points, points[0])
    return line(points)


def line(points: tuple[Point, ...]) -> Coordinates:
    """Return points as a line, or one as a point."""
    return Coordinates(GraphicType.POINT if len(points) == 1 else GraphicType.POLYLINE, points)


def require_inside(measurement: Measurement, points: Sequence[Point], image: BuiltObject) -> None:
    """Refuse coordinates that lie beside their image: intake has held them, and no report may be built past it.

    Raises
    ------
    PointOutsidePictureError
    """
    for point in points:
        if not (0 <= point.x <= image.columns and 0 <= point.y <= image.rows):
            raise PointOutsidePictureError(
                "a point outside the picture",
                where=f"measurement {measurement.id} on {measurement.capture_id}",
                was=f"[{point.x:g}, {point.y:g}] on {image.columns} x {image.rows} pixels",
                fix="give the points in pixels of the file that was handed over",
            )
