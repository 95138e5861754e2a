"""Built images before other people's programs: checkers, readers and decoders."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from pathlib import Path

import jpeg_ls
import numpy as np
import pytest
from pydicom import dcmread
from pydicom.encaps import generate_frames

from gateway.builders.options import BuildOptions, GeneralEquipment, SeriesBy
from gateway.builders.pixel_data import transcode_to_explicit_le
from gateway.model.a_scan import AScanStrip
from gateway.model.calibration import Calibration, DepthAxis, PixelRegion, Point
from gateway.model.capture import FrameTiming
from gateway.model.media import ColourModel
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.validation import check_file
from tests.programs import require
from tests.unit.builders.invented_captures import (
    BARE_EXAM,
    BARE_LOOP,
    BARE_STILL,
    FULL_EXAM,
    FULL_LOOP,
    FULL_STILL,
    Frames,
    build,
    facts,
)

CAPTURES = {
    "everything, still": (FULL_EXAM, FULL_STILL),
    "everything, loop": (FULL_EXAM, FULL_LOOP),
    "the least, still": (BARE_EXAM, BARE_STILL),
    "the least, loop": (BARE_EXAM, BARE_LOOP),
}


def errors_of(path: Path) -> list[str]:
    """Return what dciodvfy (dicom3tools) calls errors."""
    result = subprocess.run([require("dciodvfy"), "-new", str(path)], capture_output=True, text=True, check=False)
    lines = (result.stdout + result.stderr).splitlines()
    assert any("USImage" in line or "USMultiFrameImage" in line for line in lines), "dciodvfy gave no verdict"
    return [line for line in lines if line.startswith(("Error", "ABORT"))]


@pytest.mark.parametrize("name", CAPTURES)
@pytest.mark.parametrize(
    "options",
    [
        BuildOptions(),
        BuildOptions(SeriesBy.POSITION, "1.2.840.99999.1", True, GeneralEquipment.GATEWAY),
    ],
    ids=["defaults", "everything else"],
)
def test_a_checker_finds_no_error(name: str, options: BuildOptions, tmp_path: Path) -> None:
    exam, capture = CAPTURES[name]
    built = build(exam, capture, tmp_path, options=options)
    assert errors_of(built.path) == []


@pytest.mark.parametrize("scan", list(Scan))
@pytest.mark.parametrize("zone", [None, *Zone])
def test_a_checker_finds_no_error_in_any_position(scan: Scan, zone: Zone | None, tmp_path: Path) -> None:
    hour = None if scan.forbids_clock_hour else ClockHour(25)
    position = ProbePosition(scan, "in my own words" if scan is Scan.OTHER else "", hour, zone)
    built = build(FULL_EXAM, dataclasses.replace(FULL_STILL, position=position), tmp_path)
    assert errors_of(built.path) == []


@pytest.mark.parametrize("percent_per_pixel", [None, -1.25])
@pytest.mark.parametrize("zero", [None, Point(2.5, 46.25)])
@pytest.mark.parametrize(
    ("scan", "has_picture"), [(Scan.AXIAL_HORIZONTAL, True), (Scan.A_SCAN, True), (Scan.A_SCAN, False)]
)
def test_a_checker_finds_nothing_in_a_strip_with_an_a_scan(
    percent_per_pixel: float | None, zero: Point | None, scan: Scan, has_picture: bool, tmp_path: Path
) -> None:
    """Second region beside the picture, and the only one of a capture that is an A-scan alone."""
    strip = AScanStrip(PixelRegion(0, 40, 63, 47), 0.0625, DepthAxis.LEFT_TO_RIGHT, percent_per_pixel, zero)
    region = PixelRegion(0, 0, 63, 39) if has_picture else None
    calibration = Calibration(0.0625, 0.0625, DepthAxis.LEFT_TO_RIGHT, region=region, a_scan_strip=strip)
    capture = dataclasses.replace(FULL_STILL, position=ProbePosition(scan), calibration=calibration)
    built = build(FULL_EXAM, capture, tmp_path)
    assert errors_of(built.path) == []
    # None of the checker's warnings concerns a region either, and our own checker has nothing to say at all.
    said = subprocess.run([require("dciodvfy"), "-new", built.path], capture_output=True, text=True, check=False)
    assert "Region" not in said.stdout + said.stderr
    assert check_file(built.path).findings == ()


@pytest.mark.parametrize("colour", list(ColourModel))
def test_a_checker_finds_no_error_in_colour_and_uneven_times(colour: ColourModel, tmp_path: Path) -> None:
    capture = dataclasses.replace(FULL_LOOP, timing=FrameTiming(None, (0, 50.5, 101, 152)))
    built = build(FULL_EXAM, capture, tmp_path, source=Frames(facts(47, 63, colour=colour, frame_count=4)))
    assert errors_of(built.path) == []
    plain = tmp_path / "plain.dcm"
    transcode_to_explicit_le(built.path, plain)
    assert errors_of(plain) == []


def test_the_checker_does_see_errors(tmp_path: Path) -> None:
    """Without this, a checker that sees nothing would pass for a clean object."""
    dataset = dcmread(build(FULL_EXAM, FULL_STILL, tmp_path).path)
    dataset.Laterality = "R"
    dataset.save_as(tmp_path / "two-lateralities.dcm")
    assert errors_of(tmp_path / "two-lateralities.dcm")


def test_the_objects_of_an_exam_agree_with_each_other(tmp_path: Path) -> None:
    """dcentvfy (dicom3tools) compares patient, study, series and equipment across files."""
    files = [str(build(FULL_EXAM, capture, tmp_path).path) for capture in FULL_EXAM.captures]
    result = subprocess.run([require("dcentvfy"), *files], capture_output=True, text=True, check=False)
    assert result.returncode == 0
    assert "Error" not in result.stdout + result.stderr


@pytest.mark.parametrize("name", CAPTURES)
def test_another_toolkit_reads_every_file(name: str, tmp_path: Path) -> None:
    """DCMTK's dcmdump, told to treat what it only warns of as an error."""
    exam, capture = CAPTURES[name]
    built = build(exam, capture, tmp_path)
    result = subprocess.run(
        [require("dcmdump"), "+L", "-v", str(built.path)], capture_output=True, text=True, check=True
    )
    assert not [line for line in result.stderr.splitlines() if line.startswith(("W:", "E:"))]
    assert f"[{built.sop_instance_uid}]" in result.stdout
    assert f"(0020,0062) CS [{capture.eye.letter}]" in result.stdout


