"""Geometry, media, shapes, spheres and sources in documents."""

from __future__ import annotations

import pytest

from gateway.errors import GatewayError
from gateway.model.calibration import Geometry, Point
from gateway.model.measurement import Medium, Shape, ThirdDimension

DOCUMENT = """\
format: eye-ultrasound-exam/1
patient: {{id: A, issuer: B, name: C^D}}
session: {{start: 2026-03-02T09:30:00+01:00}}
captures:
  - {{id: od, kind: still, file: od.png, eye: right, scan: macula, calibration: {{mm_per_pixel: {{x: 0.05, y: 0.1}},
      pixel_convention: centre, assumed_speed_m_per_s: 1550, {calibration}}}}}
  - {{id: os, kind: still, file: os.png, eye: left, scan: macula}}
measurements:
  - {{id: base, capture: od, kind: base, points: [[10, 20], [10, 80]]}}
  - {{id: side, capture: od, kind: base, points: [[10, 20], [90, 20]]}}
  - {{id: tall, capture: od, kind: height, points: [[10, 20], [50, 20]]}}
  - {{id: other-eye, capture: os, kind: base, displayed: {{value: 9.0, unit: mm}}}}
  - {{id: whole, capture: od, kind: ratio, of: [tall, base]}}
  - {measurement}
"""
LINEAR = "geometry: linear, depth_axis: left-to-right"
MEDIA = (
    "{id: m, capture: od, kind: height, points: [[10, 20], [90, 20]], media: [{tissue: vitreous, "
    "speed_tolerance_m_per_s: 5}, {from: [[40, 0], [45, 60]], speed_m_per_s: 1600}]}"
)
VOLUME = "{id: m, capture: od, kind: half-ellipsoid-volume, of: [base, side, tall]}"
FRAME = "{id: m, capture: od, %s}"


def document(measurement: str = VOLUME, calibration: str = LINEAR) -> str:
    return DOCUMENT.format(measurement=measurement, calibration=calibration)


def one(mapped, name="m"):
    assert [str(part.reason) for part in mapped.held] == []
    return next(m for m in mapped.exam.measurements if m.id == name)


def codes_of(held, name="m") -> set[str]:
    (part,) = [part for part in held if part.name == name]
    problems = getattr(part.reason, "problems", [part.reason])
    assert all(isinstance(problem, GatewayError) and problem.where and problem.fix for problem in problems)
    return {problem.code for problem in problems}


def test_media_reach_the_model_with_their_lines_speeds_and_tolerances(read):
    first, second = one(read(document(MEDIA))).media
    assert (first.speed.tissue, first.speed.speed_m_per_s, first.speed.tolerance_m_per_s) == ("vitreous", 1532, 5)
    assert first.begins == ()
    # The capture counts from pixel centres: half a pixel is added.
    assert second == Medium(second.speed, (Point(40.5, 0.5), Point(45.5, 60.5)))
    assert "measurements[5].media[1].speed_m_per_s" in second.speed.source


def test_a_linear_geometry_reaches_the_model(read):
    calibration = read(document()).exam.captures[0].calibration
    assert (calibration.geometry, calibration.sector) == (Geometry.LINEAR, None)


def test_a_volume_names_its_dimensions(read):
    assert one(read(document())).of == ("base", "side", "tall")
    assumed = "{id: m, capture: od, kind: half-ellipsoid-volume, of: [base, tall], third_dimension: like-the-first}"
    assert one(read(document(assumed))).third_dimension is ThirdDimension.LIKE_THE_FIRST


def test_shape_and_sphere_reach_the_model(read):
    ellipse = FRAME % "kind: area, shape: ellipse, points: [[40, 40], [60, 40], [40, 50]]"
    assert one(read(document(ellipse))).shape is Shape.ELLIPSE
    arc = FRAME % "kind: arc-base, sphere_diameter_mm: 24, points: [[10, 20], [10, 80]]"
    assert one(read(document(arc))).sphere_diameter_mm == 24


