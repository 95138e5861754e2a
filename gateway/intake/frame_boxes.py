"""Frames of an animation as rectangles on its picture: how long each is shown, and whether anything is left open.

An animation draws each frame over what is there. Where nothing was drawn, or a rectangle was cleared again, readers
show different things: a background colour, black, or what lies behind the picture. Such a file is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise

from gateway.errors.media import MediaDamagedError, TransparencyError
from gateway.intake.frame_times import FrameClock, frame_clock


@dataclass(frozen=True, slots=True)
class FrameBox:
    """One frame of an animation before it is decoded.

    Parameters
    ----------
    left, top, right, bottom : int
        Its place on the picture; right and bottom do not belong to it.
    is_seethrough : bool
        Whether it may show through what is below it.
    is_cleared : bool
        Whether its rectangle is emptied before the next frame, or readers differ on that.
    is_taken_back : bool
        Whether what was there before it comes back, so that it covers nothing for good.
    shown_s : Fraction
        For how long the file wants it shown; 0 where the file does not say.
    """

    left: int
    top: int
    right: int
    bottom: int
    is_seethrough: bool
    is_cleared: bool
    is_taken_back: bool
    shown_s: Fraction

    def covers(self, other: FrameBox) -> bool:
        """Whether no pixel of another rectangle lies outside this one."""
        inside = self.left <= other.left and self.top <= other.top
        return inside and self.right >= other.right and self.bottom >= other.bottom


def ensure_nothing_open(boxes: Sequence[FrameBox], columns: int, rows: int, name: str) -> None:
    """Refuse an animation that does not say what all its pixels are.

    Raises
    ------
    MediaDamagedError
        If a frame reaches beyond the picture.
    TransparencyError
        If a part of the picture was never drawn, or was cleared and not drawn again.
    """
    for number, box in enumerate(boxes, start=1):
        if box.right > columns or box.bottom > rows or box.left >= box.right or box.top >= box.bottom:
            raise MediaDamagedError(
                "a frame does not lie on its picture",
                where=name,
                was=f"frame {number}, {box.right} x {box.bottom} on {columns} x {rows}",
                fix="export it again",
            )
    first = boxes[0]
    if first.right - first.left != columns or first.bottom - first.top != rows:
        raise _open("the first frame does not fill the picture", 1, name)
    for number, (box, following) in enumerate(pairwise(boxes), start=1):
        is_drawn_over = following.covers(box) and not following.is_seethrough and not following.is_taken_back
        if box.is_cleared and not is_drawn_over:
            raise _open("a frame is cleared or taken back, and not drawn over", number, name)


def _open(what: str, number: int, name: str) -> TransparencyError:
    return TransparencyError(
        what, where=name, was=f"frame {number}", fix="export whole frames, or its frames as single files"
    )


_WITHOUT_TIMES = "The file states no time for some frames; its times were left out."


def clock_of(boxes: Sequence[FrameBox]) -> FrameClock:
    """Return when each frame is shown; a constant rate where every frame but the last is shown equally long.

    How long the last frame stays says nothing about when frames were taken: many files hold it before they begin anew.
    """
    shown = [box.shown_s for box in boxes[:-1]]
    if any(not time for time in shown):
        return FrameClock(None, None, _WITHOUT_TIMES)
    parts = math.lcm(*(time.denominator for time in shown))
    ticks = [int(time * parts) for time in accumulate(shown, initial=Fraction(0))]
    rate = 1 / shown[0] if len(set(shown)) == 1 else None
    return frame_clock(ticks, Fraction(1, parts), (rate,))
