"""File-name patterns: plain text with named places, ``{eye}_{scan:letters}{hour:digits}_{*}.bmp``.

A pattern is no regular expression. A name is read once from left to right, and at most two readings are kept at each
character: one is the answer, two are an error, because choosing among them would be a guess.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from itertools import pairwise
from types import MappingProxyType

LONGEST_PATTERN = 300
LONGEST_NAME = 1024
MOST_TOKENS = 60
WIDEST_PLACE = 64
_PLACE = re.compile(r"\{([^{}]*)\}")
_PLACE_NAME = re.compile("[a-z][a-z0-9_]{0,39}")


class PlaceKind(StrEnum):
    """Which characters a place takes."""

    WORD = "word"
    LETTERS = "letters"
    DIGITS = "digits"
    TEXT = "text"


_TAKES: Mapping[PlaceKind, Callable[[str], bool]] = MappingProxyType(
    {
        PlaceKind.WORD: lambda sign: sign.isalnum(),
        PlaceKind.LETTERS: lambda sign: sign.isalpha(),
        PlaceKind.DIGITS: lambda sign: "0" <= sign <= "9",
        PlaceKind.TEXT: lambda sign: sign != "/",
    }
)


class PatternError(ValueError):
    """What is wrong with a pattern, and how to mend it; the reader of mappings adds the place."""

    def __init__(self, what: str, fix: str, was: str = "") -> None:
        super().__init__(what)
        self.what, self.fix, self.was = what, fix, was


@dataclass(frozen=True, slots=True)
class _Literal:
    text: str

    @property
    def words(self) -> str:
        """What people call it."""
        return repr(self.text)


@dataclass(frozen=True, slots=True)
class _Span:
    """A place; `name` is empty for ``{*}``, which takes any number of characters, also none."""

    name: str
    kind: PlaceKind
    width: int | None = None

    @property
    def is_run(self) -> bool:
        """Whether it takes a whole run of its characters."""
        return self.width is None and self.kind is not PlaceKind.TEXT

    @property
    def words(self) -> str:
        """What people call it, with the characters that it takes."""
        takes = "letters and digits" if self.kind is PlaceKind.WORD else self.kind.value
        return f"{{{self.name}}} ({takes}{f', {self.width} of them' if self.width else ''})" if self.name else "{*}"


_Token = _Literal | _Span
_Reading = tuple[tuple[str, int, int], ...]
"""Named places so far: name, start, end."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How a name fits a pattern.

    Parameters
    ----------
    places : mapping of str to str
        What stands at each named place.
    other : mapping of str to str or None
        A second way to read the same name, where there is one; the name then says nothing for certain.
    """

    places: Mapping[str, str]
    other: Mapping[str, str] | None = None


@dataclass(frozen=True, slots=True)
class NamePattern:
    """A pattern, ready to be held against names.

    Parameters
    ----------
    text : str
        As written.
    places : tuple of str
        Its named places in order.
    """

    text: str
    places: tuple[str, ...]
    _tokens: tuple[_Token, ...]

    def fit(self, name: str) -> Fit | None:
        """Return how a name fits, or None where it does not.

        Parameters
        ----------
        name : str
            A file's name, or its path below the folder where the pattern holds a ``/``. Letters fit in either case.
        """
        shown = self._shown(name)
        if len(shown) > LONGEST_NAME:
            return None
        states = self._start(shown)
        for number in range(len(self._tokens)):
            states = self._after(states, shown, number)
        readings = [{place: shown[start:end] for place, start, end in reading} for reading in states[-1]]
        if not readings:
            return None
        return Fit(readings[0], readings[1] if len(readings) > 1 else None)

    def misfit(self, name: str) -> str:
        """Return where a name that does not fit leaves the pattern, in words."""
        shown = self._shown(name)
        if len(shown) > LONGEST_NAME:
            return f"longer than {LONGEST_NAME} characters"
        states = self._start(shown)
        for number, token in enumerate(self._tokens):
            states = self._after(states, shown, number)
            if not any(states):
                return f"nothing fits {token.words}"
        return f"more follows after {self._tokens[-1].words}"

    def _shown(self, name: str) -> str:
        return unicodedata.normalize("NFC", name if "/" in self.text else name.rsplit("/", 1)[-1])

    @staticmethod
    def _start(shown: str) -> list[list[_Reading]]:
        return [[()], *([] for _ in shown)]

    def _after(self, states: Sequence[list[_Reading]], shown: str, number: int) -> list[list[_Reading]]:
        token = self._tokens[number]
        if isinstance(token, _Literal):
            return _after_literal(states, shown, token.text)
        return _after_span(states, shown, token, self._free_edges(number))

    def _free_edges(self, number: int) -> tuple[bool, bool]:
        """Return whether a run must also be whole to its left and right, because nothing there says where it ends."""

        def is_free(index: int) -> bool:
            token = self._tokens[index] if 0 <= index < len(self._tokens) else None
            return isinstance(token, _Span) and token.kind is PlaceKind.TEXT and token.width is None

        return is_free(number - 1), is_free(number + 1)


def _after_literal(states: Sequence[list[_Reading]], name: str, text: str) -> list[list[_Reading]]:
    after: list[list[_Reading]] = [[] for _ in states]
    for start, readings in enumerate(states):
        piece = name[start : start + len(text)]
        if readings and (piece == text or _same(piece, text)):
            after[start + len(text)] = readings
    return after


def _same(one: str, two: str) -> bool:
    return len(one) == len(two) and all(a == b or a.lower() == b.lower() for a, b in zip(one, two, strict=True))


def _after_span(
    states: Sequence[list[_Reading]], name: str, span: _Span, free: tuple[bool, bool]
) -> list[list[_Reading]]:
    takes = _TAKES[span.kind]
    after: list[list[_Reading]] = [[] for _ in states]
    open_at: list[tuple[int, _Reading]] = []
    """Beginnings from which only fitting characters were met; two are enough to tell one reading from several."""
    run = 0
    for end in range(len(states)):
        if end and not takes(name[end - 1]):
            open_at, run = [], 0
        elif end:
            run += 1
        if span.width is not None:
            start = end - span.width
            found = [(start, reading) for reading in states[start]] if run >= span.width else []
        else:
            if not span.name:
                open_at = _two([*open_at, *((end, reading) for reading in states[end])], span)
            found = open_at
        if _is_whole(name, end, span, right=free[1]):
            after[end] = [reading for _, reading in _two([(end, _with(r, span, s, end)) for s, r in found], span)]
        if span.name and span.width is None and _begins_whole(name, end, span, left=free[0]):
            open_at = _two([*open_at, *((end, reading) for reading in states[end])], span)
    return after


def _with(reading: _Reading, span: _Span, start: int, end: int) -> _Reading:
    return (*reading, (span.name, start, end)) if span.name else reading


def _two(found: Sequence[tuple[int, _Reading]], span: _Span) -> list[tuple[int, _Reading]]:
    """Keep two that differ; where the span has no name, where it begins makes no difference."""
    kept: list[tuple[int, _Reading]] = []
    for start, reading in found:
        if not any(r == reading and (not span.name or s == start) for s, r in kept):
            kept.append((start, reading))
    return kept[:2]


def _begins_whole(name: str, start: int, span: _Span, *, left: bool) -> bool:
    return not (left and span.is_run and start and _TAKES[span.kind](name[start - 1]))


def _is_whole(name: str, end: int, span: _Span, *, right: bool) -> bool:
    return not (right and span.is_run and end < len(name) and _TAKES[span.kind](name[end]))


# ---------------------------------------------------------------- reading a pattern


def read_pattern(text: str) -> NamePattern:
    """Read a pattern.

    Parameters
    ----------
    text : str
        Plain text with ``{name}``, ``{name:kind}``, ``{name:kind:width}`` and ``{*}``. Kinds: ``word`` (letters and
        digits, the one meant where none is written), ``letters``, ``digits``, ``text`` (anything but ``/``). Without
        a width a place takes at least one character; ``{*}`` takes anything but ``/``, also nothing.

    Raises
    ------
    PatternError
    """
    if not text or len(text) > LONGEST_PATTERN:
        raise PatternError("a pattern of this length", f"write 1 to {LONGEST_PATTERN} characters", str(len(text)))
    tokens: list[_Token] = []
    end = 0
    for found in _PLACE.finditer(text):
        tokens += _literal(text[end : found.start()])
        tokens.append(_span(found.group(1)))
        end = found.end()
    tokens += _literal(text[end:])
    if len(tokens) > MOST_TOKENS:
        raise PatternError("too many places in one pattern", f"at most {MOST_TOKENS} places and texts between them")
    names = tuple(token.name for token in tokens if isinstance(token, _Span) and token.name)
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise PatternError("a place stands twice in one pattern", "give each its own name", twice)
    _refuse_neighbours(tokens)
    return NamePattern(text, names, tuple(tokens))


def _literal(text: str) -> list[_Token]:
    if "{" in text or "}" in text:
        raise PatternError("a brace without its partner", "write a place as {name}", text)
    return [_Literal(unicodedata.normalize("NFC", text))] if text else []


def _span(inside: str) -> _Span:
    if inside == "*":
        return _Span("", PlaceKind.TEXT)
    name, *rest = inside.split(":")
    if not _PLACE_NAME.fullmatch(name):
        raise PatternError("this is not the name of a place", "small letters, digits and _, a letter first", name)
    kinds = [kind.value for kind in PlaceKind]
    kind = rest[0] if rest else PlaceKind.WORD.value
    if kind not in kinds:
        near = get_close_matches(kind, kinds, 1)
        hint = f"did you mean {near[0]}? " if near else ""
        raise PatternError("this kind of place is not known", f"{hint}use {', '.join(kinds)}", kind)
    if len(rest) > 2:
        raise PatternError("too many colons in a place", "write {name:kind:width}", inside)
    return _Span(name, PlaceKind(kind), _width(rest[1]) if len(rest) == 2 else None)


def _width(text: str) -> int:
    if not re.fullmatch("[0-9]{1,2}", text, re.ASCII) or not 1 <= int(text) <= WIDEST_PLACE:
        raise PatternError("this is not a width", f"write 1 to {WIDEST_PLACE}", text)
    return int(text)


_APART = {PlaceKind.LETTERS, PlaceKind.DIGITS}


def _refuse_neighbours(tokens: Sequence[_Token]) -> None:
    """Refuse two places side by side of which nobody can tell where one ends and the other begins."""
    for one, two in pairwise(tokens):
        if isinstance(one, _Literal) or isinstance(two, _Literal) or not (one.width is None or two.width is None):
            continue
        is_run_beside_anything = (one.is_run or two.is_run) and not (one.name and two.name)
        can_tell = {one.kind, two.kind} == _APART or one.width or two.width or is_run_beside_anything
        if not can_tell:
            names = " and ".join(span.name or "*" for span in (one, two))
            raise PatternError(
                "nothing tells where one place ends and the next begins",
                "write a sign between them, or a width such as {hour:digits:2}",
                names,
            )