@pytest.mark.parametrize(
    ("calibration", "code"),
    [
        ("geometry: linear", "field-missing"),
        (LINEAR + ", sector: {pivot: [1, 1], pivot_to_face_mm: 8}", "contradicting-fields"),
        ("geometry: curved", "word-not-known"),
        ("sector: {pivot: [1, 1], pivot_to_face_mm: 8, opening_angle_deg: 181}", "value-out-of-range"),
        ("sector: {pivot: [1, 1], pivot_to_face_mm: -1}", "value-out-of-range"),
    ],
)
def test_a_geometry_that_cannot_be_holds_its_capture(read, calibration, code):
    assert codes_of(read(document(calibration=calibration)).held, "od") == {code}


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ("kind: height, points: [[1, 1], [9, 1]], tissue: vitreous, media: [{tissue: tumour}]", "contradicting-fields"),
        (
            "kind: height, points: [[1, 1], [9, 1]], speed_m_per_s: 1550, media: [{tissue: tumour}]",
            "contradicting-fields",
        ),
        ("kind: height, displayed: {value: 6.0, unit: mm}, media: [{tissue: tumour}]", "field-missing"),
        ("kind: height, points: [[1, 1], [9, 1]], media: [{}]", "field-missing"),
        (
            "kind: height, points: [[1, 1], [9, 1]], media: [{tissue: tumour, speed_m_per_s: 1550}]",
            "field-missing",
        ),
        ("kind: height, points: [[1, 1], [9, 1]], media: [{tissue: vitrous}]", "tissue-not-known"),
        ("kind: height, points: [[1, 1], [9, 1]], media: [{tissue: tumour, from: [[4, 1]]}]", "media-order"),
        ("kind: height, points: [[1, 1], [9, 1]], media: [{tissue: vitreous}, {tissue: tumour}]", "media-order"),
        (
            "kind: height, points: [[1, 1], [9, 1]], media: [{tissue: vitreous}, {tissue: tumour, from: [[-4, 1]]}]",
            "point-outside-picture",
        ),
        ("kind: height, points: [[1, 1], [9, 1]], shape: ellipse", "field-not-applicable"),
        ("kind: base, points: [[1, 1], [9, 1]], sphere_diameter_mm: 24", "field-not-applicable"),
        ("kind: arc-base, points: [[1, 1], [9, 1]], sphere_diameter_mm: 240", "value-out-of-range"),
        ("kind: height, points: [[1, 1], [9, 1]], third_dimension: like-the-first", "field-not-applicable"),
        ("kind: area, shape: ellipse, points: [[1, 1], [9, 1]]", "point-count"),
        ("kind: perpendicular-height, points: [[1, 1], [9, 1]]", "point-count"),
        ("kind: ratio, of: [base, tall], points: [[1, 1], [9, 1]]", "contradicting-fields"),
        ("kind: ratio, of: [base, tall], tissue: tumour", "contradicting-fields"),
        ("kind: ratio, of: [base, nobody]", "unknown-reference"),
        ("kind: ratio, of: [base, whole]", "derivation"),
        ("kind: ratio, of: [base, base]", "derivation"),
        ("kind: ratio, of: [base, m]", "derivation"),
        ("kind: ratio, of: [base, other-eye]", "eye-contradiction"),
        ("kind: height, of: [base, side]", "derivation"),
        ("kind: half-ellipsoid-volume, of: [base, tall]", "derivation"),
        ("kind: half-ellipsoid-volume, of: [base, tall, side]", "mixed-dimensions"),
        ("kind: ellipsoid-volume, of: [base, side, tall]", "mixed-dimensions"),
        ("kind: arc-base, of: [base]", "derivation"),
        ("kind: ellipsoid-volume", "nothing-measured"),
        ("kind: ellipsoid-volume, displayed: {value: 9.0, unit: mm}", "unit-not-fitting"),
        ("kind: ratio, displayed: {value: 0.5, unit: mm}", "unit-not-fitting"),
    ],
)
def test_what_contradicts_itself_is_held_with_its_own_error(read, fields, code):
    assert code in codes_of(read(document(FRAME % fields)).held)


def test_what_rests_on_a_held_source_is_held_with_it(read):
    broken = document().replace("points: [[10, 20], [10, 80]]", "points: [[10, 20]]")
    held = read(broken).held
    assert codes_of(held, "base") == {"point-count"}
    assert codes_of(held, "m") == {"depends-on-held-part"}


@pytest.mark.parametrize("unit", ["1", '"1"'])
def test_the_unit_of_a_ratio_may_be_written_as_number_or_text(read, unit):
    measurement = FRAME % f"kind: ratio, of: [tall, base], displayed: {{value: 0.33, unit: {unit}}}"
    assert one(read(document(measurement))).displayed.words == "0.33"
