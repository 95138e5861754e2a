"""When the frames of a loop were taken, as Cine and Multi-frame say it (PS3.3 C.7.6.5, C.7.6.6).

A constant rate becomes Frame Time, anything else Frame Time Vector; never both, and Frame Increment Pointer names the
one that is there. What the exam states wins over what the file carries; where neither says anything, nothing is made
up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Final

from pydicom.datadict import tag_for_keyword

from gateway.builders.attributes import AttributeWriter
from gateway.errors.objects import FrameTimesDisagreeError, FrameTimingUnknownError, ObjectTooLargeError
from gateway.model.capture import Capture
from gateway.model.media import PixelFacts

_MOST_BYTES: Final = 65534
"""Greatest value length of a DS in Explicit VR (PS3.5 7.1.2); more would have to be written as UN."""
_FINEST_DECIMALS: Final = 6
"""Nanoseconds, in milliseconds."""


@dataclass(frozen=True, slots=True)
class _Rate:
    frame_time_ms: float
    frames_per_second: float
    origin: str


@dataclass(frozen=True, slots=True)
class _Times:
    times_ms: tuple[float, ...]
    origin: str


def write_frame_times(w: AttributeWriter, capture: Capture, facts: PixelFacts, path: str) -> None:
    """Write the Cine module, Number of Frames and Frame Increment Pointer.

    Parameters
    ----------
    facts : PixelFacts
        Of the frames that are stored.
    path : str
        Field path of the capture, e.g. ``captures[2]``.

    Raises
    ------
    FrameTimingUnknownError
        If neither exam nor file says when the frames were taken.
    FrameTimesDisagreeError
        If there are not as many times as frames, or they do not rise from 0.
    ObjectTooLargeError
        If the times do not fit into one attribute.
    """
    timing = _timing(capture, facts, path)
    w.set("NumberOfFrames", facts.frame_count, f"{path}.files")
    if isinstance(timing, _Rate):
        w.set("FrameTime", timing.frame_time_ms, timing.origin)
        _point_to(w, "FrameTime", timing.origin)
        if timing.frames_per_second.is_integer():  # both hold whole numbers only
            w.set("CineRate", int(timing.frames_per_second), timing.origin)
            w.set("RecommendedDisplayFrameRate", int(timing.frames_per_second), timing.origin)
    else:
        w.set("FrameTimeVector", increments(timing.times_ms), timing.origin)
        _point_to(w, "FrameTimeVector", timing.origin)


def increments(times_ms: Sequence[float]) -> list[str]:
    """Return the times as differences from frame to frame, the first 0, in at most 65534 bytes.

    Times are rounded, not differences, so that errors do not add up over the loop.

    Raises
    ------
    ObjectTooLargeError
        If there are too many frames even for whole milliseconds.
    """
    for decimals in range(_FINEST_DECIMALS, -1, -1):
        grid = Decimal(1).scaleb(-decimals)
        rounded = [Decimal(repr(float(time_ms))).quantize(grid) for time_ms in times_ms]
        steps = [Decimal(0), *(later - earlier for earlier, later in pairwise(rounded))]
        texts = [_plain(step) for step in steps]
        if sum(map(len, texts)) + len(texts) - 1 <= _MOST_BYTES and max(map(len, texts)) <= 16:
            return texts
    raise ObjectTooLargeError(
        "more frame times than one attribute can hold",
        where="FrameTimeVector",
        was=f"{len(times_ms)} frames",
        fix="keep a shorter range of the loop",
    )


def _plain(step: Decimal) -> str:
    text = f"{step:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _timing(capture: Capture, facts: PixelFacts, path: str) -> _Rate | _Times:
    stated = capture.timing
    if stated.frame_rate_hz is not None:
        return _rate(stated.frame_rate_hz, f"{path}.frame_rate_hz")
    if stated.frame_times_ms:
        times = _of_stored_frames(stated.frame_times_ms, capture, facts)
        origin = f"{path}.frame_rate_hz" if capture.missing_frames else f"{path}.frame_times_ms"
        return _Times(_checked(times, facts, origin), origin)
    if facts.frame_rate_hz is not None:
        return _rate(facts.frame_rate_hz, f"{path}.file, its constant rate")
    if facts.frame_times_ms:
        return _Times(_checked(facts.frame_times_ms, facts, f"{path}.file"), f"{path}.file, its frame times")
    raise FrameTimingUnknownError(
        "a loop without frame rate or frame times", where=path, fix="state frame_rate_hz or frame_times_ms"
    )


def _rate(frames_per_second: float, origin: str) -> _Rate:
    return _Rate(1000 / frames_per_second, float(frames_per_second), origin)


def _of_stored_frames(times_ms: tuple[float, ...], capture: Capture, facts: PixelFacts) -> tuple[float, ...]:
    """Return the times of the kept frames, counted from the first of them."""
    kept = capture.kept
    if kept is None or len(times_ms) == facts.frame_count or len(times_ms) < kept.last:
        return times_ms
    chosen = times_ms[kept.first - 1 : kept.last]
    return tuple(float(Decimal(repr(float(t))) - Decimal(repr(float(chosen[0])))) for t in chosen)


def _checked(times_ms: tuple[float, ...], facts: PixelFacts, where: str) -> tuple[float, ...]:
    if len(times_ms) != facts.frame_count:
        raise FrameTimesDisagreeError(
            "not one time for each frame", where=where, was=f"{len(times_ms)} times for {facts.frame_count} frames"
        )
    if times_ms[0] != 0:
        raise FrameTimesDisagreeError("the first frame time is not 0", where=where, was=f"{times_ms[0]:g}")
    for number, (earlier, later) in enumerate(pairwise(times_ms), start=2):
        if later <= earlier:
            raise FrameTimesDisagreeError(
                f"the time of frame {number} is not later than the one before", where=where, was=f"{later:g}"
            )
    return times_ms


def _point_to(w: AttributeWriter, keyword: str, origin: str) -> None:
    tag = tag_for_keyword(keyword)
    assert tag is not None  # noqa: S101 - keywords of this module are of PS3.6
    w.set("FrameIncrementPointer", [tag], origin)
