"""What a condition answers, and the few shapes that most conditions have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias

from gateway.validation.scope import Scope, value


class Need(Enum):
    """What a condition says about its attribute in one object (PS3.5 7.4.2, 7.4.4)."""

    REQUIRED = "required"
    NOT_REQUIRED = "not required"
    """The condition does not hold; whether the attribute may stand all the same is said in the attribute's row."""
    FORBIDDEN = "forbidden"
    """The row says of this very case that the attribute must not stand."""
    UNDECIDABLE = "undecidable"
    """It depends on something outside this object, so nothing is said."""


Predicate: TypeAlias = Callable[[Scope], Need]


@dataclass(frozen=True, slots=True)
class ByShape:
    """A condition whose answer depends only on which attributes an item has and on its Value Type.

    Items of one shape are many in a structured report, and the answer for one holds for all.

    Parameters
    ----------
    unless : str
        An attribute that, where it stands, makes the answer depend on its value after all; empty for none.
    """

    answer: Predicate
    unless: str = ""

    def __call__(self, scope: Scope) -> Need:
        """Return the answer."""
        return self.answer(scope)


def _need(holds: bool) -> Need:
    return Need.REQUIRED if holds else Need.NOT_REQUIRED


def when(test: Callable[[Scope], bool]) -> Predicate:
    """Make a condition: required where the test holds, not required where it does not."""
    return lambda scope: _need(test(scope))


def possible_when(test: Callable[[Scope], bool]) -> Predicate:
    """Make a condition: undecidable where the test holds, not required where it does not."""
    return lambda scope: Need.UNDECIDABLE if test(scope) else Need.NOT_REQUIRED


def certain_when(test: Callable[[Scope], bool]) -> Predicate:
    """Make a condition: required where the test holds, undecidable where it does not."""
    return lambda scope: Need.REQUIRED if test(scope) else Need.UNDECIDABLE


def present(*keywords: str) -> Predicate:
    """Make a condition: required where any of these attributes stands in the same item."""
    return ByShape(when(lambda scope: any(scope.has(keyword) for keyword in keywords)))


def absent(*keywords: str) -> Predicate:
    """Make a condition: required where none of these attributes stands in the same item."""
    return ByShape(when(lambda scope: not any(scope.has(keyword) for keyword in keywords)))


def equals(keyword: str, *allowed: str | int) -> Predicate:
    """Make a condition: required where an attribute of the same item has one of these values."""
    return ByShape(when(lambda scope: scope.value(keyword) in allowed), unless=keyword)


def root_equals(keyword: str, *allowed: str | int) -> Predicate:
    """Make a condition: required where an attribute of the whole dataset has one of these values."""
    return when(lambda scope: value(scope.root, keyword) in allowed)


def undecidable(scope: Scope) -> Need:
    """Never decided: what decides lies outside the object."""
    del scope
    return Need.UNDECIDABLE
