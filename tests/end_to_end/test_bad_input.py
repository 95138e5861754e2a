"""What is wrong with an exam is said in so many words, at its place; the rest goes on and the original stays."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam


def originals(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


def build(folder: Path, *, code: int) -> tuple[str, list[str]]:
    """Build the exam; return what was printed and the eyes of the pictures that went on."""
    before = originals(folder)
    out = folder.parent / "out"
    printed = gateway("build", folder, "--out", out, cwd=folder.parent, code=code)
    assert originals(folder) == before
    built = [dcmread(path, stop_before_pixels=True) for path in sorted(out.glob("dicom/*.dcm"))]
    return printed, sorted(ds.ImageLaterality for ds in built if ds.Modality == "US")


def test_a_good_exam_goes_through(tmp_path: Path) -> None:
    printed, eyes = build(write_small_exam(tmp_path / "exam"), code=0)
    assert eyes == ["L", "R", "R"]
    assert "held" not in printed


@pytest.mark.parametrize(
    ("right", "wrong", "says", "eyes_left"),
    [
        ("    eye: left\n", "", ("the eye is not stated", "exam.yaml:23:5"), ["R", "R"]),
        (
            "    eye: left\n",
            "    eye: left\n    eye: right\n",
            ("two eyes named for one capture", "exam.yaml:26:5", "exam.yaml:27:5"),
            ["R", "R"],
        ),
        ("    eye: left\n", "    eye: [left, right]\n", ("one eye", "exam.yaml:26:10"), ["R", "R"]),
        (
            "    clock_hour: 9\n    calibration",
            "    clock_hour: 13\n    calibration",
            ("not a clock hour", "was 13", "exam.yaml:28:17"),
            ["R", "R"],
        ),
        ("[50, 20]", "[80, 20]", ("outside", "exam.yaml:52"), ["L", "R", "R"]),
        ("[60, 20]", "[55, 20]", ("1 %", "m-od"), ["L", "R", "R"]),
    ],
    ids=["no eye", "two eyes", "eyes in a list", "clock hour 13", "caliper outside", "value disagrees"],
)
def test_one_wrong_part_is_held_with_its_place_and_the_rest_goes_on(
    tmp_path: Path, right: str, wrong: str, says: tuple[str, ...], eyes_left: list[str]
) -> None:
    assert DOCUMENT.count(right) == 1
    folder = write_small_exam(tmp_path / "exam", DOCUMENT.replace(right, wrong))
    printed, eyes = build(folder, code=1)
    for words in says:
        assert words in printed
    assert eyes == eyes_left


def test_what_rests_on_a_held_capture_is_held_and_named(tmp_path: Path) -> None:
    folder = write_small_exam(tmp_path / "exam", DOCUMENT.replace("    eye: left\n", ""))
    printed, _ = build(folder, code=1)
    assert "held: m-os" in printed


@pytest.mark.parametrize(("name", "keep"), [("os-t9.png", 0.5), ("od-loop.avi", 0.5), ("os-t9.png", 0.0)])
def test_a_truncated_picture_or_movie_is_held(tmp_path: Path, name: str, keep: float) -> None:
    folder = write_small_exam(tmp_path / "exam")
    content = (folder / name).read_bytes()
    (folder / name).write_bytes(content[: int(len(content) * keep)])
    printed, eyes = build(folder, code=1)
    assert f"held: {name.split('.', maxsplit=1)[0]}" in printed
    assert len(eyes) == 2


@pytest.mark.parametrize(
    ("document", "says"),
    [
        (DOCUMENT.replace("Holm^Maija", "Holm\\\\Maija"), "backslash"),
        (DOCUMENT.replace("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02T09:30:00"), "offset"),
        ("a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", "anchor"),
        ("format: eye-ultrasound-exam/2\n", "eye-ultrasound-exam/1"),
        ("", "exam.yaml"),
    ],
    ids=["name with a backslash", "time without offset", "yaml bomb", "other format", "empty"],
)
def test_what_concerns_the_whole_exam_stops_it(tmp_path: Path, document: str, says: str) -> None:
    folder = write_small_exam(tmp_path / "exam", document)
    printed, eyes = build(folder, code=3)
    assert says in printed
    assert "Traceback" not in printed
    assert "Holm" not in printed
    assert eyes == []


def test_unknown_keys_name_the_nearest(tmp_path: Path) -> None:
    folder = write_small_exam(tmp_path / "exam", DOCUMENT.replace("    zone: equator", "    zome: equator"))
    printed, eyes = build(folder, code=1)
    assert "zone" in printed
    assert "exam.yaml:17:5" in printed
    assert eyes == ["L", "R"]
