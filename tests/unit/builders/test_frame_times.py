"""Frame times are the source's own: a constant rate, one time a frame, or a refusal."""

from __future__ import annotations

import dataclasses
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom.dataset import Dataset

from gateway.builders.attributes import AttributeWriter
from gateway.builders.frame_times import increments, write_frame_times
from gateway.errors.objects import FrameTimesDisagreeError, FrameTimingUnknownError, ObjectTooLargeError
from gateway.model.capture import FrameRange, FrameTiming
from gateway.model.media import PixelFacts
from tests.unit.builders.invented_captures import BARE_LOOP, facts


def written(timing: FrameTiming, pixel_facts: PixelFacts, kept: FrameRange | None = None) -> Dataset:
    w = AttributeWriter()
    capture = dataclasses.replace(BARE_LOOP, timing=timing, kept=kept)
    write_frame_times(w, capture, pixel_facts, "captures[0]")
    return w.dataset


def test_a_stated_rate_is_frame_time_and_pointed_to() -> None:
    """PS3.3 C.7.6.5: Frame Time in ms; C.7.6.6: Frame Increment Pointer names the attribute that is there."""
    dataset = written(FrameTiming(20), facts(frame_count=4, frame_times_ms=(0, 1, 2, 3)))
    assert dataset.FrameTime == 50
    assert dataset.FrameIncrementPointer == 0x00181063
    assert "FrameTimeVector" not in dataset
    assert (dataset.CineRate, dataset.RecommendedDisplayFrameRate) == (20, 20)
    assert dataset.NumberOfFrames == 4


def test_a_broken_rate_is_not_rounded_for_display() -> None:
    dataset = written(FrameTiming(), facts(frame_count=4, frame_rate_hz=30000 / 1001))
    assert float(dataset.FrameTime) == pytest.approx(1001 / 30, rel=1e-12)
    assert "CineRate" not in dataset


def test_times_become_increments_that_begin_with_zero() -> None:
    """PS3.3 C.7.6.5.1.2: the first value of Frame Time Vector is 0."""
    dataset = written(FrameTiming(None, (0, 50, 101, 151.5)), facts(frame_count=4, frame_rate_hz=20))
    assert [str(value) for value in dataset.FrameTimeVector] == ["0", "50", "51", "50.5"]
    assert dataset.FrameIncrementPointer == 0x00181065
    assert "FrameTime" not in dataset


def test_the_files_own_times_serve_where_the_exam_says_nothing() -> None:
    dataset = written(FrameTiming(), facts(frame_count=3, frame_times_ms=(0.0, 33.4, 66.7)))
    assert [float(value) for value in dataset.FrameTimeVector] == [0, 33.4, 33.3]


def test_times_of_the_whole_source_are_cut_to_the_kept_range() -> None:
    dataset = written(FrameTiming(None, (0, 50, 101, 151, 201)), facts(frame_count=3), FrameRange(2, 4))
    assert [float(value) for value in dataset.FrameTimeVector] == [0, 51, 50]


def test_times_of_the_kept_frames_alone_serve_as_they_are() -> None:
    dataset = written(FrameTiming(None, (0, 51, 101)), facts(frame_count=3), FrameRange(2, 4))
    assert [float(value) for value in dataset.FrameTimeVector] == [0, 51, 50]


def test_a_loop_without_any_times_is_refused() -> None:
    with pytest.raises(FrameTimingUnknownError):
        written(FrameTiming(), facts(frame_count=3))


@pytest.mark.parametrize("times", [(0, 50), (0, 50, 50), (0, 60, 50), (1, 50, 100), (0, 1, 2, 3)])
def test_times_that_do_not_fit_the_frames_are_refused(times: tuple[float, ...]) -> None:
    with pytest.raises(FrameTimesDisagreeError):
        written(FrameTiming(None, times), facts(frame_count=3))


@given(st.lists(st.floats(0.1, 500), min_size=1, max_size=60))
def test_increments_add_up_to_the_times(steps: list[float]) -> None:
    times = [0.0, *accumulate(steps)]
    added = list(accumulate(float(text) for text in increments(times)))
    assert added == pytest.approx(times, abs=1e-6)
    assert all(len(text) <= 16 for text in increments(times))


def test_long_loops_get_shorter_numbers_and_keep_their_length() -> None:
    """PS3.5 7.1.2: a DS value field in Explicit VR holds at most 65534 bytes."""
    times = [number * 33.366_700_1 for number in range(12_000)]
    texts = increments(times)
    assert len("\\".join(texts)) <= 65534
    assert sum(map(float, texts)) == pytest.approx(times[-1], abs=0.5)


def test_loops_that_no_vector_can_hold_are_refused() -> None:
    with pytest.raises(ObjectTooLargeError):
        increments([number * 33.3667 for number in range(40_000)])
