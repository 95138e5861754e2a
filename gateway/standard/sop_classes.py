"""Storage SOP Classes and what kind of object they hold (PS3.4 B.5, PS3.3 Annex A), from ``data/sop_classes.json``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources


class ContentKind(StrEnum):
    """What the objects of a SOP Class are, derived from the modules of its IOD."""

    IMAGE = "image"
    REPORT = "report"
    DOCUMENT = "document"
    PRESENTATION = "presentation"
    SEGMENTATION = "segmentation"
    WAVEFORM = "waveform"
    OTHER = "other"


class Frames(StrEnum):
    """How many frames the objects of a SOP Class have."""

    NONE = "none"
    ONE = "one"
    MANY = "many"
    """A multi-frame module is mandatory; the number of frames may still be 1."""
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class SopClass:
    """One storage SOP Class.

    Parameters
    ----------
    iod : str
        Name of its IOD, e.g. ``us-image``.
    """

    uid: str
    name: str
    iod: str
    kind: ContentKind
    frames: Frames


@cache
def sop_classes() -> Mapping[str, SopClass]:
    """Return all storage SOP Classes of the table by UID."""
    text = resources.files("gateway.standard").joinpath("data/sop_classes.json").read_text(encoding="utf-8")
    return {
        uid: SopClass(uid, name, iod, ContentKind(kind), Frames(frames))
        for uid, name, iod, kind, frames in json.loads(text)["classes"]
    }


def sop_class(uid: str) -> SopClass | None:
    """Return a storage SOP Class, or None where the table does not have it."""
    return sop_classes().get(uid)


def sop_class_name(uid: str) -> str:
    """Return the name of a storage SOP Class, or its UID where the table does not have it."""
    known = sop_class(uid)
    return known.name if known else uid
