"""Words of this project and the codes they stand for, read from ``data/concepts.json``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class CodedConcept:
    """One concept of a coding scheme, the content of a code sequence item (PS3.3 8.8).

    Parameters
    ----------
    value : str
        Code Value, at most 16 characters.
    scheme : str
        Coding Scheme Designator, e.g. ``SCT``, ``DCM``, ``LN``, ``UCUM`` or a private ``99...``.
    meaning : str
        Code Meaning in English, at most 64 characters.
    """

    value: str
    scheme: str
    meaning: str


@dataclass(frozen=True, slots=True)
class CodingScheme:
    """A private coding scheme as Coding Scheme Identification Sequence names it (PS3.3 C.12.1.1.1)."""

    designator: str
    uid: str
    name: str
    responsible_organization: str


@cache
def _tables() -> tuple[CodingScheme, Mapping[str, Mapping[str, CodedConcept]]]:
    text = resources.files("gateway.standard").joinpath("data/concepts.json").read_text(encoding="utf-8")
    content = json.loads(text)
    groups = {
        group: {word: CodedConcept(row["value"], row["scheme"], row["meaning"]) for word, row in rows.items()}
        for group, rows in content["groups"].items()
    }
    return CodingScheme(**content["private_scheme"]), groups


def private_scheme() -> CodingScheme:
    """Return the coding scheme of this project's own codes."""
    return _tables()[0]


def words(group: str) -> tuple[str, ...]:
    """Return the words of one group, e.g. ``words("structure")``."""
    return tuple(_tables()[1][group])


def concept(group: str, word: str) -> CodedConcept:
    """Return the code of a word of one group, e.g. ``concept("structure", "retina")``.

    Raises
    ------
    KeyError
        If the group has no such word.
    """
    return _tables()[1][group][word]


def find_concept(group: str, word: str) -> CodedConcept | None:
    """Return the code of a word, or None where the word has none and travels as text."""
    return _tables()[1][group].get(word)


def clock_position(four_digits: str, *, snomed_extended: bool = False) -> CodedConcept:
    """Return the code of a clock position such as ``0330``.

    SNOMED CT has exact codes, but outside the subset that DICOM licenses; a site with its own licence switches them on,
    everybody else gets this project's private codes.
    """
    return concept("clock_snomed" if snomed_extended else "clock", four_digits)
