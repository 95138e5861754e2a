"""A plain document: facts, tables and notes, and its three renderings. For what has no layout of its own."""

from __future__ import annotations

import dataclasses
import json
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from unicodedata import east_asian_width

import typst

from gateway.errors.objects import ReportNotRenderedError
from gateway.reports.characters import FONTS_FOLDER, drawable, families
from gateway.reports.content import Line
from gateway.reports.pdf import STANDARDS
from gateway.reports.templates import TEMPLATES_FOLDER, template

_WIDEST_COLUMN: Final = 44
_GAP: Final = "  "


@dataclass(frozen=True, slots=True)
class PlainTable:
    """A table; every row has as many cells as there are headings. `nothing` is said where there is no row."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    nothing: str = "nothing"


@dataclass(frozen=True, slots=True)
class PlainDocument:
    """What is rendered.

    Parameters
    ----------
    created : tuple of int
        Year, month, day, hour, minute, second; of what is reported, so that the same report gives the same bytes.
    tables : tuple of PlainTable
    notes : tuple of str
        What stands below the tables: what was not understood, and cautions.
    """

    title: str
    created: tuple[int, int, int, int, int, int]
    facts: tuple[Line, ...]
    tables: tuple[PlainTable, ...]
    notes: tuple[str, ...] = ()


def render_plain_text(document: PlainDocument) -> str:
    """Return the document for a console: no wider than it needs to be, long cells on several lines."""
    lines = [document.title, ""]
    label = max((len(fact.label) for fact in document.facts), default=0)
    lines += [f"{fact.label:{label}}{_GAP}{fact.text}" for fact in document.facts]
    for table in document.tables:
        lines += ["", table.title, *_table(table)]
    lines += ["", *document.notes] if document.notes else []
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _table(table: PlainTable) -> Iterator[str]:
    if not table.rows:
        yield table.nothing
        return
    grid = [table.headings, *table.rows]
    columns = range(len(table.headings))
    widths = [min(_WIDEST_COLUMN, max(_width(row[column]) for row in grid)) for column in columns]
    for number, row in enumerate(grid):
        cells = [_wrapped(cell, width) for cell, width in zip(row, widths, strict=True)]
        for line in range(max(map(len, cells))):
            parts = [cell[line] if line < len(cell) else "" for cell in cells]
            yield _GAP.join(part + " " * (width - _width(part)) for part, width in zip(parts, widths, strict=True))
        if number == 0:
            yield _GAP.join("-" * width for width in widths)


def _wrapped(cell: str, width: int) -> list[str]:
    indent = cell[: len(cell) - len(cell.lstrip())]
    lines = textwrap.wrap(cell, max(width, 1), subsequent_indent=indent + "  " if indent else "") or [""]
    return [indent + lines[0].lstrip(), *lines[1:]]


def _width(text: str) -> int:
    return sum(2 if east_asian_width(character) in "WF" else 1 for character in text)


def render_plain_html(document: PlainDocument) -> str:
    """Return the document as one self-contained page; every text is escaped."""
    return template("plain.html").render(document=document)


def render_plain_pdf(document: PlainDocument) -> bytes:
    """Set the document as archival, tagged PDF; its texts are data and never read as markup.

    Raises
    ------
    ReportNotRenderedError
        If the typesetter refuses.
    """
    content = {
        "title": drawable(document.title),
        "created": list(document.created),
        "facts": [[drawable(fact.label), drawable(fact.text)] for fact in document.facts],
        "tables": [_drawn(table) for table in document.tables],
        "notes": _all_drawn(document.notes),
    }
    try:
        pdf = typst.compile(
            TEMPLATES_FOLDER / "plain.typ",
            format="pdf",
            font_paths=[FONTS_FOLDER],
            ignore_system_fonts=True,
            sys_inputs={"document": json.dumps(content, ensure_ascii=False), "families": json.dumps(families())},
            pdf_standards=list(STANDARDS),
        )
    except typst.TypstError as error:
        # The message could quote the patient's name; only its kind goes on.
        was = str(error).partition("`")[0].strip(" :")
        raise ReportNotRenderedError("the report cannot be set as PDF", was=was, fix="take the page instead") from None
    return bytes(pdf)


def _drawn(table: PlainTable) -> dict[str, object]:
    content = dataclasses.asdict(table)
    return content | {"headings": _all_drawn(table.headings), "rows": [_all_drawn(row) for row in table.rows]}


def _all_drawn(texts: Sequence[str]) -> list[str]:
    return [drawable(text) for text in texts]
