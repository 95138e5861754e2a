"""Numbered stills of a loop: gaps are named, admitted gaps keep their time."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.errors.document import ExamDocumentError, FieldNotApplicableError, ValueOutOfRangeError
from gateway.errors.frames import FrameNumberError
from gateway.mapping.exam_document import read_exam_document
from gateway.mapping.frame_numbers import frame_numbers
from gateway.model.capture import Capture, FrameTiming
from gateway.model.media import GreyWindow

HEAD = """\
format: eye-ultrasound-exam/1
patient: {id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}
session: {start: 2026-03-02T09:30:00+01:00}
captures:
  - id: od-loop
    kind: %s
    eye: right
    scan: axial-horizontal
"""


def captured(tmp_path: Path, rest: str, kind: str = "loop") -> Capture:
    (tmp_path / "exam.yaml").write_text(HEAD % kind + "".join(f"    {line}\n" for line in rest.splitlines()))
    (capture,) = read_exam_document(tmp_path / "exam.yaml").exam.captures
    return capture


def reason(tmp_path: Path, rest: str, kind: str = "loop") -> Exception:
    with pytest.raises(ExamDocumentError) as caught:
        captured(tmp_path, rest, kind)
    return caught.value.problems[-1]


@pytest.mark.parametrize(
    ("files", "numbers"),
    [
        (["f001.png", "f002.png", "f004.png"], (1, 2, 4)),
        (["f9.png", "f10.png"], (9, 10)),
        (["od3/f1.png", "od3/f2.png"], (1, 2)),
        (["f1_od3.png", "f2_od3.png"], (1, 2)),
        (["a.png", "b.png"], None),
        (["a1b1.png", "a2b2.png"], None),
        (["20260302093410.png", "20260302093411.png"], None),
        (["f1.png", "g2.png"], None),
        (["f1.png"], None),
        (["f1.png", "f01.png"], None),
    ],
)
def test_the_one_number_that_differs_counts_frames(files, numbers):
    assert frame_numbers(files) == numbers


def test_a_gap_is_an_error_that_names_the_number(tmp_path):
    error = reason(tmp_path, "files: [f001.png, f002.png, f004.png]\nframe_rate_hz: 20")
    assert isinstance(error, FrameNumberError)
    assert error.was == "3"
    assert "missing_frames: [3]" in error.fix
    assert error.where.field == "captures[0].files"


def test_a_wide_gap_is_told_briefly(tmp_path):
    error = reason(tmp_path, "files: [f1.png, f999999.png]\nframe_rate_hz: 20")
    assert error.was == "2, 3, 4, 5, 6 and 999992 more"


def test_an_admitted_gap_keeps_its_time(tmp_path):
    capture = captured(tmp_path, "files: [f1.png, f2.png, f4.png]\nframe_rate_hz: 20\nmissing_frames: [3]")
    assert capture.timing == FrameTiming(frame_times_ms=(0, 50, 150))
    assert capture.missing_frames == (3,)


def test_one_of_two_gaps_admitted_is_not_enough(tmp_path):
    error = reason(tmp_path, "files: [f1.png, f3.png, f5.png]\nmissing_frames: [2]\nframe_rate_hz: 20")
    assert error.was == "4"


def test_without_a_gap_the_rate_stays_a_rate(tmp_path):
    capture = captured(tmp_path, "files: [f7.png, f8.png]\nframe_rate_hz: 20")
    assert capture.timing == FrameTiming(frame_rate_hz=20)


def test_stated_times_need_no_numbers(tmp_path):
    capture = captured(tmp_path, "files: [f0000.png, f0050.png]\nframe_times_ms: [0, 50]")
    assert capture.timing == FrameTiming(frame_times_ms=(0, 50))


@pytest.mark.parametrize(
    ("rest", "error"),
    [
        ("files: [f2.png, f1.png]", FrameNumberError),
        ("files: [f1.png, f2.png]\nmissing_frames: [2]", FrameNumberError),
        ("files: [f1.png, f3.png]\nmissing_frames: [2, 9]", FrameNumberError),
        ("files: [a.png, b.png]\nmissing_frames: [2]", FieldNotApplicableError),
        ("file: a.avi\nmissing_frames: [2]", FieldNotApplicableError),
        ("files: [f1.png, f3.png]\nmissing_frames: [2]\nframe_times_ms: [0, 50]", FieldNotApplicableError),
        ("file: a.tif\npage: 2", FieldNotApplicableError),
        ("file: a.tif\ngrey_window: {low: 9, high: 9}", ValueOutOfRangeError),
        ("file: a.tif\ngrey_window: {low: 0, high: 65536}", ValueOutOfRangeError),
    ],
)
def test_what_does_not_fit_is_refused(tmp_path, rest, error):
    assert isinstance(reason(tmp_path, rest), error)


def test_a_still_has_no_missing_frames(tmp_path):
    assert isinstance(reason(tmp_path, "file: a.png\nmissing_frames: [2]", "still"), FieldNotApplicableError)


def test_page_and_window_reach_the_capture(tmp_path):
    capture = captured(tmp_path, "file: a.tif\npage: 2\ngrey_window: {low: 10, high: 4095}", "still")
    assert (capture.page, capture.grey_window) == (2, GreyWindow(10, 4095))


@pytest.mark.parametrize(("pages", "held"), [(("1", "2"), 0), (("2", "2"), 2), ((None, "2"), 2)])
def test_two_pages_of_one_file_may_show_two_eyes_but_one_page_may_not(tmp_path, pages, held):
    text = HEAD.partition("  - id")[0]
    text += "  - {id: spare, kind: still, eye: left, scan: axial-vertical, file: spare.png}\n"
    for number, (eye, page) in enumerate(zip(("right", "left"), pages, strict=True)):
        stated = f", page: {page}" if page else ""
        text += f"  - {{id: c{number}, kind: still, eye: {eye}, scan: axial-horizontal, file: a.tif{stated}}}\n"
    (tmp_path / "exam.yaml").write_text(text)
    assert len(read_exam_document(tmp_path / "exam.yaml").held) == held
