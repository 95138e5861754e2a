"""Scan lines, lines chosen of them, geometry of pictures and burned-in text in documents."""

from __future__ import annotations

import pytest

from gateway.mapping.captures import scan_of
from gateway.mapping.document.captures import CaptureFields
from gateway.model.scan_lines import ChosenScanLine, LinearLines, LineLayout, SectorLines

DOCUMENT = """\
format: eye-ultrasound-exam/1
patient: {id: A, issuer: B, name: C^D}
session: {start: 2026-03-02T09:30:00+01:00}
captures:
  - {id: one, kind: still, eye: right, scan: axial-horizontal, %s}
  - {id: other, kind: still, file: other.png, eye: right, scan: axial-vertical}
"""
SECTOR = "sector: {pivot_to_face_mm: 8, first_angle_deg: -26, last_angle_deg: 26}"
REST = "depth_axis: top-down, assumed_speed_m_per_s: 1550, mm_per_pixel: 0.05"
RATE = "sampling_rate_mhz: 31"
SCALE = "file: a.png, calibration: {mm_per_pixel: {x: 0.05, y: 0.05}, %s}"


def lines(geometry: str = SECTOR, step: str = RATE, more: str = "", beside: str = "file: a.npy") -> str:
    stated = ", ".join(part for part in (geometry, step, REST, more) if part)
    return DOCUMENT % f"{beside}, scan_lines: {{{stated}}}"


def codes_of(held) -> set[str]:
    (part,) = held
    return {problem.code for problem in getattr(part.reason, "problems", [part.reason])}


def test_lines_of_a_sector_reach_the_model_with_the_depth_of_a_sample(read):
    beside = "file: a.npy, a_scan_lines: [{id: axis, scan_line: 3}, {id: given, scan_line: 4, tissue: vitreous}]"
    found = read(lines(more="window: {low: 10, high: 200}", beside=beside)).exam.captures[0].scan_lines
    assert found.lines == SectorLines(8, (-26, 26), is_even=True)
    # c / 2f: 1550 m/s over 2 x 31 MHz is 0.025 mm (pulse-echo range equation, textbook figure).
    assert found.sample_interval_mm == pytest.approx(0.025)
    assert (found.window, found.layout, found.start_depth_mm) == ((10, 200), LineLayout.LINES_ARE_ROWS, 0)
    first, second = found.chosen
    assert first == ChosenScanLine("axis", 3, None, first.speed)
    assert second.speed.tissue == "vitreous"


@pytest.mark.parametrize(
    ("geometry", "expected"),
    [
        ("linear: {pitch_mm: 0.1}", LinearLines(0.1)),
        ("sector: {pivot_to_face_mm: 8, angles_deg: [-2, 0, 3]}", SectorLines(8, (-2, 0, 3), is_even=False)),
    ],
)
def test_lines_lie_as_the_document_says(read, geometry, expected):
    found = read(lines(geometry, "sample_interval_mm: 0.02")).exam.captures[0].scan_lines
    assert (found.lines, found.sample_interval_mm, found.window) == (expected, 0.02, None)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (lines(beside=SCALE % "assumed_speed_m_per_s: 1550"), "contradicting-fields"),
        (lines().replace("kind: still", "kind: loop", 1).replace("file: a.npy", "files: [a.npy, b.npy]"),
         "field-not-applicable"),
        (lines(f"{SECTOR}, linear: {{pitch_mm: 0.1}}"), "contradicting-fields"),
        (lines(""), "field-missing"),
        (lines(step=""), "field-missing"),
        (lines(step=f"{RATE}, sample_interval_mm: 0.02"), "contradicting-fields"),
        (lines("sector: {pivot_to_face_mm: 8, angles_deg: [1, 2], last_angle_deg: 2}"), "contradicting-fields"),
        (lines("sector: {pivot_to_face_mm: 8, first_angle_deg: 2}"), "field-missing"),
        (lines(more="window: {low: 20, high: 20}"), "value-out-of-range"),
        (lines(beside="file: a.npy, a_scan_lines: [{id: a, scan_line: 1, from: [1, 1], to: [1, 9]}]"),
         "contradicting-fields"),
        (lines(beside="file: a.npy, a_scan_lines: [{id: a, scan_line: 1, band_mm: 0.5}]"), "field-not-applicable"),
        (DOCUMENT % "file: a.png, a_scan_lines: [{id: a, scan_line: 1}]", "field-not-applicable"),
        (lines(beside="file: a.npy, a_scan_lines: [{id: a, from: [1, 1]}]"), "field-missing"),
        (DOCUMENT % (SCALE % "geometry: linear"), "field-missing"),
        (DOCUMENT % (SCALE % "geometry: linear, depth_axis: top-down, sector: {pivot: [1, 1], pivot_to_face_mm: 8}"),
         "contradicting-fields"),
        (DOCUMENT % (SCALE % "sector: {pivot: [1, 200000], pivot_to_face_mm: 8}"), "value-not-understood"),
        (DOCUMENT % (SCALE % "region: {x0: 0, y0: 0, x1: 9, y1: 9}, a_scan_strip: {mm_per_pixel: 0.1,"
                             " depth_axis: left-to-right, region: {x0: 9, y0: 20, x1: 2, y1: 30}}"),
         "value-out-of-range"),
        (DOCUMENT % (SCALE % "a_scan_strip: {mm_per_pixel: 0.1, depth_axis: left-to-right,"
                             " region: {x0: 0, y0: 20, x1: 9, y1: 30}}"), "strip-overlaps-picture"),
        (DOCUMENT % (SCALE % "region: {x0: 0, y0: 0, x1: 70000, y1: 9}"), "value-out-of-range"),
        (DOCUMENT % (SCALE % "region: {x0: 0, y0: 0, x1: 9.5, y1: 9}"), "value-not-understood"),
        (DOCUMENT % "file: a.png, burned_in_text: {identifies_patient: yes, mask: yes}", "field-missing"),
        (DOCUMENT % "file: a.png, burned_in_text: {identifies_patient: yes, regions: [{x0: 9, y0: 0, x1: 2, y1: 5}]}",
         "value-out-of-range"),
        (DOCUMENT.replace("still, eye", "loop, eye", 1) %
         "file: a.avi, frame_times_ms: [0, 50], calibration: {mm_per_pixel: {x: 0.05, y: 0.05}},"
         " a_scan_lines: [{id: a, from: [1, 1], to: [1, 9], frame: 3}]", "frame-not-fitting"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_or_is_not_whole_holds_the_capture(read, text, code):
    assert code in codes_of(read(text).held)


def test_a_linear_picture_with_the_direction_of_its_beams_is_good(read):
    assert read(DOCUMENT % (SCALE % "geometry: linear, depth_axis: top-down")).held == ()


def test_a_capture_whose_step_was_not_looked_up_has_no_scan():
    fields = CaptureFields.model_validate({"id": "a", "kind": "still", "eye": "right", "protocol_step": "T12"})
    with pytest.raises(ValueError, match="has not been looked up"):
        scan_of(fields)
