"""The located tree: mappings, lists and texts, each with the line and column where it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TypeAlias

from gateway.errors import GatewayError, Place
from gateway.errors.document import DocumentEncodingError, DocumentTooLargeError

LARGEST_DOCUMENT_BYTES = 2 * 1024 * 1024
"""A hundred times a large exam; reading this much YAML takes some twenty seconds, and nothing takes longer."""
MOST_NODES = 100_000
DEEPEST_NESTING = 16
LONGEST_KEY = 200


@dataclass(frozen=True, slots=True)
class Position:
    """A place in one document, 1-based."""

    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.line}:{self.column}"


class ScalarStyle(StrEnum):
    """How a text stood in the file; only a plain one can mean 'nothing'."""

    PLAIN = "plain"
    QUOTED = "quoted"


@dataclass(frozen=True, slots=True)
class Scalar:
    """A text exactly as written: ``NO``, ``0104``, ``1e3`` and ``12:30:00`` stay what they are."""

    text: str
    position: Position
    style: ScalarStyle = ScalarStyle.PLAIN

    @property
    def is_nothing(self) -> bool:
        """Whether nothing stands here: an empty plain value, ``~`` or ``null`` (a quoted one is text)."""
        return self.style is ScalarStyle.PLAIN and self.text in {"", "~", "null"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One key of a mapping with its value."""

    key: Scalar
    value: Node


@dataclass(frozen=True, slots=True)
class Table:
    """A mapping in document order; `duplicates` holds later entries of keys that were there already."""

    entries: Mapping[str, Entry]
    position: Position
    duplicates: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """A list."""

    items: tuple[Node, ...]
    position: Position


Node: TypeAlias = Scalar | Table | Row
Step: TypeAlias = str | int
Path: TypeAlias = tuple[Step, ...]


