"""Codes of other people's reports, matched with the project's words; SNOMED RT counts as the SNOMED CT it became."""

from __future__ import annotations

from functools import lru_cache

from pydicom.sr.coding import Code

from gateway.intake.report_tree import ReportItem
from gateway.model.coded import CodedConcept
from gateway.standard.codes import concept, words


@lru_cache(maxsize=4096)
def is_same(one: CodedConcept, other: CodedConcept) -> bool:
    """Whether two codes mean the same (PS3.16 8.1 maps SNOMED RT to SNOMED CT)."""
    return bool(Code(one.value, one.scheme, "") == Code(other.value, other.scheme, ""))


@lru_cache(maxsize=4096)
def word_for(code: CodedConcept | None, group: str) -> str:
    """Return the word of a concepts group that a code stands for, or nothing."""
    if code is None:
        return ""
    return next((word for word in words(group) if is_same(code, concept(group, word))), "")


def is_named(item: ReportItem, word: str) -> bool:
    """Whether an item's concept name is this one of concepts group ``sr``."""
    return item.name is not None and is_same(item.name, concept("sr", word))


def named(item: ReportItem, word: str) -> list[ReportItem]:
    """Return the items directly below with this name, whatever their relationship."""
    return [child for child in item.children if is_named(child, word)]


def code_named(item: ReportItem, word: str) -> CodedConcept | None:
    """Return the code of the first item directly below with this name."""
    return next((child.code for child in named(item, word) if child.code is not None), None)


def text_named(item: ReportItem, word: str) -> str:
    """Return the text of the first item directly below with this name."""
    return next((child.text for child in named(item, word) if child.text), "")


def structure_of(code: CodedConcept | None) -> str:
    """Return the project's word for a structure, else the report's own."""
    return word_for(code, "structure") or (code.meaning.lower() if code else "")
