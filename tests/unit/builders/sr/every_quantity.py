"""An invented exam with one measurement of every kind that is more than a plain length, measured here."""

from __future__ import annotations

import dataclasses

from gateway.acoustics.measure import measure
from gateway.model.calibration import Point
from gateway.model.exam import MeasuredExam
from gateway.model.measurement import Measurement, MeasurementKind, Medium, Shape, ThirdDimension, TissueSpeed
from tests.unit.builders.sr.invented_exam import an_exam

KIND = MeasurementKind
TUMOUR = TissueSpeed(1600.0, "tumour", "invented table, row 3", 20.0)
VITREOUS = TissueSpeed(1532.0, "vitreous", "invented table, row 1", 5.0)
MEDIA = (Medium(VITREOUS), Medium(TUMOUR, (Point(205.0, 140.0), Point(212.0, 240.0), Point(206.0, 340.0))))


def _on_picture(name: str, kind: MeasurementKind, *points: tuple[float, float], **more: object) -> Measurement:
    drawn = tuple(Point(*point) for point in points)
    return Measurement(name, "od-l9", kind, points=drawn, finding_id="f1", **more)  # type: ignore[arg-type]


def _of(name: str, kind: MeasurementKind, *of: str, **more: object) -> Measurement:
    return Measurement(name, "od-l9", kind, of=of, finding_id="f1", **more)  # type: ignore[arg-type]


MEASUREMENTS = (
    _on_picture("height", KIND.HEIGHT, (190.0, 240.0), (308.0, 241.0), media=MEDIA),
    _on_picture("base", KIND.BASE, (300.0, 150.0), (300.0, 330.0), tissue_speed=VITREOUS),
    _on_picture("standing", KIND.PERPENDICULAR_HEIGHT, (300.0, 150.0), (302.0, 330.0), (212.5, 350.0)),
    _on_picture(
        "ellipse", KIND.AREA, (200.0, 240.0), (320.0, 240.0), (260.0, 200.0), (260.0, 280.0), shape=Shape.ELLIPSE
    ),
    _on_picture("around", KIND.PERIMETER, (200.0, 200.0), (320.0, 210.0), (310.0, 290.0), (205.0, 280.0)),
    _on_picture("circumference", KIND.CIRCUMFERENCE, (260.0, 240.0), (260.0, 320.0), (300.0, 240.0)),
    _on_picture("globe", KIND.CIRCUMFERENCE, (20.0, 240.0), (380.0, 240.0)),
    _on_picture("arc", KIND.ARC_BASE, (300.0, 150.0), (300.0, 330.0), sphere_diameter_mm=24.0),
    _on_picture("chords", KIND.TWO_CHORD_BASE, (300.0, 150.0), (330.0, 240.0), (300.0, 330.0)),
    _of("half", KIND.HALF_ELLIPSOID_VOLUME, "base", "height", third_dimension=ThirdDimension.LIKE_THE_FIRST),
    _of("whole", KIND.ELLIPSOID_VOLUME, "base", "chords", third_dimension=ThirdDimension.MEAN_OF_BOTH),
    _of("shape", KIND.RATIO, "height", "base"),
)


def every_quantity() -> MeasuredExam:
    """Return the exam, measured; nothing of it is held."""
    measured = measure(an_exam(measurements=MEASUREMENTS))
    return dataclasses.replace(measured, exam=an_exam(measurements=MEASUREMENTS))
