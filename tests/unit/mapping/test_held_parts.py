# ruff: noqa: E501  the cases read as a table, one a line
"""What is wrong inside one capture, measurement, annotation or finding holds that part and nothing else."""

from __future__ import annotations

import pytest

from gateway.errors.document import DependsOnHeldPartError, SeveralProblemsError
from gateway.model.exam import HeldPart
from gateway.model.holding import hold_captures

EXAM = """\
format: eye-ultrasound-exam/1
patient: {id: "1", issuer: X, name: A^B}
session: {start: 2026-03-02T09:30:00+01:00}
captures:
  - id: still
    kind: still
    file: still.png
    eye: right
    scan: transverse
    clock_hour: 3
    calibration: {mm_per_pixel: {x: 0.1, y: 0.1}}
  - id: loop
    kind: loop
    file: loop.mp4
    eye: right
    scan: macula
    keep: {first: 3, last: 38}
    calibration: {mm_per_pixel: {x: 0.1, y: 0.1}}
  - id: left
    kind: still
    file: left.png
    eye: left
    scan: axial-vertical
measurements:
  - id: m1
    capture: still
    kind: height
    points: [[1, 2], [3, 4]]
  - id: m2
    capture: loop
    frame: 12
    kind: distance
    points: [[1, 2], [3, 4]]
    finding: f1
  - id: m3
    capture: left
    kind: axial-length
    displayed: {value: 23.1, unit: mm}
annotations:
  - {capture: loop, frame: 12, kind: arrow, from: [1, 2], to: [3, 4]}
  - {capture: left, kind: text, at: [1, 2], text: x}
findings:
  - id: f1
    eye: right
    what: mass
    captures: [still, loop]
"""


def line_of(text, fragment):
    return next(n for n, line in enumerate(text.splitlines(), 1) if fragment in line)


