"""Conditions of types 1C and 2C by the names that the tables use."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib import resources

from gateway.validation.conditions import codes_and_references, documents, images, patient_to_equipment
from gateway.validation.conditions.algebra import Need, Predicate, undecidable

__all__ = ["Need", "Predicate", "partly_decidable", "predicates", "undecidable_reasons"]


@cache
def predicates() -> Mapping[str, Predicate]:
    """Return every condition by its name."""
    decided = (
        codes_and_references.conditions()
        | patient_to_equipment.conditions()
        | images.conditions()
        | documents.conditions()
    )
    return dict.fromkeys(undecidable_reasons(), undecidable) | decided


def undecidable_reasons() -> Mapping[str, str]:
    """Return why each condition cannot be decided from the object alone, for those that never can."""
    return _reasons()["never"]


def partly_decidable() -> Mapping[str, str]:
    """Return what stays open, for conditions that some objects decide and others do not."""
    return _reasons()["sometimes"]


@cache
def _reasons() -> Mapping[str, Mapping[str, str]]:
    text = resources.files("gateway.validation.conditions").joinpath("undecidable.json").read_text(encoding="utf-8")
    content: dict[str, dict[str, str]] = json.loads(text)
    return content
