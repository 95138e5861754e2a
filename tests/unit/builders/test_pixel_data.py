"""Pixels go in and come out as they are, one frame at a time."""

from __future__ import annotations

import dataclasses
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from pydicom import dcmread
from pydicom.encaps import generate_fragments, parse_basic_offsets

from gateway.builders import pixel_data
from gateway.builders.built import BuiltObject
from gateway.builders.pixel_data import EXPLICIT_VR_LITTLE_ENDIAN, JPEG_LS_LOSSLESS, transcode_to_explicit_le
from gateway.errors.objects import NotTranscodableError, ObjectTooLargeError, PixelsNotAsStatedError
from gateway.model.media import ColourModel
from tests.unit.builders.invented_captures import FULL_EXAM, FULL_LOOP, FULL_STILL, Frames, build, facts, frame

SHAPES = [(48, 64, ColourModel.GREY), (47, 63, ColourModel.GREY), (48, 64, ColourModel.RGB), (47, 63, ColourModel.RGB)]


def loop_of(rows: int, columns: int, colour: ColourModel, folder: Path, frames: int = 3) -> tuple[BuiltObject, Frames]:
    source = Frames(facts(rows, columns, colour=colour, frame_count=frames))
    exam = dataclasses.replace(FULL_EXAM, captures=(FULL_STILL, FULL_LOOP))
    return build(exam, FULL_LOOP, folder, source=source), source


@pytest.mark.parametrize(("rows", "columns", "colour"), SHAPES)
def test_a_still_holds_the_pixels_it_was_given(rows: int, columns: int, colour: ColourModel, tmp_path: Path) -> None:
    source = Frames(facts(max(rows, 48), max(columns, 63), colour=colour))
    capture = dataclasses.replace(FULL_STILL, calibration=None)
    built = build(FULL_EXAM, capture, tmp_path, source=source)
    dataset = dcmread(built.path)
    assert np.array_equal(dataset.pixel_array, next(source.frames()))
    assert dataset["PixelData"].VR == "OB"
    assert len(dataset.PixelData) % 2 == 0
    assert dataset.PhotometricInterpretation == ("MONOCHROME2" if colour is ColourModel.GREY else "RGB")


@pytest.mark.parametrize(("rows", "columns", "colour"), SHAPES)
def test_a_loop_comes_back_pixel_for_pixel(rows: int, columns: int, colour: ColourModel, tmp_path: Path) -> None:
    built, source = loop_of(rows, columns, colour, tmp_path)
    dataset = dcmread(built.path)
    assert dataset.file_meta.TransferSyntaxUID == JPEG_LS_LOSSLESS == built.transfer_syntax_uid
    assert np.array_equal(dataset.pixel_array, np.stack(list(source.frames())))


def test_a_loop_has_one_even_fragment_a_frame_and_a_table_that_finds_them(tmp_path: Path) -> None:
    """PS3.5 A.4: offsets from the first item after the table; fragments of even length."""
    built, _ = loop_of(47, 63, ColourModel.GREY, tmp_path, frames=4)
    data = built.path.read_bytes()
    start = data.index(pixel_data._PIXEL_DATA_OB) + 12
    with built.path.open("rb") as file:
        file.seek(start)
        table = parse_basic_offsets(file)
        first_item = file.tell()
        fragments = list(generate_fragments(file))
    assert len(table) == len(fragments) == 4
    assert all(len(fragment) % 2 == 0 for fragment in fragments)
    for offset, fragment in zip(table, fragments, strict=True):
        at = first_item + offset
        assert data[at : at + 4] == b"\xfe\xff\x00\xe0"
        assert struct.unpack("<I", data[at + 4 : at + 8]) == (len(fragment),)
    assert data.endswith(b"\xfe\xff\xdd\xe0\x00\x00\x00\x00")


@pytest.mark.parametrize(("rows", "columns", "colour"), SHAPES)
def test_unpacking_keeps_pixels_and_every_byte_of_the_header(
    rows: int, columns: int, colour: ColourModel, tmp_path: Path
) -> None:
    built, source = loop_of(rows, columns, colour, tmp_path)
    plain = tmp_path / "plain.dcm"
    transcode_to_explicit_le(built.path, plain)
    dataset = dcmread(plain)
    assert dataset.file_meta.TransferSyntaxUID == EXPLICIT_VR_LITTLE_ENDIAN
    assert np.array_equal(dataset.pixel_array, np.stack(list(source.frames())))
    assert dataset["PixelData"].VR == "OB"
    assert len(dataset.PixelData) % 2 == 0

    def header(path: Path) -> bytes:
        data = path.read_bytes()
        start = 144 + int.from_bytes(data[140:144], "little")
        return data[start : data.index(pixel_data._PIXEL_DATA_OB)]

    assert header(plain) == header(built.path)