# old text, new text, held parts with their codes, field of the first reason
CASES = [
    # the eye
    ("    file: left.png\n    eye: left", "    file: left.png", {"captures[2]": "eye-missing"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye:\n    scan", {"captures[2]": "eye-missing"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: both\n    scan", {"captures[2]": "eye-not-single"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: OS\n    scan", {"captures[2]": "eye-not-single"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: Left\n    scan", {"captures[2]": "eye-not-single"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: [right, left]\n    scan", {"captures[2]": "eye-not-single"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: left\n    eye: right\n    scan", {"captures[2]": "two-eyes"}, "captures[2].eye"),
    ("eye: left\n    scan", "eye: left\n    eye: left\n    scan", {"captures[2]": "two-eyes"}, "captures[2].eye"),
    ("file: left.png", "file: still.png", {"captures[0]": "eye-contradiction", "captures[2]": "eye-contradiction"}, "captures[0].eye"),
    # ids
    ("id: left", "id: still", {"captures[0]": "duplicate-id", "captures[2]": "duplicate-id", "measurements[2]": "unknown-reference", "annotations[1]": "unknown-reference"}, "annotations[1].capture"),
    ("id: left", "id: a b", {"captures[2]": "value-not-understood", "measurements[2]": "unknown-reference", "annotations[1]": "unknown-reference"}, "annotations[1].capture"),
    ("id: m3", "id: m1", {"measurements[0]": "duplicate-id", "measurements[2]": "duplicate-id"}, "measurements[0].id"),
    # media
    ("file: left.png", "file: ../left.png", {"captures[2]": "media-path"}, "captures[2].file"),
    ("file: left.png", "file: /etc/passwd", {"captures[2]": "media-path"}, "captures[2].file"),
    ("file: left.png", "file: a//b.png", {"captures[2]": "media-path"}, "captures[2].file"),
    ("file: left.png", "file: 'C:\\left.png'", {"captures[2]": "media-path"}, "captures[2].file"),
    ("file: left.png", "file: 'a\\..\\b.png'", {"captures[2]": "media-path"}, "captures[2].file"),
    ("file: left.png", "files: [a.png, b.png]", {"captures[2]": "field-not-applicable"}, "captures[2].files"),
    ("file: loop.mp4", "file: loop.mp4\n    files: [a.png]", {"captures[1]": "several-problems"}, "captures[1].files"),
    ("    file: left.png\n", "", {"captures[2]": "field-missing"}, "captures[2]"),
    # position
    ("    clock_hour: 3\n", "", {"captures[0]": "clock-hour"}, "captures[0].scan"),
    ("scan: axial-vertical", "scan: axial-vertical\n    clock_hour: 12", {"captures[2]": "clock-hour"}, "captures[2].clock_hour"),
    ("scan: axial-vertical", "scan: axial-oblique", {"captures[2]": "clock-hour"}, "captures[2].scan"),
    ("scan: axial-vertical", "scan: other", {"captures[2]": "field-missing"}, "captures[2].scan"),
    ("scan: axial-vertical", "scan: axial", {"captures[2]": "word-not-known"}, "captures[2].scan"),
    ("clock_hour: 3", "clock_hour: 0", {"captures[0]": "value-not-understood"}, "captures[0].clock_hour"),
    ("clock_hour: 3", "clock_hour: 13", {"captures[0]": "value-not-understood"}, "captures[0].clock_hour"),
    ("clock_hour: 3", "clock_hour: 3.25", {"captures[0]": "value-not-understood"}, "captures[0].clock_hour"),
    ("clock_hour: 3", "clock_hour: 3:15", {"captures[0]": "value-not-understood"}, "captures[0].clock_hour"),
    ("clock_hour: 3", "clock_hour: '3,5'", {"captures[0]": "decimal-comma"}, "captures[0].clock_hour"),
    # numbers
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: 4,5", {"captures[2]": "decimal-comma"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: 1,532", {"captures[2]": "decimal-comma"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: nan", {"captures[2]": "value-not-understood"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: .inf", {"captures[2]": "value-not-understood"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: 1e999", {"captures[2]": "value-out-of-range"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: -4", {"captures[2]": "value-out-of-range"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: ٤", {"captures[2]": "value-not-understood"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: 40mm", {"captures[2]": "value-not-understood"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    depth_mm: [4]", {"captures[2]": "value-not-understood"}, "captures[2].depth_mm"),
    ("scan: axial-vertical", "scan: axial-vertical\n    key_image: on", {"captures[2]": "value-not-understood"}, "captures[2].key_image"),
    ("scan: axial-vertical", f"scan: axial-vertical\n    comment: {'x' * 10241}", {"captures[2]": "text-not-writable"}, "captures[2].comment"),
    ("scan: axial-vertical", "scan: axial-vertical\n    acquired: 2026-03-02T09:31:00", {"captures[2]": "offset-missing"}, "captures[2].acquired"),
    ("scan: axial-vertical", "scan: axial-vertical\n    calibration: {mm_per_pixel: {x: 0, y: 1}}", {"captures[2]": "value-out-of-range"}, "captures[2].calibration.mm_per_pixel.x"),
    ("scan: axial-vertical", "scan: axial-vertical\n    calibration: {mm_per_pixel: {x: 10, y: 1}}", {"captures[2]": "value-out-of-range"}, "captures[2].calibration.mm_per_pixel.x"),
    ("scan: axial-vertical", "scan: axial-vertical\n    calibration: {mm_per_pixel: 0.1}", {"captures[2]": "value-not-understood"}, "captures[2].calibration.mm_per_pixel"),
    ("scan: axial-vertical", "scan: axial-vertical\n    calibration: {mm_per_pixel: {x: 1, y: 1}, assumed_speed_m_per_s: 1.55}", {"captures[2]": "value-out-of-range"}, "captures[2].calibration.assumed_speed_m_per_s"),
    ("scan: axial-vertical", "scan: axial-vertical\n    calibration: {mm_per_pixel: {x: 1, y: 1}, region: {x0: 5, y0: 0, x1: 4, y1: 9}}", {"captures[2]": "value-out-of-range"}, "captures[2].calibration.region"),
    ("scan: axial-vertical", "scan: axial-vertical\n    colour: red", {"captures[2]": "unknown-key"}, "captures[2]"),
    # frames
    ("keep: {first: 3, last: 38}", "keep: {first: 39, last: 38}", {"captures[1]": "frame-not-fitting"}, "captures[1].keep"),
    ("keep: {first: 3, last: 38}", "keep: {first: 0, last: 38}", {"captures[1]": "value-out-of-range"}, "captures[1].keep.first"),
    ("keep: {first: 3, last: 38}", "keep: {first: 1, last: 3}\n    frame_times_ms: [0, 50]", {"captures[1]": "frame-not-fitting"}, "captures[1].keep"),
    ("keep: {first: 3, last: 38}", "frame_rate_hz: 20\n    frame_times_ms: [0, 50]", {"captures[1]": "frame-timing"}, "captures[1].frame_times_ms"),
    ("keep: {first: 3, last: 38}", "frame_times_ms: [1, 50]", {"captures[1]": "frame-timing"}, "captures[1].frame_times_ms"),
    ("keep: {first: 3, last: 38}", "frame_times_ms: [0, 50, 50]", {"captures[1]": "frame-timing"}, "captures[1].frame_times_ms"),
    ("keep: {first: 3, last: 38}", "frame_times_ms: []", {"captures[1]": "value-not-understood"}, "captures[1].frame_times_ms"),
    ("file: loop.mp4\n    eye: right\n    scan: macula\n    keep: {first: 3, last: 38}", "files: [a.png, b.png]\n    eye: right\n    scan: macula\n    frame_times_ms: [0, 5, 9]", {"captures[1]": "frame-timing"}, "captures[1].frame_times_ms"),
    ("file: left.png", "file: left.png\n    frame_rate_hz: 20", {"captures[2]": "field-not-applicable"}, "captures[2].frame_rate_hz"),
    ("file: left.png", "file: left.png\n    keep: {first: 1, last: 1}", {"captures[2]": "field-not-applicable"}, "captures[2].keep"),
    # measurements
    ("capture: still", "capture: stil", {"measurements[0]": "unknown-reference"}, "measurements[0].capture"),
    ("points: [[1, 2], [3, 4]]\n  - id: m2", "points: [[1, 2]]\n  - id: m2", {"measurements[0]": "point-count"}, "measurements[0].points"),
    ("points: [[1, 2], [3, 4]]\n  - id: m2", "points: [[1, 2], [3, 4], [5, 6]]\n  - id: m2", {"measurements[0]": "point-count"}, "measurements[0].points"),
    ("points: [[1, 2], [3, 4]]\n  - id: m2", "points: [[1, 2], [3]]\n  - id: m2", {"measurements[0]": "value-not-understood"}, "measurements[0].points[1]"),
    ("points: [[1, 2], [3, 4]]\n  - id: m2", "points: [[1, 2], [3, x]]\n  - id: m2", {"measurements[0]": "value-not-understood"}, "measurements[0].points[1]"),
    ("points: [[1, 2], [3, 4]]\n  - id: m2", "points: [[1, 2], [-3, 4]]\n  - id: m2", {"measurements[0]": "point-outside-picture"}, "measurements[0].points"),
    ("kind: height", "kind: angle", {"measurements[0]": "point-count"}, "measurements[0].points"),
    ("kind: height", "kind: area", {"measurements[0]": "point-count"}, "measurements[0].points"),
    ("kind: height", "kind: hight", {"measurements[0]": "word-not-known"}, "measurements[0].kind"),
    ("displayed: {value: 23.1, unit: mm}", "points: [[1, 2], [3, 4]]", {"measurements[2]": "no-scale"}, "measurements[2].points"),
    ("    displayed: {value: 23.1, unit: mm}\n", "", {"measurements[2]": "nothing-measured"}, "measurements[2]"),
    ("value: 23.1, unit: mm", "value: 23.1, unit: mm2", {"measurements[2]": "unit-not-fitting"}, "measurements[2].displayed"),
    ("value: 23.1, unit: mm", "value: 23.1, unit: inch", {"measurements[2]": "word-not-known"}, "measurements[2].displayed.unit"),
    ("value: 23.1, unit: mm", "value: '23,1', unit: mm", {"measurements[2]": "decimal-comma"}, "measurements[2].displayed.value"),
    ("value: 23.1, unit: mm", "value: -23.1, unit: mm", {"measurements[2]": "value-not-understood"}, "measurements[2].displayed.value"),
    ("value: 23.1, unit: mm", "value: 23.1", {"measurements[2]": "field-missing"}, "measurements[2].displayed.unit"),
    ("kind: height", "kind: height\n    repeats: [{value: 3, unit: deg}]", {"measurements[0]": "unit-not-fitting"}, "measurements[0].repeats"),
    ("kind: height", "kind: height\n    tissue: tumour\n    speed_m_per_s: 1550", {"measurements[0]": "contradicting-fields"}, "measurements[0].speed_m_per_s"),
    ("kind: height", "kind: height\n    tissue: tumor", {"measurements[0]": "tissue-not-known"}, "measurements[0].tissue"),
    ("kind: height", "kind: height\n    speed_m_per_s: 1.5", {"measurements[0]": "value-out-of-range"}, "measurements[0].speed_m_per_s"),
    ("kind: height", "kind: height\n    structure: retinna", {"measurements[0]": "word-not-known"}, "measurements[0].structure"),
    ("kind: height", "kind: height\n    frame: 1", {"measurements[0]": "field-not-applicable"}, "measurements[0].frame"),
    ("    frame: 12\n", "", {"measurements[1]": "field-missing"}, "measurements[1].points"),
    ("    frame: 12\n", "    frame: 2\n", {"measurements[1]": "frame-not-fitting"}, "measurements[1].frame"),
    ("    frame: 12\n", "    frame: 39\n", {"measurements[1]": "frame-not-fitting"}, "measurements[1].frame"),
    ("    frame: 12\n", "    frame: 0\n", {"measurements[1]": "value-out-of-range"}, "measurements[1].frame"),
    ("finding: f1", "finding: f2", {"measurements[1]": "unknown-reference"}, "measurements[1].finding"),
    ("displayed: {value: 23.1", "finding: f1\n    displayed: {value: 23.1", {"measurements[2]": "eye-contradiction"}, "measurements[2].finding"),
    # annotations
    ("from: [1, 2], to: [3, 4]", "from: [1, 2]", {"annotations[0]": "field-missing"}, "annotations[0].to"),
    ("from: [1, 2], to: [3, 4]", "from: [1, 2], to: [3, 4], at: [1, 1]", {"annotations[0]": "field-not-applicable"}, "annotations[0].at"),
    ("from: [1, 2], to: [3, 4]", "from: [1, 2], to: [3, -4]", {"annotations[0]": "point-outside-picture"}, "annotations[0].to"),
    ("frame: 12, kind: arrow", "frame: 50, kind: arrow", {"annotations[0]": "frame-not-fitting"}, "annotations[0].frame"),
    ("kind: text, at", "frame: 1, kind: text, at", {"annotations[1]": "field-not-applicable"}, "annotations[1].frame"),
    (", text: x}", "}", {"annotations[1]": "field-missing"}, "annotations[1].text"),
    (", text: x}", ", text: ''}", {"annotations[1]": "field-missing"}, "annotations[1].text"),
    (", text: x}", f", text: {'x' * 1025}}}", {"annotations[1]": "text-not-writable"}, "annotations[1].text"),
    ("{capture: left, kind: text", "{capture: lft, kind: text", {"annotations[1]": "unknown-reference"}, "annotations[1].capture"),
    # findings, and what rests on them
    ("eye: right\n    what", "eye: left\n    what", {"findings[0]": "several-problems", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
    ("eye: right\n    what", "what", {"findings[0]": "eye-missing", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
    ("what: mass", "what: ''", {"findings[0]": "field-missing", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
    ("what: mass", "what: {}", {"findings[0]": "field-missing", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
    ("captures: [still, loop]", "captures: [still, lop]", {"findings[0]": "unknown-reference", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
    ("what: mass", "what: mass\n    presence: normal", {"findings[0]": "word-not-known", "measurements[1]": "depends-on-held-part"}, "measurements[1].finding"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "held", "field"), CASES)
def test_a_part_is_held_with_its_reason_and_the_rest_goes_on(read, old, new, held, field):
    text = EXAM.replace(old, new, 1)
    assert text != EXAM
    mapped = read(text)
    found = {part.part: part.reason.code for part in mapped.held}
    dependants = {part for part, code in found.items() if code == "depends-on-held-part" and part not in held}
    assert {part: code for part, code in found.items() if part not in dependants} == held
    exam = mapped.exam
    total = len(exam.captures) + len(exam.measurements) + len(exam.annotations) + len(exam.findings)
    assert total == 9 - len(found)
    first = next(part for part in mapped.held if part.part == min(held))
    if first.part in field:
        assert first.reason.where.field == field
        assert first.reason.where.line is not None
    assert all(part.reason.fix or isinstance(part.reason, SeveralProblemsError) for part in mapped.held)


def test_the_exam_of_these_cases_is_good_by_itself(read):
    assert read(EXAM).held == ()


def test_what_rests_on_a_held_capture_is_held_with_its_own_place(read):
    text = EXAM.replace("eye: right\n    scan: macula", "scan: macula")
    mapped = read(text)
    assert [(part.part, part.name, part.reason.code) for part in mapped.held] == [
        ("captures[1]", "loop", "eye-missing"),
        ("measurements[1]", "m2", "depends-on-held-part"),
        ("annotations[0]", "annotations[0]", "depends-on-held-part"),
    ]
    place = mapped.held[1].reason.where
    assert (place.line, place.field) == (line_of(text, "capture: loop"), "measurements[1].capture")
    # The finding is still shown by its other capture.
    assert mapped.exam.findings[0].capture_ids == ("still",)


def test_a_finding_goes_with_its_last_capture(read):
    mapped = read(EXAM.replace("captures: [still, loop]", "captures: [left]").replace("eye: left", "eye: OS"))
    codes = {part.part: part.reason.code for part in mapped.held}
    assert codes["findings[0]"] == "depends-on-held-part"
    assert codes["measurements[1]"] == "depends-on-held-part"


def test_a_contradiction_of_eyes_names_both_places(read):
    text = EXAM.replace("captures: [still, loop]", "captures: [left]")
    reason = read(text).held[-1].reason
    assert reason.code == "eye-contradiction"
    assert reason.where.line == line_of(text, "what: mass") - 1
    assert f"exam.yaml:{line_of(text, 'file: left.png') + 1}" in reason.was


def test_two_eyes_name_both_lines(read):
    text = EXAM.replace("eye: left", "eye: left\n    eye: right")
    line = line_of(text, "eye: left")
    reason = read(text).held[0].reason
    assert f"exam.yaml:{line}:5" in reason.was
    assert f"exam.yaml:{line + 1}:5" in reason.was
    assert "two eyes named for one capture" in str(reason)


def test_several_reasons_for_one_part_are_kept_apart(read):
    reason = read(EXAM.replace("eye: left\n    scan: axial-vertical", "scan: axial\n    depth_mm: 4,5")).held[0].reason
    assert isinstance(reason, SeveralProblemsError)
    assert {problem.code for problem in reason.problems} == {"eye-missing", "word-not-known", "decimal-comma"}
    assert len(str(reason).splitlines()) == 4


def test_an_unknown_tissue_is_answered_with_the_words_of_the_table(read):
    reason = read(EXAM.replace("kind: height", "kind: height\n    tissue: tumor")).held[0].reason
    assert "did you mean tumour?" in reason.fix
    assert "vitreous" in reason.fix


def test_a_part_that_is_no_mapping_is_held(read):
    mapped = read(EXAM + "  - mass\n")
    assert [(part.part, part.name) for part in mapped.held] == [("findings[1]", "findings[1]")]


def test_points_at_the_very_edge_are_allowed_in_either_convention(read):
    text = EXAM.replace("points: [[1, 2], [3, 4]]", "points: [[-0.5, -0.5], [3, 4]]", 1)
    assert read(text).held[0].reason.code == "point-outside-picture"
    centre = text.replace("y: 0.1}}", "y: 0.1}, pixel_convention: centre}", 1)
    assert read(centre).held == ()


def test_two_ranges_of_one_loop_of_one_eye_are_two_captures(read):
    text = EXAM.replace("file: still.png", "file: loop.mp4").replace(
        "id: still\n    kind: still", "id: still\n    kind: loop"
    )
    text = text.replace("capture: still\n", "capture: still\n    frame: 1\n")
    assert read(text).held == ()


def test_later_holding_finds_the_places_of_what_it_takes_with_it(read):
    exam = read(EXAM).exam
    reason = DependsOnHeldPartError("its file is damaged")
    _kept, held = hold_captures(exam, [HeldPart("captures[1]", "loop", reason)])
    measurement = next(part for part in held if part.name == "m2")
    assert measurement.reason.where.line == line_of(EXAM, "id: m2")
