"""Pixels that intake hands on, against other people's decoders and figures of published standards."""

from __future__ import annotations

import io
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from fixtures.make.media import write_avi, write_bmp, write_jpeg, write_mp4, write_png, write_tiff
from gateway.intake.loops import open_loop
from gateway.intake.stills import open_still
from gateway.model.media import ColourModel
from gateway.shipped import shipped_path


@pytest.fixture
def sector() -> np.ndarray:
    """A picture of the demo exam: invented, with speckle as an ultrasound device draws it."""
    with Image.open(shipped_path("demo-exam") / "media" / "od-t3.png") as image:
        return np.array(image.convert("L"))


@pytest.fixture
def loop(sector) -> list[np.ndarray]:
    return [np.roll(sector, 4 * step, axis=0) for step in range(10)]


def psnr_db(one: np.ndarray, other: np.ndarray) -> float:
    error = np.mean((one.astype(float) - other.astype(float)) ** 2)
    return float("inf") if error == 0 else float(10 * np.log10(255**2 / error))


def test_h264_grey_is_close_to_the_source_and_a_wrong_range_would_not_be(tmp_path, loop):
    source = open_loop([write_mp4(tmp_path / "a.mp4", loop, crf=18)], name="a")
    right = [psnr_db(frame, wanted) for frame, wanted in zip(source.frames(), loop, strict=True)]
    with av.open(str(tmp_path / "a.mp4")) as container:
        as_is = [frame.to_ndarray()[: loop[0].shape[0]] for frame in container.decode(video=0)]
    wrong = [psnr_db(frame, wanted) for frame, wanted in zip(as_is, loop, strict=True)]
    assert min(right) > 36
    # Luma taken as it is: black at 16 instead of 0.
    assert max(wrong) < 30


def test_mjpeg_grey_agrees_with_pillow_on_the_same_packets(tmp_path, loop):
    path = write_avi(tmp_path / "a.avi", loop, "mjpeg")
    with av.open(str(path)) as container:
        packets = [bytes(packet) for packet in container.demux(video=0) if packet.size]
    for frame, packet in zip(open_loop([path], name="a").frames(), packets, strict=True):
        with Image.open(io.BytesIO(packet)) as image:
            image.draft("L", image.size)
            expected = np.array(image.convert("L"))
        # ISO/IEC 10918-2 lets decoders differ by rounding of the inverse transform.
        assert np.abs(frame.astype(int) - expected).max() <= 2


@pytest.mark.parametrize(("write", "codec"), [(write_png, "png"), (write_bmp, "bmp"), (write_tiff, "tiff")])
@pytest.mark.parametrize("colour", [False, True])
def test_lossless_stills_agree_with_libavs_decoders(tmp_path, sector, write, codec, colour):
    picture = np.dstack([sector, sector[::-1], 255 - sector]) if colour else sector
    path = write(tmp_path / "still", picture)
    (frame,) = open_still(path, name="still").frames()
    (decoded,) = av.CodecContext.create(codec, "r").decode(av.Packet(path.read_bytes()))
    expected = decoded.to_ndarray(format="rgb24")
    assert np.array_equal(frame, expected if colour else expected[..., 0])


def test_jpeg_still_agrees_with_libavs_decoder(tmp_path, sector):
    path = write_jpeg(tmp_path / "a.jpg", sector)
    (frame,) = open_still(path, name="a").frames()
    (decoded,) = av.CodecContext.create("mjpeg", "r").decode(av.Packet(path.read_bytes()))
    luma = np.frombuffer(decoded.planes[0], np.uint8).reshape(sector.shape[0], -1)[:, : sector.shape[1]]
    assert np.abs(frame.astype(int) - luma).max() <= 2


def coloured_movie(path: Path, planes: np.ndarray, **colour: int) -> Path:
    """Write (3, rows, columns) of luma, blue and red difference as lossless H.264 4:4:4."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=20, options={"qp": "0"})
        stream.height, stream.width = planes.shape[1:]
        stream.pix_fmt = "yuv444p"
        for name, value in colour.items():
            setattr(stream.codec_context, name, value)
        frame = av.VideoFrame.from_ndarray(planes, format="yuv444p")
        for name, value in colour.items():
            setattr(frame, name, value)
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


BARS = {
    # Full-amplitude colour bars in 8 bits, as ITU-R BT.601 and BT.709 give them by their own equations and rounding
    # (the BT.601 row is the one handbooks print; both written down from memory; `RGB` is what they stand for).
    5: {
        "white": (235, 128, 128),
        "yellow": (210, 16, 146),
        "cyan": (170, 166, 16),
        "green": (145, 54, 34),
        "magenta": (106, 202, 222),
        "red": (81, 90, 240),
        "blue": (41, 240, 110),
        "black": (16, 128, 128),
    },
    1: {
        "white": (235, 128, 128),
        "yellow": (219, 16, 138),
        "cyan": (188, 154, 16),
        "green": (173, 42, 26),
        "magenta": (78, 214, 230),
        "red": (63, 102, 240),
        "blue": (32, 240, 118),
        "black": (16, 128, 128),
    },
}
RGB = {
    "white": (255, 255, 255),
    "yellow": (255, 255, 0),
    "cyan": (0, 255, 255),
    "green": (0, 255, 0),
    "magenta": (255, 0, 255),
    "red": (255, 0, 0),
    "blue": (0, 0, 255),
    "black": (0, 0, 0),
}


@pytest.mark.parametrize("matrix", [5, 1], ids=["BT.601", "BT.709"])
def test_colour_bars_come_back_as_their_colours(tmp_path, matrix):
    bars = np.array(list(BARS[matrix].values()), np.uint8)
    planes = np.ascontiguousarray(bars.repeat(16, axis=0)[np.newaxis].repeat(32, axis=0).transpose(2, 0, 1))
    path = coloured_movie(tmp_path / "bars.mp4", planes, color_range=1, colorspace=matrix)
    source = open_loop([path], name="bars")
    (frame,) = source.frames()
    assert source.facts.colour is ColourModel.RGB
    for place, wanted in enumerate(RGB.values()):
        assert np.abs(frame[16, place * 16 + 8].astype(int) - wanted).max() <= 2


@pytest.mark.parametrize("colour_range", [1, 2], ids=["limited", "full"])
@pytest.mark.parametrize("matrix", [5, 1], ids=["BT.601", "BT.709"])
def test_colour_agrees_with_libswscale(tmp_path, sector, matrix, colour_range):
    small = sector[100:164, 100:164]
    low, high = (16, 219) if colour_range == 1 else (0, 255)
    luma = (low + small * (high / 255)).astype(np.uint8)
    columns = np.linspace(90, 170, 64).astype(np.uint8)[np.newaxis].repeat(64, axis=0)
    planes = np.ascontiguousarray(np.stack([luma, columns, columns.T]))
    path = coloured_movie(tmp_path / "a.mp4", planes, color_range=colour_range, colorspace=matrix)
    (frame,) = open_loop([path], name="a").frames()
    with av.open(str(path)) as container:
        (decoded,) = container.decode(video=0)
        expected = decoded.reformat(
            format="rgb24",
            src_colorspace=matrix,
            dst_colorspace=matrix,
            src_color_range=colour_range,
            dst_color_range=2,
        ).to_ndarray()
    assert np.abs(frame.astype(int) - expected).max() <= 3
