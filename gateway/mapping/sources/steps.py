"""Conversions and terms, applied one after the other to what a source states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from gateway.errors import GatewayError, Place
from gateway.errors.mapping import TermNotKnownError
from gateway.mapping.conversions import check_conversion, convert
from gateway.mapping.sources.rules import Step
from gateway.model.coded import CodedConcept, TextOrCode
from gateway.model.laterality import Eye

TERMS = "terms"


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a source states, in the words of the exam document.

    Parameters
    ----------
    code : CodedConcept or None
        Where a table of terms gave one.
    """

    text: str
    code: CodedConcept | None = None


def check_step(step: Step, parameters: object) -> GatewayError | None:
    """Return what is wrong with a conversion and its parameters, or None."""
    try:
        check_conversion(step.name, parameters)
    except GatewayError as err:
        return type(err)(err.what, where=step.place, was=err.was, fix=err.fix)
    return None


def meaning_of(
    text: str, steps: Sequence[Step], terms: Mapping[str, Mapping[str, TextOrCode]], eye: Eye | None
) -> Meaning:
    """Return what a text means after every step.

    Raises
    ------
    ConversionError, TermNotKnownError
        Without a place; who knows where the text stands adds it.
    """
    meaning = Meaning(text)
    for step in steps:
        if step.name == TERMS:
            meaning = _looked_up(meaning.text, terms[step.table], step)
        else:
            meaning = Meaning(convert(step.name, step.parameters, meaning.text, eye))
    return meaning


def _looked_up(word: str, table: Mapping[str, TextOrCode], step: Step) -> Meaning:
    found = table.get(word.strip().casefold())
    if found is None:
        near = get_close_matches(word.casefold()[:80], list(table)[:200], n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        fix = f"{hint}add it to the terms {step.table} at {_line(step.place)}, or mend it"
        raise TermNotKnownError(f"the terms {step.table} do not have this word", was=word[:80], fix=fix)
    return Meaning(found.text or word, found.code)


def _line(place: Place) -> str:
    return f"{place.file}:{place.line}"
