"""Puts an exam document together, value by value, each with its own place."""

from __future__ import annotations

from typing import TypeAlias, cast

from gateway.errors import Place
from gateway.mapping.located.tree import Entry, LocatedDocument, Node, Path, Position, Row, Scalar, ScalarStyle, Table

_NOWHERE = Position(1, 1)
_Branch: TypeAlias = "dict[str | int, _Branch] | str"


class Assembly:
    """A document under construction; lists are filled by number, and close up where a number is left out."""

    def __init__(self) -> None:
        self._root: dict[str | int, _Branch] = {}
        self._places: dict[Path, Place] = {}

    def put(self, path: Path, text: str, place: Place) -> None:
        """Set one text; its parents come into being."""
        branch = self._root
        for step in path[:-1]:
            # No rule fills a field inside that of another (checks.py), so what stands above is never a text.
            branch = cast("dict[str | int, _Branch]", branch.setdefault(step, {}))
        branch[path[-1]] = text
        self._places[path] = place

    def locate(self, path: Path, place: Place) -> None:
        """Say where a mapping or list as a whole comes from, for what is missing in it."""
        self._places[path] = place

    def __contains__(self, path: Path) -> bool:
        branch: _Branch = self._root
        for step in path:
            if not isinstance(branch, dict) or step not in branch:
                return False
            branch = branch[step]
        return True

    def document(self, file: str) -> LocatedDocument:
        """Return the document."""
        places: dict[Path, Place] = {}
        root = self._node(self._root, (), (), places)
        return LocatedDocument(file, root, places)

    def _node(self, branch: _Branch, path: Path, shown: Path, places: dict[Path, Place]) -> Node:
        if path in self._places:
            places[shown] = self._places[path]
        if isinstance(branch, str):
            return Scalar(branch, _NOWHERE, ScalarStyle.QUOTED)
        if branch and all(isinstance(step, int) for step in branch):
            numbers = sorted(step for step in branch if isinstance(step, int))
            items = (self._node(branch[n], (*path, n), (*shown, i), places) for i, n in enumerate(numbers))
            return Row(tuple(items), _NOWHERE)
        entries = {
            str(step): Entry(Scalar(str(step), _NOWHERE), self._node(inner, (*path, step), (*shown, step), places))
            for step, inner in branch.items()
        }
        return Table(entries, _NOWHERE)
