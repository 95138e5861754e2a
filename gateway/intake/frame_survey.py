"""Frames of one loop, gathered one after another: their size, colour and depth, held against one another."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gateway.errors.media import FrameSizeError, PixelDepthError
from gateway.intake.deep_grey import ensure_no_window, wider, window_note, window_of, windowed
from gateway.intake.pictures import DecodedStill, ReadPicture
from gateway.intake.stills import JPEG_METHOD
from gateway.model.media import ColourModel, GreyWindow, LossyStep, PixelFacts


@dataclass(slots=True)
class FrameSurvey:
    """What is known of a loop's frames after looking at each of them once."""

    grey_window: GreyWindow | None = None
    """As the exam states it."""
    notes: dict[str, None] = field(default_factory=dict)
    frame_count: int = 0
    rows: int = 0
    columns: int = 0
    grey_count: int = 0
    lossy_count: int = 0
    pixel_bytes: int = 0
    is_deep: bool = False
    widest: GreyWindow | None = None

    def look_at(self, still: DecodedStill, name: str) -> None:
        """Take one frame in.

        Raises
        ------
        FrameSizeError, PixelDepthError
            If it differs from the first in size, or in bits a sample.
        """
        rows, columns = still.picture.shape[:2]
        if not self.frame_count:
            self.rows, self.columns, self.is_deep = rows, columns, still.is_deep
        if (rows, columns) != (self.rows, self.columns):
            raise FrameSizeError(
                "the frames have different sizes",
                where=name,
                was=f"{columns} x {rows}, the first has {self.columns} x {self.rows}",
                fix="export frames of one size",
            )
        if still.is_deep is not self.is_deep:
            raise PixelDepthError(
                "the frames have different depths",
                where=name,
                was=f"{_bits(still.is_deep)} bits, the first has {_bits(self.is_deep)}",
                fix="export frames of one depth",
            )
        if still.is_deep:
            self.widest = wider(self.widest, window_of(still.picture.astype(np.uint16, copy=False)))
        self.notes.update(dict.fromkeys(still.derivation))
        self.frame_count += 1
        self.grey_count += still.picture.ndim == 2
        self.lossy_count += still.is_lossy
        self.pixel_bytes += still.picture.nbytes

    @property
    def window(self) -> GreyWindow | None:
        """The window for the whole loop; None for 8 bits."""
        return (self.grey_window or self.widest) if self.is_deep else None

    def facts(self, name: str, source_sha256: str, source_bytes: int) -> PixelFacts:
        """Return what is known, without times.

        Raises
        ------
        GreyWindowError
            If a window is stated for frames of 8 bits.
        """
        count = self.frame_count
        is_grey = self.grey_count == count
        notes = list(self.notes)
        if self.window is None:
            ensure_no_window(self.grey_window, name)
        else:
            notes.append(window_note(self.window, is_stated=self.grey_window is not None, sha256=source_sha256))
        if self.grey_count and not is_grey:
            notes.append("Grey frames were given three equal channels, as other frames show colour.")
        if self.lossy_count and self.lossy_count != count:
            notes.append(f"{self.lossy_count} of {count} frames came as JPEG.")
        return PixelFacts(
            rows=self.rows,
            columns=self.columns,
            colour=ColourModel.GREY if is_grey else ColourModel.RGB,
            source_sha256=source_sha256,
            frame_count=count,
            lossy=LossyStep(JPEG_METHOD, self.pixel_bytes / source_bytes) if self.lossy_count else None,
            derivation=tuple(notes),
            is_derived=self.is_deep,
        )


def _bits(is_deep: bool) -> int:
    return 16 if is_deep else 8


def frame_of(picture: ReadPicture, colour: ColourModel, window: GreyWindow | None) -> NDArray[np.uint8]:
    """Return a decoded picture as a frame of its loop."""
    if window is not None:
        return windowed(picture.astype(np.uint16, copy=False), window)
    frame = picture.astype(np.uint8, copy=False)
    if colour is ColourModel.RGB and frame.ndim == 2:
        return np.repeat(frame[..., np.newaxis], 3, axis=2)
    return frame
