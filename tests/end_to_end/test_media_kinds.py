"""Every kind of media that a clinic may hand over, from folder or ZIP archive to objects that other programs accept."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pydicom
import pytest
import tifffile
from PIL import Image

from fixtures.make.media import write_avi, write_mp4
from gateway.app import open_gateway
from gateway.builders.built import ObjectKind
from gateway.pipeline.line import PreparedExam
from gateway.settings import Settings, StoreSettings
from tests.conformance.oracle import verdict

HEAD = """\
format: eye-ultrasound-exam/1
synthetic: yes
patient: {id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}
session: {start: 2026-03-02T09:30:00+01:00}
eyes_stated_by: "Lind^Tove"
captures:
"""
LOOP, STILL = "loop", "still"


def capture(name: str, kind: str, *lines: str) -> str:
    fields = [f"id: {name}", f"kind: {kind}", "eye: right", "scan: axial-horizontal", *lines]
    return "  - " + "\n    ".join(fields) + "\n"


def animated(path: Path, frames: list[np.ndarray], **options: object) -> None:
    images = [Image.fromarray(frame) for frame in frames]
    images[0].save(path, save_all=True, append_images=images[1:], **options)


def grains(*shape: int, seed: int = 1, most: int = 256, kind: type = np.uint8) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, most, shape).astype(kind)


def write_exam(folder: Path) -> Path:
    folder.mkdir()
    grey, colour = grains(48, 64), grains(48, 64, 3)
    frames = [grains(48, 64, seed=seed) for seed in range(5)]
    for ending in ("png", "bmp", "tif", "jpg"):
        Image.fromarray(grey).save(folder / f"grey.{ending}")
        Image.fromarray(colour).save(folder / f"colour.{ending}")
    Image.fromarray(np.dstack([grey] * 3)).save(folder / "neutral.png")
    Image.fromarray(colour).quantize(64).save(folder / "palette.gif")
    Image.fromarray(grey > 99).save(folder / "bits.png")
    Image.fromarray(grains(48, 64, most=4096, kind=np.uint16)).save(folder / "deep.png")
    Image.fromarray(grains(48, 64, seed=9, most=4096, kind=np.uint16)).save(folder / "deep-stated.png")
    tifffile.imwrite(folder / "pages.tif", np.stack(frames), photometric="minisblack")
    tifffile.imwrite(folder / "deep.tif", grains(4, 48, 64, most=60_000, kind=np.uint16), photometric="minisblack")
    animated(folder / "even.gif", frames, duration=50)
    animated(folder / "uneven.png", frames, duration=[40, 60, 50, 70, 10])
    write_mp4(folder / "loop.mp4", frames)
    write_avi(folder / "loop.avi", frames)
    for number in (1, 2, 4, 5):
        Image.fromarray(frames[number - 1]).save(folder / f"f{number:03}.png")
    stills = ("grey.png", "grey.bmp", "grey.tif", "grey.jpg", "colour.png", "colour.bmp", "colour.tif", "colour.jpg")
    document = HEAD + "".join(capture(name.replace(".", "-"), STILL, f"file: {name}") for name in stills)
    document += "".join(
        capture(name.replace(".", "-"), STILL, f"file: {name}") for name in ("neutral.png", "palette.gif", "bits.png")
    )
    document += capture("deep", STILL, "file: deep.png") + capture("page", STILL, "file: pages.tif", "page: 3")
    document += capture("deep-stated", STILL, "file: deep-stated.png", "grey_window: {low: 0, high: 4095}")
    document += capture("pages", LOOP, "file: pages.tif", "frame_rate_hz: 20")
    document += capture("deep-pages", LOOP, "file: deep.tif", "frame_times_ms: [0, 40, 90, 130]")
    document += capture("even", LOOP, "file: even.gif") + capture("uneven", LOOP, "file: uneven.png")
    document += capture("mp4", LOOP, "file: loop.mp4") + capture("avi", LOOP, "file: loop.avi")
    files = "files: [f001.png, f002.png, f004.png, f005.png]"
    document += capture("gap", LOOP, files, "frame_rate_hz: 20", "missing_frames: [3]")
    (folder / "exam.yaml").write_text(document, encoding="utf-8")
    return folder


Objects = Mapping[str, pydicom.Dataset]


def read_objects(prepared: PreparedExam) -> Objects:
    return {
        item.built.capture_id: pydicom.dcmread(item.built.path)
        for item in prepared.objects
        if item.built.kind is ObjectKind.IMAGE
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_exam(tmp_path_factory.mktemp("media") / "exam")


@pytest.fixture(scope="module")
def built(folder: Path) -> Objects:
    with open_gateway(Settings(store=StoreSettings(folder.parent / "data"))) as gateway:
        prepared = gateway.prepare(folder)
        assert prepared.held == ()
        assert prepared.unused == ()
        assert [finding for item in prepared.objects for finding in item.findings if item.errors] == []
        judged = {item.built.capture_id: verdict(item.built.path.read_bytes()) for item in prepared.objects}
        assert {name: found.errors for name, found in judged.items() if found.errors or found.crashed} == {}
        return read_objects(prepared)


def test_colour_is_kept_only_where_there_is_colour(built: Objects) -> None:
    rgb = {name for name, image in built.items() if image.PhotometricInterpretation == "RGB"}
    assert rgb == {"colour-png", "colour-bmp", "colour-tif", "colour-jpg", "palette-gif"}
    assert all(built[name].PlanarConfiguration == 0 for name in rgb)
    assert "one grey channel" in built["neutral-png"].DerivationDescription


@pytest.mark.parametrize("name", ["grey-png", "grey-bmp", "grey-tif", "neutral-png"])
def test_grey_stills_come_out_exactly(built: Objects, name: str) -> None:
    assert np.array_equal(built[name].pixel_array, grains(48, 64))
    assert list(built[name].ImageType)[:2] == ["ORIGINAL", "PRIMARY"]


def test_sixteen_bits_become_a_derived_image_that_names_window_and_original(built: Objects, folder: Path) -> None:
    values = grains(48, 64, most=4096, kind=np.uint16)
    for name, low, high in (("deep", int(values.min()), int(values.max())), ("deep-stated", 0, 4095)):
        image = built[name]
        digest = hashlib.sha256((folder / f"{name}.png").read_bytes()).hexdigest()
        assert list(image.ImageType)[:2] == ["DERIVED", "PRIMARY"]
        assert f"(v - {low}) * 255 / ({high} - {low})" in image.DerivationDescription
        assert digest in image.DerivationDescription
        assert (image.BitsAllocated, image.BitsStored, image.HighBit) == (8, 8, 7)
    assert "stated in the exam" in built["deep-stated"].DerivationDescription
    assert built["deep-pages"].ImageType[0] == "DERIVED"


def test_frame_times_are_those_of_the_file(built: Objects) -> None:
    assert built["even"].FrameTime == 50
    assert [float(step) for step in built["uneven"].FrameTimeVector] == [0, 40, 60, 50, 70]
    assert built["pages"].FrameTime == 50
    assert [float(step) for step in built["deep-pages"].FrameTimeVector] == [0, 40, 50, 40]


def test_an_admitted_gap_keeps_its_time_and_is_written_down(built: Objects) -> None:
    assert [float(step) for step in built["gap"].FrameTimeVector] == [0, 50, 100, 50]
    assert "frames 3" in built["gap"].DerivationDescription


def test_the_range_of_video_is_written_down(built: Objects) -> None:
    assert "Luma has range" in built["mp4"].DerivationDescription
    assert built["mp4"].LossyImageCompression == "01"


@pytest.mark.parametrize("name", ["pages", "even", "uneven", "avi"])
def test_loops_without_loss_come_out_exactly(built: Objects, name: str) -> None:
    frames = np.stack([grains(48, 64, seed=seed) for seed in range(5)])
    assert np.array_equal(built[name].pixel_array, frames)


def test_page_of_a_file_is_that_picture(built: Objects) -> None:
    assert np.array_equal(built["page"].pixel_array, grains(48, 64, seed=2))
    assert "picture 3 of 5" in built["page"].DerivationDescription


@pytest.mark.parametrize("top", ["", "exam/"])
def test_an_archive_gives_the_objects_of_its_folder(built: Objects, folder: Path, tmp_path: Path, top: str) -> None:
    path = tmp_path / "exam.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(folder.iterdir()):
            archive.write(file, top + file.name)
    with open_gateway(Settings(store=StoreSettings(tmp_path / "data"))) as gateway:
        prepared = gateway.prepare(path)
        found = read_objects(prepared)
        assert prepared.measured.exam.key == "exam"
    assert {name: image.SOPInstanceUID for name, image in found.items()} == {
        name: image.SOPInstanceUID for name, image in built.items()
    }
