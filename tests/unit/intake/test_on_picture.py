"""What a document states of a capture, held against its picture: the reason must name the right line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from fixtures.make.media import write_numbered_frames
from gateway.errors import Place
from gateway.errors.document import FrameError, FrameTimingError, PointOutsidePictureError
from gateway.intake.exam_folder import ExamFolder, read_exam_folder
from gateway.model.exam import HeldPart
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam

KEEP = DOCUMENT.replace("frame_rate_hz: 20", "frame_rate_hz: 20\n    keep: {first: 3, last: 10}")


def read(tmp_path: Path, document: str) -> ExamFolder:
    return read_exam_folder(write_small_exam(tmp_path / "exam", document))


def line_of(document: str, words: str) -> int:
    (line,) = [number for number, line in enumerate(document.splitlines(), start=1) if words in line]
    return line


def held(found: ExamFolder, part: str) -> HeldPart:
    (one,) = [item for item in found.held if item.part == part]
    return one


def test_reason_names_the_line_also_where_an_earlier_part_is_held(tmp_path):
    document = DOCUMENT.replace("kind: distance\n    points: [[10, 20], [60, 20]]", "kind: nonsense").replace(
        "[50, 20]", "[500, 20]"
    )
    found = read(tmp_path, document)
    reason = held(found, "measurements[1]").reason
    assert isinstance(reason, PointOutsidePictureError)
    assert isinstance(reason.where, Place)
    assert reason.where.line == line_of(document, "[500, 20]")
    assert reason.where.field == "measurements[1].points"
    assert "x 500, y 20" in reason.was
    assert "x runs to 64 and y to 48" in reason.fix
    assert found.exam.measurements == ()


def test_frame_beyond_the_loop_is_told_in_the_documents_own_count(tmp_path):
    document = KEEP + (
        "  - {id: m-loop, capture: od-loop, frame: 10, kind: axial-length, displayed: {value: 23, unit: mm}}\n"
        "annotations:\n"
        '  - {capture: od-loop, frame: 5, kind: arrow, from: [1, 1], to: [5, 49], text: "here"}\n'
        '  - {capture: od-t3, kind: text, at: [64, 48], text: "corner"}\n'
    )
    found = read(tmp_path, document)
    reason = held(found, "annotations[0]").reason
    assert isinstance(reason, PointOutsidePictureError)
    assert reason.where.field == "annotations[0].to"
    assert [annotation.text for annotation in found.exam.annotations] == ["corner"]
    assert [(m.id, m.frame) for m in found.exam.measurements if m.capture_id == "od-loop"] == [("m-loop", 8)]

    document = DOCUMENT + (
        "  - {id: m-loop, capture: od-loop, frame: 13, kind: axial-length, displayed: {value: 23, unit: mm}}\n"
    )
    reason = held(read(tmp_path / "late", document), "measurements[2]").reason
    assert isinstance(reason, FrameError)
    assert reason.was == "frame 13, the last one is 12"
    assert reason.where.line == line_of(document, "frame: 13")


def test_times_count_the_frames_of_the_file(tmp_path):
    times = ", ".join(str(50 * n) for n in range(11))
    document = DOCUMENT.replace("frame_rate_hz: 20", f"frame_times_ms: [{times}]")
    reason = held(read(tmp_path, document), "captures[2]").reason
    assert isinstance(reason, FrameTimingError)
    assert reason.was == "11 times, 12 frames in the file"
    assert reason.where.line == line_of(document, "frame_times_ms")


def test_stated_times_follow_the_kept_frames(tmp_path):
    times = [0, 50, 100.3, 151.1, 202, 250, 300, 351, 400, 450, 500, 550]
    document = KEEP.replace("frame_rate_hz: 20", f"frame_times_ms: {times}")
    found = read(tmp_path, document)
    assert found.held == ()
    assert found.exam.capture("od-loop").timing.frame_times_ms == (0, 50.8, 101.7, 149.7, 199.7, 250.7, 299.7, 349.7)
    assert found.media["od-loop"].facts.frame_count == 8


def test_two_parts_of_one_loop_are_two_captures(tmp_path):
    part = KEEP[KEEP.index("  - id: od-loop") : KEEP.index("measurements:")]
    again = part.replace("id: od-loop", "id: od-loop-late").replace("first: 3, last: 10", "first: 11, last: 12")
    found = read(tmp_path, KEEP.replace("measurements:", again + "measurements:"))
    assert found.held == ()
    assert {name: source.facts.frame_count for name, source in found.media.items() if "loop" in name} == {
        "od-loop": 8,
        "od-loop-late": 2,
    }


def test_numbered_frames_are_a_loop_and_one_missing_holds_it(tmp_path):
    names = [f"loop/f{number:03d}.png" for number in range(1, 5)]
    document = DOCUMENT.replace("file: od-loop.avi", f"files: [{', '.join(names)}]")
    folder = write_small_exam(tmp_path / "exam", document)
    frames = list(np.random.default_rng(1).integers(0, 256, (4, 48, 64), dtype=np.uint8))
    paths = write_numbered_frames(folder / "loop", frames)
    found = read_exam_folder(folder)
    assert all(np.array_equal(a, b) for a, b in zip(found.media["od-loop"].frames(), frames, strict=True))
    assert found.unused == ("od-loop.avi",)

    Image.fromarray(frames[0][:40]).save(paths[2])
    assert "loop (frame 3: f003.png)" in str(held(read_exam_folder(folder), "captures[2]").reason)
    paths[2].unlink()
    assert held(read_exam_folder(folder), "captures[2]").reason.was == "loop/f003.png"


def test_progress_is_told_for_each_capture(tmp_path):
    steps: list[tuple[str, int, int]] = []
    folder = write_small_exam(tmp_path / "exam")
    read_exam_folder(folder, on_progress=lambda *step: steps.append(step))
    assert steps == [("read", done, 3) for done in range(4)]


def test_an_ellipse_whose_other_end_leaves_the_picture_is_held_though_its_centre_form_does_not(tmp_path):
    # Centre at 50, half axis 20: its far end would lie at 70 on a picture 64 pixels wide.
    oval = "  - {id: oval, capture: od-t3, kind: area, shape: ellipse, points: [[50, 20], [30, 20], [50, 30]]}\n"
    reason = held(read(tmp_path, DOCUMENT + oval), "measurements[2]").reason
    assert isinstance(reason, PointOutsidePictureError)
    assert "x 70" in reason.was


def test_a_medium_that_begins_beside_the_picture_holds_its_measurement(tmp_path):
    lines = "[{tissue: vitreous}, {from: [[30, 10], [30, 49]], tissue: tumour}]"
    tall = f"  - {{id: tall, capture: od-t3, kind: height, points: [[20, 20], [50, 20]], media: {lines}}}\n"
    reason = held(read(tmp_path, DOCUMENT + tall), "measurements[2]").reason
    assert isinstance(reason, PointOutsidePictureError)
    assert reason.where.field == "measurements[2].media"
