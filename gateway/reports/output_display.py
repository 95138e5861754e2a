"""What the device said of its acoustic output. A high index is pointed out and never blocks anything."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gateway.model.capture import Capture, ThermalIndexKind
from gateway.model.exam import Exam
from gateway.reports.captures import capture_numbers
from gateway.reports.content import OutputLine

HIGHEST_MECHANICAL_INDEX: Final = 0.23
HIGHEST_THERMAL_INDEX: Final = 1.0
"""For ophthalmic use: FDA guidance on diagnostic ultrasound systems and transducers, 2019. Both figures from memory."""

_SOURCE: Final = "the level for ophthalmic use in FDA guidance 2019"
_KIND_WORDS: Final = {
    ThermalIndexKind.BONE: "bone",
    ThermalIndexKind.CRANIAL: "cranial bone",
    ThermalIndexKind.SOFT_TISSUE: "soft tissue",
}


def output_lines(exam: Exam) -> tuple[OutputLine, ...]:
    """Return one line for each index value displayed, and one for the captures that came without any."""
    numbers = capture_numbers(exam)
    by_words: dict[tuple[str, bool], list[int]] = {}
    for capture in exam.captures:
        for words, is_high in _output_words(capture):
            by_words.setdefault((words, is_high), []).append(numbers[capture.id])
    return tuple(
        OutputLine(f"{words} ({_pictures(captures)})", is_high) for (words, is_high), captures in by_words.items()
    )


def _output_words(capture: Capture) -> Iterator[tuple[str, bool]]:
    """Yield what was displayed, and whether it is above the level for the eye."""
    mechanical, thermal = capture.settings.mechanical_index, capture.settings.thermal_index
    if mechanical is None:
        yield "Mechanical index not stated", False
    else:
        yield _compared(f"Mechanical index {mechanical:g}", mechanical, HIGHEST_MECHANICAL_INDEX)
    if thermal is None:
        yield "Thermal index not stated", False
    else:
        words = f"Thermal index {thermal.kind.value} ({_KIND_WORDS[thermal.kind]}) {thermal.value:g}"
        yield _compared(words, thermal.value, HIGHEST_THERMAL_INDEX)


def _compared(words: str, value: float, highest: float) -> tuple[str, bool]:
    return (f"{words}: above {highest:g}, {_SOURCE}", True) if value > highest else (words, False)


def _pictures(numbers: list[int]) -> str:
    return f"{'picture' if len(numbers) == 1 else 'pictures'} {', '.join(map(str, sorted(numbers)))}"
