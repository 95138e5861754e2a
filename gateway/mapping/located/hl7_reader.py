"""HL7 v2 messages to the located tree: segments, fields, repetitions, components, subcomponents.

The ``hl7`` library divides the message; escape sequences are read here, because it drops those that it does not know.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, NoReturn

import hl7  # type: ignore[import-untyped]

from gateway.errors import Place
from gateway.errors.records import Hl7EscapeError, RecordSyntaxError
from gateway.mapping.located.hl7_character_sets import codec_of_message
from gateway.mapping.located.tree import Budget, Entry, Node, Position, Row, Scalar, ScalarStyle, Table, checked_text

_BLOCK_START: Final = b"\x0b"
_BLOCK_END: Final = b"\x1c"
_LINE_END: Final = re.compile("\r\n|\r|\n")
_HEADER: Final = re.compile(r"MSH([!-/:-@\[-`{-~])([!-/:-@\[-`{-~]{4})\1")
_SEGMENT_NAME: Final = re.compile("[A-Z][A-Z0-9]{2}")
_DELETED: Final = '""'
"""What a sender writes to say that a value is to be removed (HL7 v2.5.1, 2.5.3)."""


def decoded_hl7(content: bytes, file: str, encoding: str = "") -> str:
    """Return the text of a message, without the block characters of MLLP around it.

    Parameters
    ----------
    encoding : str
        As the site states it; where it is empty, MSH-18 says it, and a message without it is ASCII
        (HL7 v2.5.1, 2.15.9.18).

    Raises
    ------
    RecordEncodingError, RecordEncodingNotKnownError, DocumentTooLargeError
    """
    body = content.removeprefix(_BLOCK_START)
    body = body.rstrip(b"\r\n").removesuffix(_BLOCK_END) if body.rstrip(b"\r\n").endswith(_BLOCK_END) else body
    return codec_of_message(body, file, encoding)


def read_hl7(text: str, file: str) -> Table:
    r"""Read one message.

    Returns
    -------
    Table
        From the segment's name to the `Row` of its occurrences; each a `Table` from the field's number to the `Row` of
        its repetitions; each a `Table` from the component's number to a `Scalar`, or, where it is divided further, to
        the `Table` of its subcomponents. What is empty, or stated as ``""``, is left out. Lines count segments (an
        empty line counts too), columns the characters of a segment.

    Raises
    ------
    RecordSyntaxError
        If it is not one message with a sound header.
    Hl7EscapeError
    DocumentTooLargeError, DocumentEncodingError
    """
    header = _HEADER.match(text)
    if not header or len({header[1], *header[2]}) != 5:
        _fail(
            "this is not an HL7 v2 message", Place(file, 1, 1), fix="the first segment is MSH with five different signs"
        )
    reader = _Reader(file, header[1], header[2])
    lines = [(number, line) for number, line in enumerate(_LINE_END.split(text), start=1) if line]
    for number, line in lines:
        place = Place(file, number, 1)
        if not _SEGMENT_NAME.fullmatch(line[:3]) or line[3:4] not in {"", header[1]}:
            _fail("a line that begins with no segment's name", place, fix="check the segment ends")
        if number > 1 and line.startswith(("MSH", "BHS", "FHS")):
            _fail("a second message in one file", place, fix="keep one message in one file")
    message = hl7.parse("\r".join(line for _, line in lines))
    for (number, line), segment in zip(lines, message, strict=True):
        reader.segment(segment, line, number)
    return reader.whole()


def _fail(what: str, where: Place, *, fix: str) -> NoReturn:
    raise RecordSyntaxError(what, where=where, fix=fix)


@dataclass(slots=True)
class _Reader:
    file: str
    field_sign: str
    signs: str
    """Component, repetition, escape, subcomponent (MSH-2)."""
    budget: Budget = field(init=False)
    found: dict[str, list[Table]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.budget = Budget(self.file)

    def whole(self) -> Table:
        start = Position(1, 1)
        entries = {}
        for name, tables in self.found.items():
            row = Row(tuple(tables), tables[0].position)
            entries[name] = Entry(Scalar(name, row.position), row)
        return Table(entries, start)

    def segment(self, segment: hl7.Segment, line: str, number: int) -> None:
        """Add one segment."""
        name = line[:3]
        position = Position(number, 1)
        self.budget.count(position)
        entries = {}
        column = 4 if name == "MSH" else 5
        for index, content in list(enumerate(segment))[1:]:
            text = str(content)
            if name == "MSH" and index < 3:
                # The signs themselves stand here and divide nothing.
                scalar = self._scalar(text, Position(number, column), is_escaped=False)
                node: Node | None = Row((Table({"1": self._entry(1, scalar)}, scalar.position),), scalar.position)
                column += len(text) if index == 1 else len(text) + 1
            else:
                node = self._field(text, Position(number, column))
                column += len(text) + 1
            if node:
                entries[str(index)] = self._entry(index, node)
        self.found.setdefault(name, []).append(Table(entries, position))

    def _field(self, text: str, position: Position) -> Node | None:
        items: list[Node] = []
        for part, at in _parts(text, self.signs[1], position):
            node = self._divided(part, at, (self.signs[0], self.signs[3]))
            if node and self.signs[0] not in part:
                # One component, which may still have subcomponents.
                node = Table({"1": self._entry(1, node)}, node.position)
            # An empty repetition keeps its number, so that the ones behind it keep theirs.
            items.append(node or Table({}, at))
        return Row(tuple(items), position) if any(_says_something(item) for item in items) else None

    def _divided(self, text: str, position: Position, signs: tuple[str, ...]) -> Node | None:
        if not text or text == _DELETED:
            return None
        self.budget.count(position)
        if not signs:
            return self._scalar(text, position)
        if signs[0] not in text:
            return self._divided(text, position, signs[1:])
        entries = {}
        for number, (part, at) in enumerate(_parts(text, signs[0], position), start=1):
            node = self._divided(part, at, signs[1:])
            if node:
                entries[str(number)] = self._entry(number, node)
        return Table(entries, position) if entries else None

    def _entry(self, number: int, node: Node) -> Entry:
        return Entry(Scalar(str(number), node.position), node)

    def _scalar(self, text: str, position: Position, *, is_escaped: bool = True) -> Scalar:
        place = Place(self.file, position.line, position.column)
        whole = self._unescaped(text, place) if is_escaped else text
        return Scalar(checked_text(whole, place), position, ScalarStyle.QUOTED)

    def _unescaped(self, text: str, place: Place) -> str:
        parts = text.split(self.signs[2])
        if len(parts) % 2 == 0:
            raise Hl7EscapeError(
                "an escape sequence that does not end", where=place, fix="write the sign itself as \\E\\"
            )
        return "".join(self._meaning(part, place) if index % 2 else part for index, part in enumerate(parts))

    def _meaning(self, sequence: str, place: Place) -> str:
        """Return what a sequence between two escape signs stands for (HL7 v2.5.1, 2.7)."""
        signs = {
            "F": self.field_sign,
            "S": self.signs[0],
            "R": self.signs[1],
            "E": self.signs[2],
            "T": self.signs[3],
            # Emphasis begins and ends; the words are the same without.
            "H": "",
            "N": "",
            ".br": "\n",
        }
        if sequence in signs:
            return signs[sequence]
        spaces = re.fullmatch(r"\.sp\+?([0-9]{0,2})", sequence)
        if spaces:
            return "\n" * int(spaces[1] or 1)
        if re.fullmatch("X(?:[0-9A-Fa-f]{2})+", sequence):
            content = bytes.fromhex(sequence[1:])
            if content.isascii():
                return content.decode("ascii")
            raise Hl7EscapeError(
                "bytes outside ASCII in an escape sequence", where=place, fix="write the characters themselves"
            )
        raise Hl7EscapeError(
            "an escape sequence that is not known",
            where=place,
            was=f"{len(sequence)} characters",
            fix="write the text without it",
        )


def _parts(text: str, sign: str, position: Position) -> Iterator[tuple[str, Position]]:
    column = position.column
    for part in text.split(sign):
        yield part, Position(position.line, column)
        column += len(part) + 1


def _says_something(node: Node) -> bool:
    return not isinstance(node, Table) or bool(node.entries)
