"""An exam folder as a clinic may leave it: complete, or with something wrong in one place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from gateway.errors.document import ExamDocumentError, FrameError, PointOutsidePictureError
from gateway.errors.media import (
    ExamFolderError,
    MediaMissingError,
    MediaOutsideFolderError,
    MediaTruncatedError,
    RegionOutsidePictureError,
)
from gateway.intake.exam_folder import ExamFolder, read_exam_folder
from gateway.model.exam import HeldPart
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_small_exam(tmp_path / "exam")


def only_held(read: ExamFolder, name: str) -> HeldPart:
    (part,) = [part for part in read.held if part.name == name]
    return part


def test_a_folder_is_read_with_its_pixels(folder: Path) -> None:
    read = read_exam_folder(folder)
    assert read.held == ()
    assert read.unused == ()
    assert {name: source.facts.frame_count for name, source in read.media.items()} == {
        "od-t3": 1,
        "os-t9": 1,
        "od-loop": 12,
    }


def test_the_document_itself_may_be_named_and_json_is_as_good_as_yaml(folder: Path) -> None:
    content = YAML(typ="safe", pure=True).load(folder / "exam.yaml")
    (folder / "visit.json").write_text(json.dumps(content, default=lambda moment: moment.isoformat()), encoding="utf-8")
    from_json, from_yaml = read_exam_folder(folder / "visit.json").exam, read_exam_folder(folder).exam
    assert from_json.captures == from_yaml.captures
    assert from_json.patient == from_yaml.patient


@pytest.mark.parametrize("second", ["exam.yml", "exam.json"])
def test_two_documents_are_one_too_many(folder: Path, second: str) -> None:
    (folder / second).write_text("{}", encoding="utf-8")
    with pytest.raises(ExamFolderError, match="more than one"):
        read_exam_folder(folder)


def test_no_document_and_no_folder_say_what_to_write(tmp_path: Path) -> None:
    with pytest.raises(ExamFolderError, match=r"exam\.yaml"):
        read_exam_folder(tmp_path)
    with pytest.raises(ExamFolderError, match="no such exam folder"):
        read_exam_folder(tmp_path / "nowhere")


def test_a_missing_file_holds_its_capture_and_what_rests_on_it(folder: Path) -> None:
    (folder / "os-t9.png").unlink()
    read = read_exam_folder(folder)
    assert isinstance(only_held(read, "os-t9").reason, MediaMissingError)
    assert only_held(read, "m-os").part == "measurements[1]"
    assert [c.id for c in read.exam.captures] == ["od-t3", "od-loop"]


@pytest.mark.parametrize("name", ["../secret.png", "/etc/hostname", "link.png"])
def test_a_file_outside_the_folder_is_never_opened(tmp_path: Path, name: str) -> None:
    folder = write_small_exam(tmp_path / "exam", DOCUMENT.replace("file: os-t9.png", f"file: {name}"))
    (tmp_path / "secret.png").write_bytes((folder / "os-t9.png").read_bytes())
    (folder / "link.png").symlink_to(tmp_path / "secret.png")
    read = read_exam_folder(folder)
    assert "os-t9" not in read.media
    reason = only_held(read, "os-t9").reason
    # What is refused by its spelling alone never reaches the file system.
    assert isinstance(reason, MediaOutsideFolderError) or "folder" in str(reason)


def test_a_link_that_stays_inside_is_followed(folder: Path) -> None:
    (folder / "os-t9.png").rename(folder / "kept.png")
    (folder / "os-t9.png").symlink_to(folder / "kept.png")
    assert read_exam_folder(folder).held == ()


def test_media_that_nothing_names_are_reported(folder: Path) -> None:
    (folder / "forgotten.png").write_bytes((folder / "os-t9.png").read_bytes())
    (folder / "notes.txt").write_text("not media")
    (folder / ".hidden.png").write_bytes(b"")
    assert read_exam_folder(folder).unused == ("forgotten.png",)


def test_half_a_movie_is_held(folder: Path) -> None:
    movie = folder / "od-loop.avi"
    movie.write_bytes(movie.read_bytes()[: movie.stat().st_size // 2])
    assert isinstance(only_held(read_exam_folder(folder), "od-loop").reason, MediaTruncatedError)


@pytest.mark.parametrize(
    ("wrong", "name", "error"),
    [
        (DOCUMENT.replace("[50, 20]", "[64.5, 20]"), "m-os", PointOutsidePictureError),
        (DOCUMENT.replace("frame_rate_hz: 20", "keep: {first: 3, last: 13}"), "od-loop", FrameError),
        (
            DOCUMENT.replace(
                "    zone: equator\n    calibration:\n",
                "    zone: equator\n    calibration:\n      region: {x0: 0, y0: 0, x1: 64, y1: 47}\n",
            ),
            "od-t3",
            RegionOutsidePictureError,
        ),
    ],
    ids=["point", "kept range", "region"],
)
def test_what_does_not_fit_its_picture_is_held(tmp_path: Path, wrong: str, name: str, error: type[Exception]) -> None:
    read = read_exam_folder(write_small_exam(tmp_path / "exam", wrong))
    assert isinstance(only_held(read, name).reason, error)


def test_a_point_on_the_far_corner_is_still_on_the_picture(tmp_path: Path) -> None:
    # PS3.3 C.10.5: Columns\Rows is the bottom right corner of the last pixel.
    document = DOCUMENT.replace("[50, 20]", "[64, 48]")
    assert read_exam_folder(write_small_exam(tmp_path / "exam", document)).held == ()


def test_the_kept_range_renumbers_times_and_frames(tmp_path: Path) -> None:
    document = DOCUMENT.replace("frame_rate_hz: 20", "frame_rate_hz: 20\n    keep: {first: 3, last: 10}")
    read = read_exam_folder(write_small_exam(tmp_path / "exam", document))
    assert read.media["od-loop"].facts.frame_count == 8


def test_nothing_left_stops_the_exam_with_every_reason(folder: Path) -> None:
    for path in folder.iterdir():
        if path.name != "exam.yaml":
            path.unlink()
    with pytest.raises(ExamDocumentError) as caught:
        read_exam_folder(folder)
    assert len(caught.value.problems) == 4
