"""Words for scans, zones, probe markers and gaze: a built-in English table, and the site's own words before it."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from enum import StrEnum
from typing import Any, ClassVar

from pydantic import Field

from gateway.mapping.conversions.base import ConversionFields, ParameterText, contradiction, folded
from gateway.model.laterality import Eye
from gateway.model.position import Gaze, MarkerDirection, Scan, Zone


class PositionWordFields(ConversionFields):
    """The site's own words for one field of a probe's position."""

    enumeration: ClassVar[type[StrEnum]]
    others: ClassVar[Mapping[str, str]] = {}
    """English words beside the document's own (common practice)."""

    words: dict[ParameterText, ParameterText] = Field(
        default_factory=dict, description="The document's word for each of the site's own; they come first."
    )

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse words that the document does not have, and one word with two meanings."""
        allowed = [member.value for member in self.enumeration]
        seen: dict[str, str] = {}
        for word, meaning in self.words.items():
            if meaning not in allowed:
                raise contradiction(
                    f"{self.name}: the exam document does not have this word",
                    repr(meaning),
                    f"use {', '.join(allowed)}",
                )
            if seen.setdefault(_key(word), meaning) != meaning:
                raise contradiction(f"{self.name}: one word with two meanings", repr(word))

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the document's word."""
        table = {
            **{_key(member.value): member.value for member in self.enumeration},
            **{_key(word): meaning for word, meaning in self.others.items()},
            **{_key(word): meaning for word, meaning in self.words.items()},
        }
        found = table.get(_key(text))
        if found is None:
            near = get_close_matches(_key(text)[:80], table, n=1)
            hint = f"did you mean {near[0]}? " if near else ""
            raise self.refused("this word is not known", text, f"{hint}add it under words, or mend it")
        return found


def _key(word: str) -> str:
    return folded(word.replace("-", " ").replace("_", " "))


class ScanFields(PositionWordFields):
    """Read the direction of a scan in English words, or in the site's own."""

    name: ClassVar[str] = "scan"
    enumeration: ClassVar[type[StrEnum]] = Scan
    others: ClassVar[Mapping[str, str]] = {
        "transversal": "transverse",
        "longitudinal scan": "longitudinal",
        "transverse scan": "transverse",
        "horizontal axial": "axial-horizontal",
        "vertical axial": "axial-vertical",
        "oblique axial": "axial-oblique",
        "macular": "macula",
        "orbit": "orbital",
        "ascan": "a-scan",
    }


class ZoneFields(PositionWordFields):
    """Read the depth zone of the globe in English words, or in the site's own."""

    name: ClassVar[str] = "zone"
    enumeration: ClassVar[type[StrEnum]] = Zone
    others: ClassVar[Mapping[str, str]] = {
        "ora": "ora-serrata",
        "equatorial": "equator",
        "anterior equator": "anterior-to-equator",
        "posterior equator": "posterior-to-equator",
    }


class MarkerFields(PositionWordFields):
    """Read where the probe's marker pointed in English words, or in the site's own."""

    name: ClassVar[str] = "marker"
    enumeration: ClassVar[type[StrEnum]] = MarkerDirection
    others: ClassVar[Mapping[str, str]] = {
        "superior nasal": "superonasal",
        "superior temporal": "superotemporal",
        "inferior nasal": "inferonasal",
        "inferior temporal": "inferotemporal",
        "supero nasal": "superonasal",
        "supero temporal": "superotemporal",
        "infero nasal": "inferonasal",
        "infero temporal": "inferotemporal",
    }


class GazeFields(PositionWordFields):
    """Read where the patient looked in English words, or in the site's own; left and right are the patient's."""

    name: ClassVar[str] = "gaze"
    enumeration: ClassVar[type[StrEnum]] = Gaze
    others: ClassVar[Mapping[str, str]] = {
        "straight": "primary",
        "straight ahead": "primary",
        "primary gaze": "primary",
        "up and left": "up-left",
        "up and right": "up-right",
        "down and left": "down-left",
        "down and right": "down-right",
    }
