"""Which series each capture goes into, and under which numbers.

Nothing about a capture depends on its neighbours: when one of them was held and comes later, the others keep series,
numbers and so their SOP Instance UIDs. Numbers may therefore have gaps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from gateway.builders.modules import SeriesPlan
from gateway.builders.options import BuildOptions, SeriesBy
from gateway.builders.uids import KeyPart, series_uid
from gateway.builders.value_rules import shortened
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.position import ProbePosition, Scan, Zone

MODALITY: Final = "US"
_KIND_WORDS: Final[Mapping[CaptureKind, str]] = MappingProxyType(
    {CaptureKind.STILL: "stills", CaptureKind.LOOP: "loops"}
)


@dataclass(frozen=True, slots=True)
class SeriesPlacement:
    """The place of one capture: its series and its number there.

    Parameters
    ----------
    capture_path : str
        Field path of the capture in the exam document, e.g. ``captures[2]``; the stem of origins.
    """

    series: SeriesPlan
    instance_number: int
    capture_path: str


def plan_series(
    exam: Exam, options: BuildOptions, numbers: Mapping[str, int] | None = None
) -> Mapping[str, SeriesPlacement]:
    """Return the placement of each capture by its id.

    Parameters
    ----------
    numbers : mapping of str to int, optional
        Instance Number by capture id, where the study has grown; elsewhere the place in the exam document.
    """
    plan = {}
    for index, capture in enumerate(exam.captures):
        place = capture.number or index + 1
        number = (numbers or {}).get(capture.id, place)
        plan[capture.id] = SeriesPlacement(_series_of(exam, capture, options), number, f"captures[{place - 1}]")
    return MappingProxyType(plan)


def _series_of(exam: Exam, capture: Capture, options: BuildOptions) -> SeriesPlan:
    key: list[KeyPart] = [MODALITY, options.series_by.value, capture.eye.value, capture.kind.value]
    if options.series_by is SeriesBy.POSITION:
        key.append(_position_key(capture.position))
        number, description = _position_number(capture), _position_description(capture)
    else:
        number, description = _kind_number(capture), f"{capture.eye.abbreviation} {_KIND_WORDS[capture.kind]}"
    return SeriesPlan(series_uid(exam, key, options), number, description, MODALITY, capture.eye)


def _kind_number(capture: Capture) -> int:
    """1 OD stills, 2 OD loops, 3 OS stills, 4 OS loops."""
    return 1 + 2 * (capture.eye is Eye.LEFT) + (capture.kind is CaptureKind.LOOP)


def _position_key(position: ProbePosition) -> list[KeyPart]:
    return [
        position.scan.value,
        position.scan_words,
        position.clock_hour.half_hours if position.clock_hour else None,
        position.zone.value if position.zone else None,
    ]


def _position_number(capture: Capture) -> int:
    """Return eye, scan, clock hour (two digits of half hours), zone and kind as the digits of a number.

    The number sorts the series list and depends on nothing but the position itself.
    """
    position = capture.position
    scan = list(Scan).index(position.scan) + 1
    half_hours = position.clock_hour.half_hours if position.clock_hour else 0
    zone = list(Zone).index(position.zone) + 1 if position.zone else 0
    eye = 1 + (capture.eye is Eye.LEFT)
    kind = 1 + (capture.kind is CaptureKind.LOOP)
    return (((eye * 10 + scan) * 100 + half_hours) * 10 + zone) * 10 + kind


def _position_description(capture: Capture) -> str:
    tail = f", {_KIND_WORDS[capture.kind]}"
    words = f"{capture.eye.abbreviation} {capture.position.words}"
    return shortened(words, 64 - len(tail)) + tail
