"""Parts of an exam document that can be held one by one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Generic, TypeVar

from gateway.errors import GatewayError, Place
from gateway.errors.document import (
    DependsOnHeldPartError,
    DocumentTooLargeError,
    DuplicateIdError,
    SeveralProblemsError,
    UnknownReferenceError,
    ValueNotUnderstoodError,
)
from gateway.mapping.document.base import Fields
from gateway.mapping.document.problems import in_order, validated, without_missing
from gateway.mapping.located.tree import LocatedDocument, Path, Row, Scalar, Table, path_text
from gateway.model.exam import HeldPart

F = TypeVar("F", bound=Fields)
G = TypeVar("G", bound=Fields)
SECTIONS = ("captures", "measurements", "annotations", "findings")


@dataclass(slots=True)
class Part(Generic[F]):
    """One part while it is being read.

    Parameters
    ----------
    path : tuple
        Where it stands, e.g. ``("captures", 2)``.
    id : str
        Its id where it states one, else empty.
    fields : model or None
        None where a field is wrong.
    problems : list of GatewayError
        Why it must be held; empty for a part that goes on.
    """

    document: LocatedDocument
    path: Path
    id: str
    fields: F | None
    problems: list[GatewayError] = field(default_factory=list)

    def refuse(self, error: type[GatewayError], what: str, *steps: str | int, was: str = "", fix: str = "") -> None:
        """Add a problem at a field of this part."""
        where = self.document.place((*self.path, *steps))
        self.problems.append(error(what, where=where, was=was, fix=fix))

    @property
    def is_good(self) -> bool:
        """Whether nothing was found wrong so far."""
        return self.fields is not None and not self.problems

    def held(self) -> HeldPart:
        """Return the part as held, with its reason or reasons."""
        problems = in_order(self.problems)
        reason = problems[0] if len(problems) == 1 else SeveralProblemsError(problems)
        return HeldPart(path_text(self.path), self.id[:64] or path_text(self.path), reason)


MOST_PARTS = 2000
"""In one section; a long exam has some dozens."""
_LONGEST_LIST_FOR_SUGGESTIONS = 200
_MOST_SUGGESTIONS = 50


def read_parts(
    document: LocatedDocument, section: str, model: type[F], early: Mapping[Path, Sequence[GatewayError]]
) -> list[Part[F]]:
    """Read every part of a section by itself.

    Parameters
    ----------
    early : mapping of path to errors
        What was found wrong before, by the part it stands in: keys that stand twice, times that are undecided.

    Raises
    ------
    ValueNotUnderstoodError, DocumentTooLargeError
        If the section is not a list at all, or holds more than `MOST_PARTS`.
    """
    node = document.node((section,))
    if node is None or (isinstance(node, Scalar) and node.is_nothing):
        return []
    where = document.place((section,))
    if not isinstance(node, Row):
        raise ValueNotUnderstoodError("a list is expected here", where=where, fix="write one item a line after -")
    if len(node.items) > MOST_PARTS:
        fix = f"at most {MOST_PARTS}; split the exam"
        raise DocumentTooLargeError("too many parts in one list", where=where, was=str(len(node.items)), fix=fix)
    parts = []
    for index, item in enumerate(node.items):
        path: Path = (section, index)
        fields, problems = validated(document, path, model)
        problems += early.get(path, ())
        stated = document.problems.get(path)
        if stated:
            fields, problems = None, [*stated, *without_missing(problems, stated)]
        parts.append(Part(document, path, _id_of(item), fields, problems))
    _refuse_shared_ids(parts)
    return parts


def _id_of(node: object) -> str:
    entry = node.entries.get("id") if isinstance(node, Table) else None
    return entry.value.text if entry and isinstance(entry.value, Scalar) else ""


def _refuse_shared_ids(parts: Sequence[Part[F]]) -> None:
    by_id: dict[str, list[Part[F]]] = defaultdict(list)
    for part in parts:
        if part.id:
            by_id[part.id].append(part)
    for sharing in by_id.values():
        for part in sharing if len(sharing) > 1 else ():
            other = sharing[1] if part is sharing[0] else sharing[0]
            was = f"also at {other.document.place((*other.path, 'id'))}"
            part.refuse(DuplicateIdError, "this id is used twice", "id", was=was, fix="rename one of them")


@dataclass(slots=True)
class PartIndex(Generic[F]):
    """Parts of one section by their ids."""

    parts: Sequence[Part[F]]
    _by_id: dict[str, list[Part[F]]] = field(init=False)
    _suggestions: int = 0

    def __post_init__(self) -> None:
        self._by_id = {}
        for part in self.parts:
            self._by_id.setdefault(part.id, []).append(part)

    def __contains__(self, wanted: object) -> bool:
        return wanted in self._by_id

    def good(self, wanted: str) -> F | None:
        """Return the fields of the one part with this id, or None where it is absent, shared or held."""
        found = self._by_id.get(wanted, [])
        return found[0].fields if len(found) == 1 and found[0].is_good else None

    def place(self, wanted: str, field_name: str) -> Place:
        """Return where a field of the part with this id stands."""
        part = self._by_id[wanted][0]
        return part.document.place((*part.path, field_name))

    def find(self, of: Part[G], wanted: str, *steps: str) -> F | None:
        """Return the fields of a part that `of` rests on; where it cannot be used, refuse `of` with the reason."""
        found = self._by_id.get(wanted, [])
        if not found:
            of.refuse(UnknownReferenceError, "no part has this id", *steps, was=wanted, fix=self._suggestion(wanted))
            return None
        fields = self.good(wanted)
        if fields is None:
            places = ", ".join(path_text(part.path) for part in found[:5])
            what = "rests on a part that is held"
            of.refuse(DependsOnHeldPartError, what, *steps, was=places, fix="mend that part first")
        return fields

    def _suggestion(self, wanted: str) -> str:
        # Comparing every unknown id with every known one would let a hostile document keep the gateway busy.
        if len(self._by_id) <= _LONGEST_LIST_FOR_SUGGESTIONS and self._suggestions < _MOST_SUGGESTIONS:
            self._suggestions += 1
            near = get_close_matches(wanted, list(self._by_id), n=1)
            if near:
                return f"did you mean {near[0]}?"
        return "name one that is in the document"
