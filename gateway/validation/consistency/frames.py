"""Frames and their times (PS3.3 C.7.6.5, C.7.6.6)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gateway.validation.consistency.finding import found
from gateway.validation.elements import keyword, shown, tag
from gateway.validation.findings import Finding
from gateway.validation.scope import Scope, has_value, values

TIMES: Final = ("FrameTime", "FrameTimeVector")
FRAME_NUMBERS: Final = (
    ("StartTrim", "PS3.3 C.7.6.5"),
    ("StopTrim", "PS3.3 C.7.6.5"),
    ("RepresentativeFrameNumber", "PS3.3 C.7.6.9"),
)


def check(scope: Scope) -> Iterator[Finding]:
    """Yield what is wrong between the number of frames, their times and what points to them."""
    yield from _count(scope)
    yield from _pointer(scope)
    yield from _times(scope)


def _count(scope: Scope) -> Iterator[Finding]:
    frames = scope.value("NumberOfFrames")
    if frames is None:
        return
    if not isinstance(frames, int) or frames < 1:
        yield found(
            "frame-count-impossible", "NumberOfFrames", f"is {shown(frames)}; it must be 1 or more", "PS3.3 C.7.6.6"
        )
        return
    for name, section in FRAME_NUMBERS:
        number = scope.value(name)
        if isinstance(number, int) and not 1 <= number <= frames:
            message = f"is {number}; frames are numbered 1 to {frames}"
            yield found("frame-number-beyond-frames", name, message, section)


def _pointer(scope: Scope) -> Iterator[Finding]:
    """Frame Time and its vector are type 1C in Cine; here stand the other attributes that may be pointed to."""
    own = {tag(name) for name in TIMES}
    for target in values(scope.root, "FrameIncrementPointer"):
        if isinstance(target, int) and target not in own:
            element = scope.root.get(target)
            if element is None or element.empty:
                message = f"points to {keyword(target)}, which is missing or empty; it must be there with values"
                yield found("frame-pointer-target-missing", "FrameIncrementPointer", message, "PS3.3 C.7.6.6")


def _times(scope: Scope) -> Iterator[Finding]:
    vector = values(scope.root, "FrameTimeVector")
    frames = scope.value("NumberOfFrames")
    if vector and isinstance(frames, int) and len(vector) != frames:
        message = f"has {len(vector)} values; there are {frames} frames, so it must have as many"
        yield found("frame-time-vector-length", "FrameTimeVector", message, "PS3.3 C.7.6.5.1.2")
    if vector and isinstance(vector[0], int | float) and vector[0] != 0:
        message = f"starts with {vector[0]}; the first frame's increment is 0"
        yield found("frame-time-vector-start", "FrameTimeVector", message, "PS3.3 C.7.6.5.1.2")
    negative = [each for each in vector if isinstance(each, int | float) and each < 0]
    if negative:
        message = f"has the value {negative[0]}; time between frames is never negative"
        yield found("frame-time-impossible", "FrameTimeVector", message, "PS3.3 C.7.6.5.1.2")
    time = scope.value("FrameTime")
    if isinstance(time, int | float) and time <= 0 and has_value(scope.root, "FrameTime"):
        yield found("frame-time-impossible", "FrameTime", f"is {time} ms; it must be more than 0", "PS3.3 C.7.6.5.1.1")
