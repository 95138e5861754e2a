"""CSV (RFC 4180 and its kin) to the located tree: a list of mappings by column name, every cell with its place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from gateway.errors import Place
from gateway.errors.document import DocumentError
from gateway.errors.mapping import CsvOptionsError
from gateway.errors.records import ColumnNameError, DelimiterNotClearError, RaggedRowError, RecordSyntaxError
from gateway.mapping.located.tree import LONGEST_KEY, Budget, Entry, Position, Row, Scalar, ScalarStyle, Table

AUTO: Final = "auto"
CANDIDATES: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
"""Delimiters that `auto` tries."""
_REST_OF_LINE: Final = re.compile("[^\r\n]*")
_LINE_END: Final = re.compile("\r\n|\r|\n")


@dataclass(frozen=True, slots=True)
class CsvOptions:
    """How a source writes CSV.

    Parameters
    ----------
    delimiter : str
        One character, ``tab``, or ``auto``: the only one of comma, semicolon, tab and bar that makes an even table.
    quote : str
        One character, doubled inside a quoted cell; empty where the source does not quote.
    has_header : bool
        Whether the first line names the columns; else they are named ``1``, ``2`` and so on.
    skip_lines : int
        Lines above the table that belong to something else.

    Raises
    ------
    CsvOptionsError
    """

    delimiter: str = ","
    quote: str = '"'
    has_header: bool = True
    skip_lines: int = 0

    def __post_init__(self) -> None:
        if self.delimiter == "tab":
            object.__setattr__(self, "delimiter", "\t")
        signs = self.quote if self.delimiter == AUTO else self.delimiter + self.quote
        is_sound = (
            (self.delimiter == AUTO or len(self.delimiter) == 1)
            and len(self.quote) <= 1
            and len(set(signs)) == len(signs)
            and not set(signs) & {"\r", "\n", "\ufeff", "\0"}
            and not (self.delimiter == AUTO and self.quote in CANDIDATES)
            and self.skip_lines >= 0
        )
        if not is_sound:
            raise CsvOptionsError(
                "with these options no CSV file can be read",
                was=f"delimiter {self.delimiter!r}, quote {self.quote!r}, skip_lines {self.skip_lines}",
                fix="one character, tab or auto as delimiter, and one other character or none as quote",
            )


def read_csv(text: str, file: str, options: CsvOptions | None = None) -> Row:
    """Read a CSV table.

    Cells are kept as written, an empty one is nothing. Lines that are empty, and rows in which every cell is, are no
    rows. Places are those of the cells, of a quoted one that of its opening quote.

    Returns
    -------
    Row
        Of one `Table` for each row, from the column's name to the cell.

    Raises
    ------
    RecordSyntaxError, ColumnNameError, RaggedRowError, DelimiterNotClearError
    DocumentTooLargeError
    """
    options = options or CsvOptions()
    if options.delimiter != AUTO:
        return _Reader(text, file, options).table()
    fitting = []
    for delimiter in CANDIDATES:
        try:
            rows = _Reader(text, file, replace(options, delimiter=delimiter)).table()
        except (RecordSyntaxError, ColumnNameError, RaggedRowError):
            continue
        if rows.items and len(_entries(rows)) > 1:
            fitting.append((delimiter, rows))
    if len(fitting) == 1:
        return fitting[0][1]
    found = " and ".join(CANDIDATES[delimiter] for delimiter, _ in fitting)
    raise DelimiterNotClearError(
        "the delimiter is not clear",
        where=Place(file, 1, 1),
        was=f"{found} fit" if found else "none fits",
        fix="state the delimiter that the source writes",
    )


def _entries(rows: Row) -> dict[str, Entry]:
    first = rows.items[0]
    return dict(first.entries) if isinstance(first, Table) else {}


class _Reader:
    def __init__(self, text: str, file: str, options: CsvOptions) -> None:
        self._text = text
        self._file = file
        self._options = options
        self._line = 1
        self._line_start = 0
        self._offset = 0
        self._budget = Budget(file)
        delimiter = re.escape(options.delimiter)
        self._plain = re.compile(f"[^{delimiter}\r\n]*")
        quote = re.escape(options.quote)
        self._blank = re.compile(f"(?:(?!{delimiter})[ \t])*(?=[\r\n]|\\Z)")
        self._quoted = re.compile(f"{quote}((?:[^{quote}]|{quote}{quote})*+){quote}") if options.quote else None

    def table(self) -> Row:
        for _ in range(self._options.skip_lines):
            self._skip(_REST_OF_LINE)
            self._line_end()
        rows = self._rows()
        first = next(rows, None)
        if first is None:
            raise RecordSyntaxError("the table is empty", where=Place(self._file, 1, 1), fix="check the source")
        start = first[0].position
        if self._options.has_header:
            names = self._names(first)
            return Row(tuple(self._row(names, cells) for cells in rows), start)
        names = tuple(replace(cell, text=str(number)) for number, cell in enumerate(first, start=1))
        return Row((self._row(names, first), *(self._row(names, cells) for cells in rows)), start)

    def _rows(self) -> Iterator[tuple[Scalar, ...]]:
        """Yield the cells of each row that says anything."""
        while self._offset < len(self._text):
            if self._skip(self._blank):
                self._line_end()
                continue
            cells = tuple(self._cells())
            if any(cell.text for cell in cells):
                yield cells

    def _cells(self) -> Iterator[Scalar]:
        while True:
            yield self._cell()
            if self._text[self._offset : self._offset + 1] != self._options.delimiter:
                self._line_end()
                return
            self._offset += 1

    def _cell(self) -> Scalar:
        position, start = self._position(), self._offset
        self._budget.count(position)
        if self._quoted and self._text.startswith(self._options.quote, self._offset):
            text = self._quoted_text(self._quoted, position)
        else:
            self._skip(self._plain)
            text = self._text[start : self._offset]
        return Scalar(text, position, ScalarStyle.QUOTED if text else ScalarStyle.PLAIN)

    def _quoted_text(self, pattern: re.Pattern[str], position: Position) -> str:
        found = pattern.match(self._text, self._offset)
        if not found:
            raise self._wrong("a quoted cell does not end", position, "close the quote, or state that none are used")
        for end in _LINE_END.finditer(found.group()):
            self._line += 1
            self._line_start = self._offset + end.end()
        self._offset = found.end()
        after = self._text[self._offset : self._offset + 1]
        if after and after not in {self._options.delimiter, "\r", "\n"}:
            raise self._wrong(
                "something stands between a closing quote and the next cell", self._position(), "double quotes in cells"
            )
        return found[1].replace(self._options.quote * 2, self._options.quote)

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        found = pattern.match(self._text, self._offset)
        if found:
            self._offset = found.end()
        return found is not None

    def _line_end(self) -> None:
        if self._text.startswith("\r\n", self._offset):
            self._offset += 1
        self._offset = min(self._offset + 1, len(self._text))
        self._line += 1
        self._line_start = self._offset

    def _names(self, cells: tuple[Scalar, ...]) -> tuple[Scalar, ...]:
        seen: dict[str, Position] = {}
        for cell in cells:
            was, fix = "", "name each column once, or state that there is no header"
            if not cell.text.strip():
                was = "nothing"
            elif len(cell.text) > LONGEST_KEY:
                was = f"{len(cell.text)} characters"
            elif cell.text in seen:
                was = f"the name of the column at {seen[cell.text]}"
            if was:
                raise ColumnNameError(
                    "a column without a name of its own", where=self._place(cell.position), was=was, fix=fix
                )
            seen[cell.text] = cell.position
        return cells

    def _row(self, names: tuple[Scalar, ...], cells: tuple[Scalar, ...]) -> Table:
        position = cells[0].position
        self._budget.count(position)
        if len(cells) != len(names):
            raise RaggedRowError(
                "a row has more or fewer cells than the table has columns",
                where=self._place(position),
                was=f"{len(cells)} cells where {len(names)} belong",
                fix="quote cells that hold the delimiter",
            )
        return Table({name.text: Entry(name, cell) for name, cell in zip(names, cells, strict=True)}, position)

    def _position(self) -> Position:
        return Position(self._line, self._offset - self._line_start + 1)

    def _place(self, position: Position) -> Place:
        return Place(self._file, position.line, position.column)

    def _wrong(self, what: str, position: Position, fix: str) -> DocumentError:
        return RecordSyntaxError(what, where=self._place(position), fix=fix)
