"""JSON (RFC 8259) to the located tree; numbers keep their digits."""

from __future__ import annotations

import json
import re
from bisect import bisect_right
from typing import NoReturn

from gateway.errors import Place
from gateway.errors.document import DocumentFeatureRefusedError, DocumentSyntaxError
from gateway.mapping.located.tree import LONGEST_KEY, Builder, Node, Position, Scalar, ScalarStyle

_SPACE = re.compile(r"[ \t\r\n]*")
_STRING = re.compile(r'"(?:[^"\\\x00-\x1f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"')
_BARE = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?(?![0-9A-Za-z.+-])|(?:true|false|null)\b")


def read_json(text: str, file: str) -> Node:
    """Read one JSON document.

    Raises
    ------
    DocumentSyntaxError, DocumentFeatureRefusedError, DocumentTooLargeError, DocumentEncodingError
        Naming file, line and column.
    """
    return _Reader(text, file).read()


class _Reader:
    """A small state machine instead of recursion, so that depth costs no stack."""

    def __init__(self, text: str, file: str) -> None:
        self._text = text
        self._file = file
        self._offset = 0
        self._line_starts = [0, *(match.end() for match in re.finditer(r"\r\n|\r|\n", text))]
        self._builder = Builder(file)
        self._closers: list[str] = []
        self._is_first = False

    def read(self) -> Node:
        self._skip_space()
        self._value()
        while self._closers:
            self._skip_space()
            self._inside()
        self._skip_space()
        if self._offset != len(self._text) or self._builder.root is None:
            self._fail("something stands after the end of the document", "keep one exam in one file")
        return self._builder.root

    def _inside(self) -> None:
        """Read one item, or the end, of the innermost object or array; the opening or a value came before."""
        if self._peek() == self._closers[-1]:
            self._offset += 1
            self._closers.pop()
            self._is_first = False
            self._builder.close()
            return
        if self._is_first:
            self._is_first = False
        elif self._peek() == ",":
            self._offset += 1
            self._skip_space()
        else:
            self._fail("a comma or a closing bracket is missing", "check commas and brackets there")
        if self._closers[-1] == "}":
            self._key()
        self._value()

    def _key(self) -> None:
        if self._peek() != '"':
            self._fail("a key in quotes is missing", 'write "key": value, without a comma after the last one')
        key = self._string()
        if len(key.text) > LONGEST_KEY:
            raise DocumentFeatureRefusedError(
                "a key longer than any field's name", where=self._place(key.position), fix="check the quotes"
            )
        self._builder.scalar(key)
        self._skip_space()
        if self._peek() != ":":
            self._fail("a colon after a key is missing", "check the quotes there")
        self._offset += 1
        self._skip_space()

    def _value(self) -> None:
        sign = self._peek()
        if sign in {"{", "["}:
            self._builder.open(self._position(), is_table=sign == "{")
            self._closers.append("}" if sign == "{" else "]")
            self._offset += 1
            self._is_first = True
            return
        if sign == '"':
            self._builder.scalar(self._string())
        else:
            found = _BARE.match(self._text, self._offset)
            if not found:
                self._fail("this is not a JSON value", "write a number, true, false, null, or a text in quotes")
            self._builder.scalar(Scalar(found.group(), self._position()))
            self._offset = found.end()
        self._is_first = False

    def _string(self) -> Scalar:
        position = self._position()
        found = _STRING.match(self._text, self._offset)
        if not found:
            self._fail("a text in quotes does not end, or holds a wrong escape", "check quotes and backslashes")
        self._offset = found.end()
        return Scalar(str(json.loads(found.group())), position, ScalarStyle.QUOTED)

    def _peek(self) -> str:
        return self._text[self._offset : self._offset + 1]

    def _skip_space(self) -> None:
        found = _SPACE.match(self._text, self._offset)
        self._offset = found.end() if found else self._offset

    def _position(self) -> Position:
        line = bisect_right(self._line_starts, self._offset)
        return Position(line, self._offset - self._line_starts[line - 1] + 1)

    def _place(self, position: Position) -> Place:
        return Place(self._file, position.line, position.column)

    def _fail(self, what: str, fix: str) -> NoReturn:
        was = "" if self._offset < len(self._text) else "the end of the file"
        raise DocumentSyntaxError(what, where=self._place(self._position()), was=was, fix=fix)