def test_unpacking_refuses_what_is_no_loop_of_ours(tmp_path: Path) -> None:
    still = build(FULL_EXAM, FULL_STILL, tmp_path)
    target = tmp_path / "plain.dcm"
    with pytest.raises(NotTranscodableError):
        transcode_to_explicit_le(still.path, target)
    nonsense = tmp_path / "nonsense.dcm"
    nonsense.write_bytes(b"nonsense" * 100)
    with pytest.raises(NotTranscodableError):
        transcode_to_explicit_le(nonsense, target)
    assert not target.exists()


@pytest.mark.parametrize("damage", ["cut", "flip", "lose"])
def test_unpacking_a_damaged_loop_leaves_no_file(damage: str, tmp_path: Path) -> None:
    built, _ = loop_of(48, 64, ColourModel.GREY, tmp_path)
    data = bytearray(built.path.read_bytes())
    start = data.index(pixel_data._PIXEL_DATA_OB)
    if damage == "cut":
        data = data[: start + 200]
    elif damage == "flip":
        at = data.index(b"\xff\xd8\xff\xf7", start)
        data[at : at + 4] = bytes(4)
    else:  # one frame fewer than the header says
        last = data.rindex(b"\xfe\xff\x00\xe0")
        data = data[:last] + b"\xfe\xff\xdd\xe0\x00\x00\x00\x00"
    damaged = tmp_path / "damaged.dcm"
    damaged.write_bytes(data)
    with pytest.raises(NotTranscodableError):
        transcode_to_explicit_le(damaged, tmp_path / "plain.dcm")
    assert {path.name for path in tmp_path.iterdir()} == {built.path.name, "damaged.dcm"}


@dataclasses.dataclass(frozen=True)
class Changed(Frames):
    """A file that is not what it was when it was looked at."""

    change: str = ""

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        yield frame(self.facts, 1)
        if self.change == "shape":
            yield frame(self.facts, 2)[:-1]
        if self.change == "type":
            yield frame(self.facts, 2).astype(np.uint16)
        if self.change == "more":
            yield from (frame(self.facts, 2), frame(self.facts, 3))


@pytest.mark.parametrize("change", ["shape", "type", "more", "fewer"])
def test_a_source_that_changed_leaves_no_file(change: str, tmp_path: Path) -> None:
    source = Changed(facts(frame_count=2), change=change)
    with pytest.raises(PixelsNotAsStatedError):
        build(FULL_EXAM, FULL_LOOP, tmp_path, source=source)
    assert not list(tmp_path.iterdir())


def test_a_still_of_two_frames_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PixelsNotAsStatedError):
        build(FULL_EXAM, FULL_STILL, tmp_path, source=Frames(facts(frame_count=2)))


def test_loops_beyond_32_bits_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    built, source = loop_of(48, 64, ColourModel.GREY, tmp_path)
    monkeypatch.setattr(pixel_data, "_MOST_BYTES", 4000)
    with pytest.raises(ObjectTooLargeError):
        transcode_to_explicit_le(built.path, tmp_path / "plain.dcm")
    with pytest.raises(ObjectTooLargeError):
        build(FULL_EXAM, FULL_LOOP, tmp_path / "again", source=source)


@pytest.mark.parametrize("brightest", [0, 1, 7])
def test_dark_and_black_frames_are_stored_with_the_stated_bits(brightest: int, tmp_path: Path) -> None:
    class Dark(Frames):
        def frames(self) -> Iterator[NDArray[np.uint8]]:
            yield from (np.minimum(each, brightest) for each in super().frames())

    exam_capture = dataclasses.replace(FULL_LOOP, calibration=None)
    built = build(FULL_EXAM, exam_capture, tmp_path, source=Dark(facts(47, 63, frame_count=3)))
    stored = dcmread(built.path)
    assert stored.pixel_array.max() == brightest
    # ISO/IEC 14495-1 C.2.2: the precision stands behind marker and length of the frame header.
    headers = [part for part in generate_fragments(stored.PixelData) if b"\xff\xf7" in part]
    assert [part[part.index(b"\xff\xf7") + 4] for part in headers] == [8, 8, 8]
