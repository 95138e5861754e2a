"""Small pictures for the report, made with one frame in memory at a time."""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import islice
from typing import Final

from PIL import Image

from gateway.errors.media import MediaError
from gateway.model.capture import Capture
from gateway.model.media import FrameSource

LONGEST_SIDE_PX: Final = 480
"""Some 300 dots an inch at the width that a picture has on paper."""


@dataclass(frozen=True, slots=True)
class Picture:
    """One frame of a capture, reduced for reading.

    Parameters
    ----------
    png : bytes
    columns, rows : int
        Size of the reduced picture in pixels.
    source_columns, source_rows : int
        Size of the frame as acquired.
    frame, frame_count : int
        Which frame of the stored loop it is, 1-based, and of how many; 1 of 1 for a still.
    """

    png: bytes
    columns: int
    rows: int
    source_columns: int
    source_rows: int
    frame: int = 1
    frame_count: int = 1


def picture_of(source: FrameSource, capture: Capture, number: int | None = None) -> Picture:
    """Return a still, or one frame of a loop, reduced to at most `LONGEST_SIDE_PX`.

    Parameters
    ----------
    number : int or None
        Frame of the stored loop, 1-based; its middle one where None.

    Raises
    ------
    MediaError
        If the source ends before this frame.
    """
    facts = source.facts
    number = number or (facts.frame_count + 1) // 2
    frames = source.frames()
    frame = next(islice(frames, number - 1, None), None)
    if frame is None:
        raise MediaError(
            f"a loop ends before its frame {number}",
            where=capture.id,
            was=f"{facts.frame_count} frames stated",
            fix="export the loop again",
        )
    image = Image.fromarray(frame)
    rows, columns = frame.shape[:2]
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    image.save(stream, "PNG", optimize=True)
    return Picture(stream.getvalue(), image.width, image.height, columns, rows, number, facts.frame_count)
