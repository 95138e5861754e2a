"""Numbers in the names of a loop's stills: whether they run on, and the times that they give with a frame rate."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from gateway.errors.document import FieldNotApplicableError
from gateway.errors.frames import FrameNumberError
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.parts import Part
from gateway.model.capture import FrameTiming

_LARGEST_FRAME_NUMBER = 1_000_000
"""Longer numbers are dates or clock times; a loop of a million frames lasts hours."""
_MOST_NAMED = 5


def frame_numbers(files: Sequence[str]) -> tuple[int, ...] | None:
    """Return the number of each file, where the names differ in one number alone; None otherwise."""
    if len(files) < 2:
        return None
    texts = [re.split("[0-9]+", name) for name in files]
    runs = [re.findall("[0-9]+", name) for name in files]
    if any(text != texts[0] for text in texts):
        return None
    differing = [column for column in zip(*runs, strict=True) if len({int(run) for run in column}) > 1]
    if len(differing) != 1:
        return None
    numbers = tuple(int(run) for run in differing[0])
    return numbers if max(numbers) <= _LARGEST_FRAME_NUMBER else None


def check_frame_numbers(part: Part[CaptureFields], fields: CaptureFields) -> None:
    """Refuse a loop of numbered stills with a gap that its document does not admit."""
    numbers = frame_numbers(fields.files or ())
    admitted = fields.missing_frames
    if admitted is not None and numbers is None:
        what = "no frames are numbered here"
        fix = "leave it out, or list files whose names differ in one number"
        part.refuse(FieldNotApplicableError, what, "missing_frames", fix=fix)
    if admitted is not None and fields.frame_times_ms is not None:
        what = "the times of all files are stated already"
        part.refuse(FieldNotApplicableError, what, "missing_frames", fix="leave one of them out")
    if numbers is None or fields.frame_times_ms is not None:
        return
    backwards = next((pair for pair in pairwise(numbers) if pair[1] <= pair[0]), None)
    if backwards:
        was = f"{backwards[1]} after {backwards[0]}"
        part.refuse(FrameNumberError, "frames do not stand in the order of their numbers", "files", was=was, fix=_SORT)
        return
    _check_gaps(part, numbers, set(admitted or ()))


_SORT = "list them in the order in which they were shown"


def _check_gaps(part: Part[CaptureFields], numbers: Sequence[int], admitted: set[int]) -> None:
    present = set(numbers)
    # A gap may hold a million numbers; only those that will be named are gathered.
    gaps = [(before + 1, after - 1) for before, after in pairwise(numbers) if after > before + 1]
    within = sum(any(first <= number <= last for first, last in gaps) for number in admitted)
    lost = sum(last - first + 1 for first, last in gaps) - within
    if lost:
        named = _first_missing(gaps, admitted)
        was = ", ".join(map(str, named)) + (f" and {lost - len(named)} more" if lost > len(named) else "")
        fix = f"copy the files, or write missing_frames: [{', '.join(map(str, named))}]"
        part.refuse(FrameNumberError, "a frame is missing among the numbers", "files", was=was, fix=fix)
    not_missing = sorted(number for number in admitted if number in present or not numbers[0] < number < numbers[-1])
    if not_missing:
        what = "a frame that is not missing"
        was = ", ".join(map(str, not_missing[:_MOST_NAMED]))
        fix = f"name numbers between {numbers[0]} and {numbers[-1]} that no file has"
        part.refuse(FrameNumberError, what, "missing_frames", was=was, fix=fix)


def _first_missing(gaps: Sequence[tuple[int, int]], admitted: set[int]) -> list[int]:
    named: list[int] = []
    for first, last in gaps:
        for number in range(first, last + 1):
            if number not in admitted:
                named.append(number)
                if len(named) == _MOST_NAMED:
                    return named
    return named


def timing_of(fields: CaptureFields) -> FrameTiming:
    """Return the stated times; with admitted gaps a rate becomes one time for each file, gaps kept."""
    rate, times = fields.frame_rate_hz, tuple(fields.frame_times_ms or ())
    if rate is None or not fields.missing_frames:
        return FrameTiming(rate, times)
    numbers = frame_numbers(fields.files or ()) or ()
    return FrameTiming(frame_times_ms=tuple(round((number - numbers[0]) * 1000 / rate, 9) for number in numbers))
