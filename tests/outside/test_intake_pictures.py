"""Pictures and loops of pictures against decoders that are not ours: tifffile, and FFmpeg by way of PyAV.

Files are written by Pillow, tifffile and FFmpeg. Our reader decodes with Pillow, so FFmpeg and tifffile judge it.
"""

from __future__ import annotations

import contextlib
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from gateway.errors.media import MediaKindError, TransparencyError
from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still
from gateway.model.media import ColourModel, GreyWindow
from gateway.shipped import shipped_path

MANY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=80)


@pytest.fixture(scope="module")
def sector() -> np.ndarray:
    """A picture of the demo exam: invented, with speckle as a device draws it."""
    with Image.open(shipped_path("demo-exam") / "media" / "od-t3.png") as image:
        return np.array(image.convert("L"))[:120, :160]


def by_ffmpeg(path: Path, layout: str = "rgb24") -> list[np.ndarray]:
    with av.open(str(path)) as container:
        return [frame.to_ndarray(format=layout) for frame in container.decode(video=0)]


def times_by_ffmpeg(path: Path) -> list[Fraction]:
    """Presentation times in seconds from the first, out of the packets alone: nothing of them is decoded."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        places = sorted(packet.pts for packet in container.demux(stream) if packet.pts is not None and packet.size)
        return [(place - places[0]) * stream.time_base for place in places]


def as_rgb(picture: np.ndarray) -> np.ndarray:
    return np.dstack([picture] * 3) if picture.ndim == 2 else picture


def windowed_exactly(picture: np.ndarray, low: int, high: int) -> np.ndarray:
    """The formula in fractions, level by level."""
    levels = {int(v): min(max(round(Fraction((int(v) - low) * 255, high - low)), 0), 255) for v in np.unique(picture)}
    return np.vectorize(levels.__getitem__, otypes=[np.uint8])(picture)


# ---------------------------------------------------------------- 16-bit grey


def deep(sector: np.ndarray) -> np.ndarray:
    return (sector.astype(np.uint16) * 13 + np.arange(sector.shape[1], dtype=np.uint16)).astype(np.uint16) + 100


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_tiff_of_sixteen_bits_by_tifffile_is_windowed_as_stated(tmp_path, sector, order, compression):
    path = tmp_path / "deep.tif"
    if compression == "zlib":
        # tifffile needs another package for this; Pillow writes what tifffile then reads.
        Image.fromarray(deep(sector)).save(path, compression="tiff_adobe_deflate")
    else:
        tifffile.imwrite(path, deep(sector), byteorder=order, photometric="minisblack")
    values = tifffile.imread(path)
    (frame,) = open_still(path, name="a").frames()
    assert np.array_equal(frame, windowed_exactly(values, int(values.min()), int(values.max())))
    (frame,) = open_still(path, name="a", grey_window=GreyWindow(200, 2000)).frames()
    assert np.array_equal(frame, windowed_exactly(values, 200, 2000))


def test_png_of_sixteen_bits_by_ffmpeg_is_windowed_as_stated(tmp_path, sector):
    path = tmp_path / "deep.png"
    encoder = av.CodecContext.create("png", "w")
    encoder.width, encoder.height = sector.shape[1], sector.shape[0]
    encoder.pix_fmt, encoder.time_base = "gray16be", Fraction(1, 25)
    frame = av.VideoFrame.from_ndarray(deep(sector), format="gray16be")
    path.write_bytes(b"".join(bytes(packet) for packet in [*encoder.encode(frame), *encoder.encode(None)]))
    (values,) = by_ffmpeg(path, "gray16le")
    assert np.array_equal(values, deep(sector))
    (shown,) = open_still(path, name="a").frames()
    assert np.array_equal(shown, windowed_exactly(values, int(values.min()), int(values.max())))


def test_eight_bits_written_as_sixteen_come_back_exactly_by_a_stated_window(tmp_path, sector):
    # 65535 / 257 = 255: the usual way to write 8 bits in 16 (PNG specification, 13.12).
    tifffile.imwrite(tmp_path / "a.tif", sector.astype(np.uint16) * 257, photometric="minisblack")
    (frame,) = open_still(tmp_path / "a.tif", name="a", grey_window=GreyWindow(0, 65535)).frames()
    assert np.array_equal(frame, sector)


# ---------------------------------------------------------------- TIFF of several pages


@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_pages_by_tifffile_are_frames_in_order(tmp_path, sector, colour, byteorder):
    pages = np.stack([np.roll(sector, 5 * step, axis=1) for step in range(7)])
    if colour:
        pages = np.stack([pages, pages, 255 - pages], axis=-1)
    path = tmp_path / "pages.tif"
    tifffile.imwrite(path, pages, byteorder=byteorder, photometric="rgb" if colour else "minisblack")
    source = open_loop([path], name="pages")
    assert source.facts.frame_count == 7
    assert source.facts.frame_times_ms is None
    assert np.array_equal(np.stack(list(source.frames())), tifffile.imread(path))


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "packbits", "tiff_deflate"])
def test_deep_pages_share_one_window(tmp_path, sector, compression):
    pages = [deep(sector) + 300 * step for step in range(4)]
    path = tmp_path / "pages.tif"
    images = [Image.fromarray(page) for page in pages]
    images[0].save(path, save_all=True, append_images=images[1:], compression=compression)
    values = np.stack(pages)
    source = open_loop([path], name="pages")
    low, high = int(values.min()), int(values.max())
    assert np.array_equal(np.stack(list(source.frames())), windowed_exactly(values, low, high))
    assert source.facts.is_derived


# ---------------------------------------------------------------- stills of every kind


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        *(("a.png", mode) for mode in ("1", "L", "P", "RGB", "RGBA", "LA")),
        *(("a.bmp", mode) for mode in ("1", "L", "P", "RGB", "RGBA")),
        *(("a.tif", mode) for mode in ("1", "L", "P", "RGB", "RGBA")),
        *(("a.gif", mode) for mode in ("1", "L", "P")),
    ],
)
def test_each_still_is_what_ffmpeg_shows(tmp_path, sector, name, mode):
    colours = Image.fromarray(np.dstack([sector, sector // 2, 255 - sector]))
    grey = Image.fromarray(sector)
    image = (grey if mode in {"1", "L", "LA"} else colours).convert(mode)
    image.save(tmp_path / name)
    source = open_still(tmp_path / name, name="a")
    (frame,) = source.frames()
    (shown,) = by_ffmpeg(tmp_path / name)
    assert np.array_equal(as_rgb(frame), shown)
    assert source.facts.colour is (ColourModel.GREY if mode in {"1", "L", "LA"} else ColourModel.RGB)
    assert not source.facts.is_derived


# ---------------------------------------------------------------- animations


def save_animation(path: Path, frames: list[np.ndarray], **options: object) -> None:
    images = [Image.fromarray(frame) for frame in frames]
    images[0].save(path, save_all=True, append_images=images[1:], **options)


def moving(sector: np.ndarray, count: int = 6) -> list[np.ndarray]:
    """A part of the picture moves, so that encoders write differences."""
    frames = []
    for step in range(count):
        frame = sector.copy()
        frame[20:50, 10 + 15 * step : 40 + 15 * step] = 255 - 30 * step
        frames.append(frame)
    return frames


@pytest.mark.parametrize("ending", ["gif", "png"])
@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("disposal", [0, 1])
def test_animation_is_what_ffmpeg_shows_when_ffmpeg_shows_it(tmp_path, sector, ending, colour, disposal):
    path = tmp_path / f"a.{ending}"
    frames = moving(sector)
    if colour:
        frames = [np.dstack([frame, frame, np.full_like(frame, 40)]) for frame in frames]
    # Disposal 1 of APNG clears, which is another test.
    disposals = [0 if ending == "png" else disposal] * 6
    save_animation(path, frames, duration=[40, 50, 70, 40, 90, 200], disposal=disposals)
    source = open_loop([path], name="a")
    shown = by_ffmpeg(path)
    assert source.facts.frame_count == len(shown) == 6
    for ours, theirs in zip(source.frames(), shown, strict=True):
        assert np.array_equal(as_rgb(ours), theirs)
    assert source.facts.colour is (ColourModel.RGB if colour else ColourModel.GREY)
    expected = [float(time * 1000) for time in times_by_ffmpeg(path)]
    assert source.facts.frame_times_ms == pytest.approx(expected)
    assert expected == [0, 40, 90, 160, 200, 290]
    assert source.facts.frame_rate_hz is None


@pytest.mark.parametrize("encoder", ["gif", "apng"])
def test_animation_by_ffmpeg_is_read(tmp_path, sector, encoder):
    path = tmp_path / f"a.{encoder}"
    frames = moving(sector, 5)
    with av.open(str(path), "w", format=encoder) as out:
        stream = out.add_stream(encoder, rate=20)
        stream.width, stream.height = sector.shape[1], sector.shape[0]
        stream.pix_fmt = "gray"
        for frame in frames:
            out.mux(stream.encode(av.VideoFrame.from_ndarray(frame, format="gray")))
        out.mux(stream.encode(None))
    source = open_loop([path], name="a")
    assert source.facts.frame_rate_hz == 20
    assert np.array_equal(np.stack(list(source.frames())), np.stack(frames))


@st.composite
def animations(draw: st.DrawFn) -> tuple[list[np.ndarray], list[int], list[int]]:
    count = draw(st.integers(2, 5))
    rows, columns = draw(st.integers(2, 12)), draw(st.integers(2, 12))
    levels = draw(st.integers(2, 6))
    seed = draw(st.integers(0, 2**32 - 1))
    frames = list(np.random.default_rng(seed).integers(0, levels, (count, rows, columns), dtype=np.uint8) * 40)
    for before, after in pairwise(frames):
        if draw(st.booleans()):
            after[: rows // 2] = before[: rows // 2]
    for number, frame in enumerate(frames):
        frame[-1, -1] = 40 * number  # equal frames would be written as one
    durations = draw(st.lists(st.integers(2, 30).map(lambda n: n * 10), min_size=count, max_size=count))
    disposals = draw(st.lists(st.integers(0, 3), min_size=count, max_size=count))
    return frames, durations, disposals


def agree_with_ffmpeg(path: Path) -> None:
    for ours, theirs in zip(open_loop([path], name="a").frames(), by_ffmpeg(path, "rgba"), strict=True):
        assert np.array_equal(as_rgb(ours), theirs[..., :3])


@MANY
@given(animation=animations())
def test_gif_of_any_disposal_is_what_ffmpeg_shows_or_is_refused(tmp_path, animation):
    frames, durations, disposals = animation
    path = tmp_path / "a.gif"
    save_animation(path, frames, duration=durations, disposal=disposals, optimize=False)
    # Equal frames become one, which is no loop.
    with contextlib.suppress(TransparencyError, MediaKindError):
        agree_with_ffmpeg(path)


@MANY
@given(animation=animations(), blend=st.integers(0, 1))
def test_animated_png_of_any_disposal_is_what_ffmpeg_shows_or_is_refused(tmp_path, animation, blend):
    frames, durations, disposals = animation
    path = tmp_path / "a.png"
    # Pillow cannot write differences of cleared grey frames.
    colour = [np.dstack([frame] * 3) for frame in frames]
    save_animation(path, colour, duration=durations, disposal=[d % 3 for d in disposals], blend=blend)
    # Equal frames become one, which is no loop.
    with contextlib.suppress(TransparencyError, MediaKindError):
        agree_with_ffmpeg(path)


# ---------------------------------------------------------------- variable frame rate


@pytest.mark.parametrize("times_ms", [[0, 33, 71, 100, 300, 301], [0, 50, 100, 200, 250, 300]])
def test_times_of_a_variable_frame_rate_are_the_packets_own(tmp_path, sector, times_ms):
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("h264", rate=20, options={"crf": "10"})
        stream.width, stream.height, stream.pix_fmt = sector.shape[1], sector.shape[0], "yuv420p"
        stream.codec_context.time_base = Fraction(1, 1000)
        for number, time_ms in enumerate(times_ms):
            frame = av.VideoFrame.from_ndarray(np.dstack([np.roll(sector, 3 * number, axis=1)] * 3), format="rgb24")
            frame.pts, frame.time_base = time_ms, Fraction(1, 1000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    facts = open_loop([path], name="a").facts
    assert [float(1000 * time) for time in times_by_ffmpeg(path)] == pytest.approx(times_ms)
    assert facts.frame_times_ms == pytest.approx(times_ms)
    assert facts.frame_rate_hz is None
