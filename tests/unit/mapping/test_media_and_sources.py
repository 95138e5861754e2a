"""Media along the beams, shapes, spheres, and measurements computed from others, in documents."""

from __future__ import annotations

import pytest

DOCUMENT = """\
format: eye-ultrasound-exam/1
patient: {id: A, issuer: B, name: C^D}
session: {start: 2026-03-02T09:30:00+01:00}
captures:
  - {id: one, kind: still, file: a.png, eye: right, scan: axial-horizontal,
     calibration: {mm_per_pixel: {x: 0.05, y: 0.05}, pixel_convention: centre, depth_axis: top-down,
       assumed_speed_m_per_s: 1550}}
  - {id: loop, kind: loop, file: a.avi, eye: right, scan: axial-vertical, frame_times_ms: [0, 50]}
  - {id: left, kind: still, file: b.png, eye: left, scan: axial-horizontal,
     calibration: {mm_per_pixel: {x: 0.05, y: 0.05}}}
measurements:
  - {id: a, capture: one, kind: height, points: [[10, 10], [10, 60]]}
  - {id: b, capture: one, kind: base, points: [[10, 10], [60, 10]]}
  - {id: l, capture: left, kind: base, points: [[10, 10], [60, 10]]}
  - {id: m, %s}
"""
ON_ONE = "capture: one, kind: height"
DEPTH = f"{ON_ONE}, points: [[10, 10], [10, 60]]"
FIRST = "{speed_m_per_s: 1532}"


def held_codes(read, measurement: str) -> set[str]:
    (part,) = read(DOCUMENT % measurement).held
    assert part.name == "m"
    return {problem.code for problem in getattr(part.reason, "problems", [part.reason])}


def test_media_reach_the_model_with_their_borders_and_speeds(read):
    media = "[{speed_m_per_s: 1532}, {tissue: lens, from: [[10, 20]], speed_tolerance_m_per_s: 9}, {tissue: vitreous, from: [[10, 30], [12, 30]]}]"  # noqa: E501
    exam = read(DOCUMENT % f"{DEPTH}, media: {media}")
    assert exam.held == ()
    first, lens, vitreous = exam.exam.measurements[3].media
    assert (first.speed.speed_m_per_s, first.begins) == (1532, ())
    assert "measurements[3].media[0].speed_m_per_s" in first.speed.source
    assert (lens.speed.tissue, lens.speed.tolerance_m_per_s) == ("lens", 9)
    # The capture counts from pixel centres: half a pixel is added.
    assert [(point.x, point.y) for point in vitreous.begins] == [(10.5, 30.5), (12.5, 30.5)]


def test_a_ratio_rests_on_what_it_is_computed_from(read):
    found = read(DOCUMENT % "capture: one, kind: ratio, of: [a, b]")
    assert found.held == ()
    assert found.exam.measurements[3].of == ("a", "b")


@pytest.mark.parametrize(
    ("measurement", "code"),
    [
        (f"{DEPTH}, tissue: lens, media: [{FIRST}]", "contradicting-fields"),
        (f"{DEPTH}, speed_m_per_s: 1532, media: [{FIRST}]", "contradicting-fields"),
        (f"{ON_ONE}, displayed: {{value: 3, unit: mm}}, media: [{FIRST}]", "field-missing"),
        (f"{DEPTH}, media: [{{speed_tolerance_m_per_s: 9}}]", "field-missing"),
        (f"{DEPTH}, media: [{{tissue: lens, speed_m_per_s: 1641}}]", "field-missing"),
        (f"{DEPTH}, media: [{{tissue: lense}}]", "tissue-not-known"),
        (f"{DEPTH}, media: [{{tissue: qqqqq}}]", "tissue-not-known"),
        (f"{DEPTH}, media: [{{tissue: lens, from: [[10, 20]]}}]", "media-order"),
        (f"{DEPTH}, media: [{FIRST}, {{tissue: lens}}]", "media-order"),
        (f"{DEPTH}, media: [{FIRST}, {{tissue: lens, from: [[10, -20]]}}]", "point-outside-picture"),
        (f"{DEPTH}, shape: ellipse", "field-not-applicable"),
        (f"{DEPTH}, sphere_diameter_mm: 24", "field-not-applicable"),
        (f"{DEPTH}, third_dimension: like-the-second", "field-not-applicable"),
        ("capture: one, kind: ratio, points: [[10, 10], [10, 60]]", "field-not-applicable"),
        ("capture: one, kind: ratio, of: [a, b], tissue: lens", "contradicting-fields"),
        ("capture: one, kind: ratio, of: [a, a]", "derivation"),
        ("capture: one, kind: ratio, of: [a, c]", "unknown-reference"),
        ("capture: one, kind: ratio, of: [a, l]", "eye-contradiction"),
        ("capture: one, kind: ellipsoid-volume, of: [a, b]", "derivation"),
        ("capture: loop, kind: height, frame: 3, points: [[1, 1], [1, 9]]", "frame-not-fitting"),
        (f"{ON_ONE}, displayed: {{value: 2000000, unit: mm}}", "value-out-of-range"),
        (f"{ON_ONE}, points: [[10, 10], [10, 60]], reading_speed_m_per_s: 1555", "field-not-applicable"),
    ],
)
def test_what_contradicts_itself_or_is_not_whole_holds_the_measurement(read, measurement, code):
    assert code in held_codes(read, measurement)


def test_what_is_itself_computed_is_no_source(read):
    text = DOCUMENT % "capture: one, kind: ratio, of: [a, b]}\n  - {id: n, capture: one, kind: ratio, of: [a, m]"
    (part,) = read(text).held
    assert (part.name, part.reason.code) == ("n", "derivation")


def test_suggestions_for_unknown_names_end_where_a_document_has_too_many(read):
    many = "".join(f"  - {{id: f{n}, eye: right, what: mass, captures: [on]}}\n" for n in range(60))
    held = read(f"{DOCUMENT % DEPTH}findings:\n{many}").held
    fixes = [part.reason.fix for part in held]
    assert fixes == ["did you mean one?"] * 50 + ["name one that is in the document"] * 10
