"""The new quantities on page and printed report: equation, assumptions and calipers as drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.acoustics.measure import measure
from gateway.model.calibration import Point
from gateway.model.exam import Exam
from gateway.model.measurement import Measurement, MeasurementKind, Medium, Shape, ThirdDimension, TissueSpeed
from gateway.reports.html import render_html
from gateway.reports.model import Picture, Report, report_model


@pytest.fixture
def report(exam: Exam, pictures: dict[str, Picture], identifiers: dict[str, str]) -> Report:
    capture = next(c for c in exam.captures if c.calibration and c.calibration.sector and c.id in pictures)

    def drawn(name: str, kind: MeasurementKind, *points: tuple[float, float], **more: object) -> Measurement:
        frame = pictures[capture.id].frame if pictures[capture.id].frame_count > 1 else None
        return Measurement(name, capture.id, kind, frame, tuple(Point(*p) for p in points), **more)  # type: ignore[arg-type]

    vitreous = TissueSpeed(1532.0, "vitreous", "invented table")
    media = (Medium(vitreous), Medium(TissueSpeed(1600.0, "tumour", "invented table"), (Point(120.0, 120.0),)))
    measurements = (
        drawn("q-base", MeasurementKind.BASE, (150, 80), (150, 160)),
        drawn("q-height", MeasurementKind.HEIGHT, (100, 120), (150, 120), media=media),
        drawn("q-oval", MeasurementKind.AREA, (100, 120), (160, 120), (130, 100), (130, 140), shape=Shape.ELLIPSE),
        drawn("q-round", MeasurementKind.PERIMETER, (100, 100), (160, 100), (130, 140)),
        drawn("q-foot", MeasurementKind.PERPENDICULAR_HEIGHT, (150, 80), (150, 160), (120, 170)),
        Measurement(
            "q-volume",
            capture.id,
            MeasurementKind.HALF_ELLIPSOID_VOLUME,
            of=("q-base", "q-height"),
            third_dimension=ThirdDimension.LIKE_THE_FIRST,
        ),
    )
    measured = measure(replace(exam, measurements=measurements))
    assert measured.held == ()
    return report_model(measured, pictures, identifiers)


def rows_of(report: Report) -> dict[str, object]:
    return {row.id: row for eye in (report.right, report.left) for row in eye.measurements}


def test_a_row_says_how_its_value_came_about(report: Report) -> None:
    volume, height, foot = (rows_of(report)[name] for name in ("q-volume", "q-height", "q-foot"))
    assert "pi/6 a b h" in volume.how
    assert "a: base q-base" in volume.how
    assert "b taken like the first" in volume.how
    assert volume.speed == "those of what it is computed from"
    assert "the foot of the height lies beyond the ends of its chord" in foot.how
    assert height.speed == "1550 → 1532 m/s, vitreous, then 1600 m/s, tumour"
    assert "refraction neglected" in height.formula
    assert height.uncertainty.startswith("± ")
    assert height.uncertainty.endswith(" mm or more")


def test_page_shows_what_the_rows_say(report: Report) -> None:
    page = render_html(report)
    for row in rows_of(report).values():
        assert row.value in page
    assert "shape (taken as an ellipsoid)" in page
    assert "“or more” where something is left out" in page


def test_an_ellipse_is_drawn_as_its_outline_and_a_perimeter_is_closed(report: Report) -> None:
    lines = {
        line.measurement_id: line
        for eye in (report.right, report.left)
        for card in eye.captures
        for line in card.calipers
    }
    oval = lines["q-oval"]
    assert oval.is_closed
    assert len(oval.points) > 30
    assert all(((p.x - 130) / 30) ** 2 + ((p.y - 120) / 20) ** 2 == pytest.approx(1) for p in oval.points)
    assert lines["q-round"].is_closed
    assert not lines["q-foot"].is_closed
    assert "q-volume" not in lines
