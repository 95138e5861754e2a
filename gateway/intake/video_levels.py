"""From decoded video frames to grey or RGB: range of grey, neutral colour and colour matrix, decided once for a loop.

The same bytes mean two different pictures. Studio video puts black at 16 and white at 235, computers at 0 and 255, and
many files do not say which. What is used, and on whose word, goes into the derivation.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from av.video.frame import VideoFrame
from av.video.plane import VideoPlane
from numpy.typing import NDArray

from gateway.errors.media import ColourModelError, GreyRangeError, PixelDepthError
from gateway.model.media import ColourModel

Picture = NDArray[np.uint8]

NEUTRAL_CHROMA = 128
CHROMA_TOLERANCE = 2
"""Steps by which lossy coding may move neutral chroma (own choice): at most 3.5 of 255 in blue, below what is seen."""

_CHROMA_STEPS = {
    "yuv420p": (2, 2),
    "yuv422p": (1, 2),
    "yuv444p": (1, 1),
    "yuv440p": (2, 1),
    "yuv411p": (1, 4),
}
"""Rows and columns of luma that share one chroma sample."""
_PACKED = frozenset({"yuyv422", "uyvy422"})
_RGB = frozenset({"rgb24", "bgr24", "bgr0", "rgb0", "0rgb", "0bgr", "gbrp", "pal8"})


class ColourRange(IntEnum):
    """How libav numbers the ranges (``AVColorRange``)."""

    UNSTATED = 0
    LIMITED = 1
    FULL = 2


@dataclass(frozen=True, slots=True)
class ColourMatrix:
    """Weights of red and blue in luma."""

    name: str
    red: float
    blue: float


BT_601 = ColourMatrix("ITU-R BT.601", 0.299, 0.114)
BT_709 = ColourMatrix("ITU-R BT.709", 0.2126, 0.0722)
_STATED_MATRICES = {1: BT_709, 5: BT_601, 6: BT_601}
"""By MatrixCoefficients of ITU-T H.273, as libav hands them on."""
_MATRIX_UNSTATED = 2


@dataclass(frozen=True, slots=True)
class Levels:
    """What the numbers in one loop's frames mean.

    Parameters
    ----------
    layout : str
        libav's name of the pixel format, without its ``j`` for full range.
    is_limited : bool
        Grey from 16 to 235 instead of 0 to 255.
    said_by : str
        Who says so, for the derivation.
    matrix : ColourMatrix or None
        None where the frames hold no luma.
    """

    layout: str
    is_limited: bool
    said_by: str
    matrix: ColourMatrix | None
    matrix_said_by: str

    @property
    def has_chroma(self) -> bool:
        """Whether frames come as luma and chroma."""
        return self.layout in _CHROMA_STEPS


def layout_of(frame: VideoFrame) -> str:
    """Return the pixel format, where ``yuvj420p`` is ``yuv420p`` with full range."""
    name = frame.format.name
    if name in _PACKED:
        return "yuv422p"
    if name == "bgra":
        # A 32-bit bitmap's fourth byte is reserved, whatever stands in it.
        return "bgr0"
    return name.replace("yuvj", "yuv")


def levels_of(frame: VideoFrame, codec: str, name: str) -> Levels:
    """Decide what the numbers of a loop mean, from its first frame.

    Raises
    ------
    PixelDepthError, ColourModelError
        For other than 8 bits, or a layout that is not read.
    GreyRangeError
        Where neither file nor standard says the range.
    """
    layout = layout_of(frame)
    _refuse_layout(frame, layout, codec, name)
    is_limited, said_by = False, ""
    if layout in _CHROMA_STEPS or (layout == "gray" and codec == "h264"):
        is_limited, said_by = _range_of(frame, codec, name)
    matrix, matrix_said_by = _matrix_of(frame, codec, name) if layout in _CHROMA_STEPS else (None, "")
    return Levels(layout, is_limited, said_by, matrix, matrix_said_by)


def _refuse_layout(frame: VideoFrame, layout: str, codec: str, name: str) -> None:
    # bgra comes from rawvideo alone; elsewhere its fourth channel is a real opacity.
    is_read = layout in _RGB or layout in _CHROMA_STEPS or layout == "gray"
    if is_read and (frame.format.name != "bgra" or codec == "rawvideo"):
        return
    depth = max((component.bits for component in frame.format.components), default=8)
    if depth != 8:
        raise PixelDepthError(
            "the loop has other than 8 bits a sample", where=name, was=f"{depth} bits", fix="export it with 8 bits"
        )
    raise ColourModelError(
        "the loop's pixel layout is not read", where=name, was=frame.format.name, fix="export it in grey or RGB"
    )


_INFERRED_RANGE = {
    "h264": (True, "not stated, so as ITU-T H.264 E.2.1 infers"),
    "mjpeg": (False, "as JPEG File Interchange Format (ITU-T T.871) has it"),
    "rawvideo": (True, "not stated, so as ITU-R BT.601 has it for 8-bit luma and chroma"),
}


def range_of(frame: VideoFrame) -> ColourRange:
    """Return the range as the frame states it."""
    if frame.format.name.startswith("yuvj"):
        return ColourRange.FULL
    stated = int(frame.color_range)
    return ColourRange(stated) if stated in set(ColourRange) else ColourRange.UNSTATED


def _range_of(frame: VideoFrame, codec: str, name: str) -> tuple[bool, str]:
    stated = range_of(frame)
    if stated is not ColourRange.UNSTATED:
        return stated is ColourRange.LIMITED, "stated in the file"
    if codec not in _INFERRED_RANGE:
        raise GreyRangeError(
            "the range of grey is not stated",
            where=name,
            was=f"{codec} with luma and chroma",
            fix="export the loop in grey or RGB",
        )
    return _INFERRED_RANGE[codec]


def _matrix_of(frame: VideoFrame, codec: str, name: str) -> tuple[ColourMatrix, str]:
    stated = int(frame.colorspace)
    if stated in _STATED_MATRICES:
        return _STATED_MATRICES[stated], "stated in the file"
    if stated != _MATRIX_UNSTATED:
        raise ColourModelError(
            "the loop's colour matrix is not read",
            where=name,
            was=f"MatrixCoefficients {stated}",
            fix="export it with BT.601 or BT.709",
        )
    if codec == "mjpeg" or frame.height <= 576:
        return BT_601, "not stated, usual for this size"
    return BT_709, "not stated, usual for this size"


def is_grey(frame: VideoFrame, levels: Levels) -> bool:
    """Whether one frame shows no colour: equal channels, or chroma within `CHROMA_TOLERANCE` of neutral."""
    if levels.layout == "gray":
        return True
    if levels.has_chroma:
        return chroma_deviation(frame) <= CHROMA_TOLERANCE
    rgb = _rgb_of(frame)
    return bool(np.array_equal(rgb[..., 0], rgb[..., 1]) and np.array_equal(rgb[..., 1], rgb[..., 2]))


def chroma_deviation(frame: VideoFrame) -> int:
    """Return the largest distance of chroma from neutral in a frame, in steps of 8 bits."""
    planar = _planar(frame)
    extremes = [int(abs(int(end) - NEUTRAL_CHROMA)) for plane in planar.planes[1:3] for end in _ends(_array(plane))]
    return max(extremes)


def _ends(values: Picture) -> tuple[np.uint8, np.uint8]:
    return values.min(), values.max()


def picture_of(frame: VideoFrame, levels: Levels, colour: ColourModel) -> Picture:
    """Return a frame as (rows, columns) grey or (rows, columns, 3) RGB, C-contiguous."""
    if levels.layout == "gray" or levels.has_chroma:
        planar = _planar(frame)
        luma = _array(planar.planes[0])
        if colour is ColourModel.GREY:
            return spread_luma(luma) if levels.is_limited else np.array(luma, order="C")
        if levels.layout == "gray":
            return np.repeat((spread_luma(luma) if levels.is_limited else luma)[..., np.newaxis], 3, axis=2)
        return _converted(planar, levels)
    rgb = _rgb_of(frame)
    return np.ascontiguousarray(rgb[..., 0]) if colour is ColourModel.GREY else np.ascontiguousarray(rgb)


def spread_luma(luma: Picture) -> Picture:
    """Spread 16 to 235 over 0 to 255: ``round((Y - 16) * 255 / 219)``, values outside clipped."""
    steps = np.rint((np.arange(256) - 16) * (255 / 219))
    spread: Picture = np.clip(steps, 0, 255).astype(np.uint8)[luma]
    return spread


def _converted(frame: VideoFrame, levels: Levels) -> Picture:
    """Turn luma and chroma into RGB: ITU-R BT.601-7 2.5.1 and BT.709-6 3.2 solved for RGB; chroma is repeated."""
    matrix = levels.matrix or BT_601
    rows_per, columns_per = _CHROMA_STEPS[levels.layout]
    luma = _array(frame.planes[0]).astype(np.float32)
    blue, red = (
        _array(plane).astype(np.float32).repeat(rows_per, axis=0).repeat(columns_per, axis=1) - NEUTRAL_CHROMA
        for plane in frame.planes[1:3]
    )
    blue, red = blue[: frame.height, : frame.width], red[: frame.height, : frame.width]
    if levels.is_limited:
        luma = (luma - 16) * (255 / 219)
        blue, red = blue * (255 / 224), red * (255 / 224)
    green_weight = 1 - matrix.red - matrix.blue
    to_red = 2 * (1 - matrix.red) * red
    to_blue = 2 * (1 - matrix.blue) * blue
    to_green = -(matrix.red * to_red + matrix.blue * to_blue) / green_weight
    rgb = np.stack([luma + to_red, luma + to_green, luma + to_blue], axis=2)
    picture: Picture = np.clip(np.rint(rgb), 0, 255).astype(np.uint8)
    return picture


def _planar(frame: VideoFrame) -> VideoFrame:
    """Take packed luma and chroma apart; the samples stay as they are."""
    return frame.reformat(format="yuv422p") if frame.format.name in _PACKED else frame


_BYTE_ORDERS = {"rgb24": (3, 1), "rgb0": (4, 1), "bgr24": (3, -1), "bgr0": (4, -1), "bgra": (4, -1)}
"""Bytes of a pixel, and whether red comes first (1) or last of three (-1)."""


def _rgb_of(frame: VideoFrame) -> Picture:
    layout = frame.format.name
    if layout not in _BYTE_ORDERS:
        frame, layout = frame.reformat(format="rgb24"), "rgb24"
    samples, order = _BYTE_ORDERS[layout]
    pixels = _array(frame.planes[0], samples).reshape(frame.height, frame.width, samples)
    return pixels[..., :3][..., ::order]


def _array(plane: VideoPlane, samples: int = 1) -> Picture:
    """Return a plane from its top line to its bottom line, without the padding at the end of lines."""
    # A negative length of line means that the bottom line comes first in memory, as in bitmaps.
    lines = np.frombuffer(memoryview(plane), dtype=np.uint8).reshape(plane.height, abs(plane.line_size))
    upright = lines if plane.line_size > 0 else lines[::-1]
    return upright[:, : plane.width * samples]


def derivation_of(levels: Levels, colour: ColourModel, deviation: int) -> tuple[str, ...]:
    """Return what turning the frames into pixels did, one sentence each; empty where pixels are as stored."""
    notes: list[str] = []
    if levels.has_chroma or levels.said_by:
        if levels.is_limited:
            how = "spread to 0 to 255 by round((Y - 16) * 255 / 219), values outside clipped"
            notes.append(f"Luma has range 16 to 235 ({levels.said_by}) and was {how}.")
        else:
            notes.append(f"Luma has range 0 to 255 ({levels.said_by}) and was kept as decoded.")
    if levels.has_chroma and colour is ColourModel.GREY:
        notes.append(
            f"Grey is the luma of the video; its chroma is neutral in every frame (within {deviation} of "
            f"{NEUTRAL_CHROMA}, at most {CHROMA_TOLERANCE} accepted) and was left out."
        )
    elif levels.has_chroma and levels.matrix:
        notes.append(
            f"Colour was computed from luma and chroma with the matrix of {levels.matrix.name} "
            f"({levels.matrix_said_by}), chroma samples repeated."
        )
    if levels.layout == "pal8":
        notes.append("Palette colours were written out for each pixel.")
    if levels.layout in _RGB and colour is ColourModel.GREY:
        notes.append("Three equal colour channels were kept as one grey channel.")
    return tuple(notes)
