"""Findings and annotations."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.calibration import Point
from gateway.model.coded import TextOrCode
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Zone


class Presence(StrEnum):
    """What is said of a finding. 'Not shown' is never 'absent', and nothing is ever 'normal'."""

    PRESENT = "present"
    ABSENT = "absent"
    UNDETERMINED = "undetermined"
    NOT_SHOWN = "not-shown"


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding of one eye, with its place."""

    id: str
    eye: Eye
    what: TextOrCode
    presence: Presence = Presence.PRESENT
    structure: str = ""
    """Word of `standard.concepts` group ``structure``."""
    clock_hour: ClockHour | None = None
    zone: Zone | None = None
    capture_ids: tuple[str, ...] = ()
    comment: str = ""
    tracking_uid: str = ""
    """UID under which this same finding is followed from visit to visit, where the exam states one."""


class AnnotationKind(StrEnum):
    """An arrow or a piece of text on a picture."""

    ARROW = "arrow"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Annotation:
    """Something drawn on a capture by a person; kept beside the pixels, never burned in.

    Parameters
    ----------
    points : tuple of Point
        Arrow: tail then head. Text: its anchor.
    """

    capture_id: str
    kind: AnnotationKind
    points: tuple[Point, ...]
    text: str = ""
    frame: int | None = None