def path_text(path: Path) -> str:
    """Write a path as people read it: ``captures[2].eye``."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            text += f".{step}" if text else step
    return text


@dataclass(frozen=True, slots=True)
class LocatedDocument:
    """A whole document.

    Parameters
    ----------
    file : str
        Its name.
    root : Node
        What it holds.
    sources : mapping of path to Place
        Where values were read, for a document that was put together from several sources; a path that is not in it
        stands where the nearest path around it does. Empty for a document that is one file.
    problems : mapping of path to sequence of GatewayError
        What was wrong in those sources, by the part that it holds; under ``()`` what stops the exam.
    unstated : mapping of path to str
        For fields that none of those sources states: in which of them to state it.
    """

    file: str
    root: Node
    sources: Mapping[Path, Place] = field(default_factory=dict)
    problems: Mapping[Path, Sequence[GatewayError]] = field(default_factory=dict)
    unstated: Mapping[Path, str] = field(default_factory=dict)

    def node(self, path: Path) -> Node | None:
        """Return the node at a path, or None."""
        node: Node | None = self.root
        for step in path:
            if isinstance(node, Table) and isinstance(step, str):
                entry = node.entries.get(step)
                node = entry.value if entry else None
            elif isinstance(node, Row) and isinstance(step, int) and step < len(node.items):
                node = node.items[step]
            else:
                return None
        return node

    def position(self, path: Path) -> Position:
        """Return where a path stands; where it is absent, the nearest thing around it.

        A value with nothing in it is found at its key.
        """
        for length in range(len(path), 0, -1):
            node = self.node(path[:length])
            if isinstance(node, Scalar) and node.is_nothing:
                parent, step = self.node(path[: length - 1]), path[length - 1]
                if isinstance(parent, Table) and isinstance(step, str):
                    return parent.entries[step].key.position
            if node is not None:
                return node.position
        return self.root.position

    def fix_of_missing(self, path: Path) -> str:
        """Return what to do about a field that is missing and must be there."""
        if path in self.unstated:
            return f"state it in {self.unstated[path]}"
        return "write a rule for it" if self.sources else f"write {path[-1]}: and its value"

    def place(self, path: Path) -> Place:
        """Return the place of a path for an error or an origin."""
        for length in range(len(path), -1, -1):
            source = self.sources.get(path[:length])
            if source:
                return replace(source, field=path_text(path))
        position = self.position(path)
        return Place(self.file, position.line, position.column, path_text(path))


def walk(node: Node, path: Path = ()) -> Iterator[tuple[Path, Node]]:
    """Yield every node with its path, parents first; a list without mappings in it counts as one value."""
    yield path, node
    if isinstance(node, Table):
        for key, entry in node.entries.items():
            yield from walk(entry.value, (*path, key))
    elif isinstance(node, Row) and any(isinstance(item, Table) for item in node.items):
        for index, item in enumerate(node.items):
            yield from walk(item, (*path, index))


def plain(node: Node) -> object:
    """Return dicts, lists and texts; keys with nothing behind them are left out, as if they were not there."""
    if isinstance(node, Scalar):
        return None if node.is_nothing else node.text
    if isinstance(node, Row):
        return [plain(item) for item in node.items]
    return {key: plain(entry.value) for key, entry in node.entries.items() if not _is_nothing(entry.value)}


def _is_nothing(node: Node) -> bool:
    return isinstance(node, Scalar) and node.is_nothing


NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
"""Control characters other than tab and line end, and halves of characters."""


def checked_text(text: str, place: Place) -> str:
    """Return a text that holds no control characters other than tab and line end, also not by escapes.

    Raises
    ------
    DocumentEncodingError
        Naming the character by its number.
    """
    found = NOT_TEXT.search(text)
    if found:
        raise DocumentEncodingError(
            "a control character or half a character in a text",
            where=place,
            was=f"U+{ord(found.group()):04X}",
            fix="delete it",
        )
    return text


@dataclass(slots=True)
class Budget:
    """Counts nodes and depth against the limits."""

    file: str
    nodes: int = 0

    def count(self, position: Position) -> None:
        """Count one node.

        Raises
        ------
        DocumentTooLargeError
            Beyond `MOST_NODES`.
        """
        self.nodes += 1
        if self.nodes > MOST_NODES:
            raise DocumentTooLargeError(
                "too many values in one document",
                where=Place(self.file, position.line, position.column),
                fix=f"at most {MOST_NODES} keys, values and lists",
            )

    def check_depth(self, depth: int, position: Position) -> None:
        """Refuse nesting beyond `DEEPEST_NESTING`.

        Raises
        ------
        DocumentTooLargeError
            Naming the place.
        """
        if depth > DEEPEST_NESTING:
            raise DocumentTooLargeError(
                "mappings and lists nested too deeply",
                where=Place(self.file, position.line, position.column),
                fix=f"at most {DEEPEST_NESTING} levels",
            )


@dataclass(slots=True)
class Builder:
    """Puts a tree together from the events of a reader, without recursion."""

    file: str
    budget: Budget = field(init=False)
    root: Node | None = None
    _stack: list[_Frame] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.budget = Budget(self.file)

    def open(self, position: Position, *, is_table: bool) -> None:
        """Begin a mapping or list."""
        self.budget.count(position)
        self.budget.check_depth(len(self._stack) + 1, position)
        self._stack.append(_Frame(position, is_table))

    def close(self) -> None:
        """End the innermost mapping or list."""
        frame = self._stack.pop()
        self._add(frame.node())

    def scalar(self, scalar: Scalar) -> None:
        """Add a text."""
        self.budget.count(scalar.position)
        checked_text(scalar.text, Place(self.file, scalar.position.line, scalar.position.column))
        self._add(scalar)

    def _add(self, node: Node) -> None:
        if self._stack:
            self._stack[-1].add(node)
        else:
            self.root = node

    @property
    def awaits_key(self) -> bool:
        """Whether the next node is a key of a mapping."""
        return bool(self._stack) and self._stack[-1].is_table and self._stack[-1].key is None


@dataclass(slots=True)
class _Frame:
    position: Position
    is_table: bool
    key: Scalar | None = None
    items: list[Node] = field(default_factory=list)
    entries: dict[str, Entry] = field(default_factory=dict)
    duplicates: list[Entry] = field(default_factory=list)

    def add(self, node: Node) -> None:
        if not self.is_table:
            self.items.append(node)
        elif self.key is None:
            if not isinstance(node, Scalar):
                raise TypeError("readers hand over keys as scalars")
            self.key = node
        else:
            entry = Entry(self.key, node)
            if self.key.text in self.entries:
                self.duplicates.append(entry)
            else:
                self.entries[self.key.text] = entry
            self.key = None

    def node(self) -> Node:
        if self.is_table:
            return Table(self.entries, self.position, tuple(self.duplicates))
        return Row(tuple(self.items), self.position)
