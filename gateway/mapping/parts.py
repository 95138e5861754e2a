"""Parts of an exam document that can be held one by one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Generic, TypeVar

from gateway.errors import GatewayError
from gateway.errors.document import (
    DependsOnHeldPartError,
    DuplicateIdError,
    SeveralProblemsError,
    UnknownReferenceError,
    ValueNotUnderstoodError,
)
from gateway.mapping.document.base import Fields
from gateway.mapping.document.problems import in_order, validated
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

    def refuse(self, error: type[GatewayError], what: str, *steps: str, was: str = "", fix: str = "") -> None:
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
        return HeldPart(path_text(self.path), self.id or path_text(self.path), reason)


def read_parts(
    document: LocatedDocument, section: str, model: type[F], duplicates: Sequence[tuple[Path, GatewayError]]
) -> list[Part[F]]:
    """Read every part of a section by itself.

    Raises
    ------
    ValueNotUnderstoodError
        If the section is not a list at all.
    """
    node = document.node((section,))
    if node is None or (isinstance(node, Scalar) and node.is_nothing):
        return []
    if not isinstance(node, Row):
        raise ValueNotUnderstoodError(
            "a list is expected here", where=document.place((section,)), fix="write one item a line after -"
        )
    parts = []
    for index, item in enumerate(node.items):
        path: Path = (section, index)
        fields, problems = validated(document, path, model)
        problems += [error for where, error in duplicates if where[:2] == path]
        parts.append(Part(document, path, _id_of(item), fields, problems))
    _refuse_shared_ids(parts)
    return parts


def _id_of(node: object) -> str:
    entry = node.entries.get("id") if isinstance(node, Table) else None
    return entry.value.text if entry and isinstance(entry.value, Scalar) else ""


def _refuse_shared_ids(parts: Iterable[Part[F]]) -> None:
    parts = list(parts)
    counts = Counter(part.id for part in parts if part.id)
    for part in parts:
        if counts[part.id] > 1:
            others = [
                str(other.document.place((*other.path, "id")))
                for other in parts
                if other.id == part.id and other is not part
            ]
            part.refuse(
                DuplicateIdError, "this id is used twice", "id", was="also at " + ", ".join(others), fix="rename one"
            )


def find_part(of: Part[G], parts: Sequence[Part[F]], wanted: str, *steps: str) -> bool:
    """Whether the part with the id `wanted` is there and good; where not, `of` is refused with the reason."""
    found = [part for part in parts if part.id == wanted]
    if not found:
        near = get_close_matches(wanted, [part.id for part in parts], n=1)
        fix = f"did you mean {near[0]}?" if near else "name one that is in the document"
        of.refuse(UnknownReferenceError, "no part of the document has this id", *steps, was=wanted, fix=fix)
        return False
    if not all(part.is_good for part in found):
        places = ", ".join(path_text(part.path) for part in found)
        of.refuse(
            DependsOnHeldPartError, "rests on a part that is held", *steps, was=places, fix="mend that part first"
        )
        return False
    return True
