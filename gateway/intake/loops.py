"""Loops: one movie file, one file of several pictures, or numbered stills; and the part of a loop that is kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.errors.document import FrameError
from gateway.intake.deep_grey import ensure_no_window
from gateway.intake.media_file import accepted_format, read_head
from gateway.intake.movies import open_movie
from gateway.intake.numbered_frames import open_numbered
from gateway.intake.picture_loops import open_picture_loop
from gateway.model.media import FrameSource, GreyWindow, PixelFacts


def open_loop(paths: Sequence[Path], *, name: str, grey_window: GreyWindow | None = None) -> FrameSource:
    """Open a loop: a movie, a file of several pictures, or two or more stills that are its frames in order.

    Every frame is decoded once here, because nothing less tells that all are there; later readings decode again, with
    one frame in memory at a time.

    Parameters
    ----------
    paths : sequence of Path
    name : str
        Path as shown to people; of numbered stills, of their folder or the first.
    grey_window : GreyWindow, optional
        How grey of 16 bits becomes 8; None for the least and greatest level of all frames.

    Returns
    -------
    FrameSource
        ``facts`` hold the frame count, the container's frame times, the constant rate where every frame keeps to it
        within half a millisecond (or one tick of a coarser clock), and what was done to the pixels.

    Raises
    ------
    MediaTruncatedError
        If the file is cut, with the number of frames that are whole and of those stated.
    MediaError
        Its other subclasses name the reason: missing, unreadable, another format or codec, damaged, frames of different
        sizes, an unknown range of grey, to be turned, a still instead of a loop.
    """
    if len(paths) > 1:
        return open_numbered(paths, name, grey_window)
    media_format = accepted_format(read_head(paths[0], name), name)
    if media_format.is_movie:
        ensure_no_window(grey_window, name)
        return open_movie(paths[0], media_format, name)
    return open_picture_loop(paths[0], media_format, name, grey_window)


# ---------------------------------------------------------------- the kept part


@dataclass(frozen=True, slots=True)
class TrimmedSource:
    """Consecutive frames of another source; the others are never handed on."""

    facts: PixelFacts
    source: FrameSource
    first: int
    last: int

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield the kept frames in order."""
        yield from islice(self.source.frames(), self.first - 1, self.last)


def times_from_first(times_ms: Sequence[float]) -> tuple[float, ...]:
    """Return times counted from the first of them, without the dust that subtracting binary fractions leaves."""
    return tuple(round(time - times_ms[0], 9) for time in times_ms)


def trimmed(source: FrameSource, first: int, last: int) -> FrameSource:
    """Keep frames `first` to `last`, counted from 1, both included.

    Times are counted from the first kept frame; digest and lossy step stay those of the whole source.

    Raises
    ------
    FrameError
        If the source has no such frames.
    """
    facts = source.facts
    count = facts.frame_count
    if not 1 <= first <= last <= count:
        raise FrameError(
            "the kept frames are not in the loop",
            was=f"{first} to {last} of {count}",
            fix=f"write first and last between 1 and {count}",
        )
    if (first, last) == (1, count):
        return source
    times = facts.frame_times_ms
    kept_times = times_from_first(times[first - 1 : last]) if times else None
    note = f"Frames {first} to {last} of {count} were kept."
    kept = dataclasses.replace(
        facts, frame_count=last - first + 1, derivation=(*facts.derivation, note), frame_times_ms=kept_times
    )
    return TrimmedSource(kept, source, first, last)