@pytest.mark.parametrize("colour", list(ColourModel))
def test_two_decoders_of_others_give_the_pixels_back(colour: ColourModel, tmp_path: Path) -> None:
    """CharLS by pyjpegls, and the decoder in DCMTK's dcmdjpls."""
    source = Frames(facts(47, 63, colour=colour, frame_count=3))
    expected = np.stack(list(source.frames()))
    built = build(FULL_EXAM, FULL_LOOP, tmp_path, source=source)
    packed = dcmread(built.path)
    frames = [jpeg_ls.decode_buffer(data)[0] for data in generate_frames(packed.PixelData, number_of_frames=3)]
    assert b"".join(frames) == expected.tobytes()
    unpacked = tmp_path / "unpacked.dcm"
    subprocess.run([require("dcmdjpls"), str(built.path), str(unpacked)], capture_output=True, check=True)
    theirs = dcmread(unpacked)
    if theirs.get("PlanarConfiguration", 0) == 1:  # they may turn it round; pydicom's pixel_array turns it back
        assert colour is ColourModel.RGB
    assert np.array_equal(theirs.pixel_array, expected)


def test_our_unpacking_is_the_unpacking_of_another_toolkit(tmp_path: Path) -> None:
    """DCMTK's dcmdjpls; it counts and encodes as we do, so attributes and pixels must agree."""
    built = build(FULL_EXAM, FULL_LOOP, tmp_path)
    ours, theirs = tmp_path / "ours.dcm", tmp_path / "theirs.dcm"
    transcode_to_explicit_le(built.path, ours)
    subprocess.run([require("dcmdjpls"), str(built.path), str(theirs)], capture_output=True, check=True)
    left, right = dcmread(ours), dcmread(theirs)
    assert left.PixelData == right.PixelData
    del left.PixelData, right.PixelData
    assert left == right


MEMORY = """
import resource, sys
from pathlib import Path
from tests.unit.builders.invented_captures import *
from gateway.builders.pixel_data import transcode_to_explicit_le
count = int(sys.argv[1])
source = Frames(facts(240, 320, frame_count=count))
capture = dataclasses.replace(BARE_LOOP)
built = build(BARE_EXAM, capture, Path(sys.argv[2]), source=source)
transcode_to_explicit_le(built.path, Path(sys.argv[2]) / "plain.dcm")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def peak_megabytes(frames: int, folder: Path) -> int:
    """Build and unpack a loop in a process of its own; return its peak resident memory as the kernel counts it."""
    command = [sys.executable, "-c", MEMORY, str(frames), str(folder)]
    root = Path(__file__).parents[2]
    return int(subprocess.run(command, capture_output=True, text=True, check=True, cwd=root).stdout)


def test_memory_does_not_grow_with_the_loop(tmp_path: Path) -> None:
    """400 frames of 320 x 240 are 29 MiB; building and unpacking them takes no more memory than doing it with 20."""
    few, many = peak_megabytes(20, tmp_path / "few"), peak_megabytes(400, tmp_path / "many")
    assert many - few < 8
