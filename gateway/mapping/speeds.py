"""Speeds of sound by tissue word, each with its published source."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

from pydantic import Field

from gateway.errors.document import DocumentError, DuplicateIdError, FieldMissingError, SpeedsTableError
from gateway.mapping.document.base import Fields
from gateway.mapping.document.problems import duplicate_keys, in_order, validated
from gateway.mapping.located.file import read_located
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.scalars import Rule, matching, number, refusal, required_line, text_of, word_of
from gateway.model.measurement import TissueSpeed
from gateway.shipped import shipped_path

SPEEDS_FORMAT = "eye-speeds-of-sound/1"


class Checked(StrEnum):
    """How far the source of a speed was checked by whoever wrote the row."""

    OPENED = "opened"
    SECONDARY = "secondary"
    MEMORY = "memory"


class SpeedFields(Fields):
    """One tissue."""

    tissue: Annotated[
        str, matching("[a-z0-9][a-z0-9-]{0,63}", "not a word of small letters", "small letters, digits and -")
    ] = Field(description="Word by which exam documents name it.", examples=["vitreous"])
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] = Field(
        description="Speed of sound in metres per second.", examples=[1532]
    )
    tolerance_m_per_s: Annotated[float, number(above=0, high=1000)] | None = Field(
        None, description="How far the real speed may lie from it either way, where the source states that."
    )
    state: Annotated[str, required_line(300)] | None = Field(
        None,
        description="State of the tissue for which it holds.",
        examples=["crystalline lens at the age of cataract"],
    )
    temperature: Annotated[str, required_line(100)] | None = Field(
        None, description="Temperature at which it holds, or that none is stated.", examples=["37 degrees C"]
    )
    condition: Annotated[str, required_line(300)] | None = Field(
        None, description="Anything else that it rests on: frequency, spread, the convention that it follows."
    )
    source: Annotated[str, required_line(300)] = Field(description="Publication that states the value.")
    checked: Annotated[Checked, word_of(Checked)] = Field(
        description="opened: the source itself was read; secondary: a page that quotes it; memory: neither."
    )


def _format(value: object) -> str:
    text = text_of(value, SPEEDS_FORMAT)
    if text != SPEEDS_FORMAT:
        raise refusal(SpeedsTableError, "not a table of speeds", was=text[:60], fix=f"write format: {SPEEDS_FORMAT}")
    return text


class SpeedsFields(Fields):
    """Speeds of sound in tissues, implants and fillings of the eye, each with its source."""

    format: Annotated[str, Rule(_format, {"const": SPEEDS_FORMAT})] = Field(
        description="Name and version of this format."
    )
    speeds: list[SpeedFields] = Field(min_length=1, max_length=1000, description="One row for each tissue.")


def load_speeds(path: Path | None = None) -> Mapping[str, TissueSpeed]:
    """Read a table of speeds.

    Parameters
    ----------
    path : Path, optional
        The site's own table; the shipped one where None.

    Returns
    -------
    mapping of str to TissueSpeed
        By tissue word, in the table's order; `source` names publication, condition and, where it was not opened, that.

    Raises
    ------
    SpeedsTableError
        If any row is doubtful; a table is used as a whole or not at all.
    """
    return _shipped_speeds() if path is None else _read(path)


@cache
def _shipped_speeds() -> Mapping[str, TissueSpeed]:
    return _read(shipped_path("mappings/speeds.yaml"))


def _read(path: Path) -> Mapping[str, TissueSpeed]:
    try:
        document = read_located(path)
    except DocumentError as err:
        raise SpeedsTableError(err.what, where=err.where, was=err.was, fix=err.fix) from err
    fields, problems = validated(document, (), SpeedsFields)
    problems += [error for _path, error in duplicate_keys(document)]
    if fields is not None:
        problems += _shared_words(document, fields)
        problems += _bare_rows(document, fields)
    if problems or fields is None:
        first, *others = in_order(problems)
        fix = first.fix + (f"; {len(others)} more: " + "; ".join(str(other) for other in others[:5]) if others else "")
        raise SpeedsTableError(first.what, where=first.where, was=first.was, fix=fix)
    return MappingProxyType(
        {
            row.tissue: TissueSpeed(row.speed_m_per_s, row.tissue, _source(row), row.tolerance_m_per_s)
            for row in fields.speeds
        }
    )


_DOUBTS = {
    Checked.OPENED: "",
    Checked.SECONDARY: "cited from a page that quotes it",
    Checked.MEMORY: "cited from memory",
}


def _source(row: SpeedFields) -> str:
    said = (row.state, row.temperature, row.condition, _DOUBTS[row.checked])
    return f"{row.source} ({'; '.join(part for part in said if part)})"


def _bare_rows(document: LocatedDocument, fields: SpeedsFields) -> list[FieldMissingError]:
    what, fix = "a speed without what it holds for", "write state, temperature or condition"
    return [
        FieldMissingError(what, where=document.place(("speeds", index, "tissue")), was=row.tissue, fix=fix)
        for index, row in enumerate(fields.speeds)
        if not (row.state or row.temperature or row.condition)
    ]


def _shared_words(document: LocatedDocument, fields: SpeedsFields) -> list[DuplicateIdError]:
    seen: dict[str, int] = {}
    problems = []
    for index, row in enumerate(fields.speeds):
        first = seen.setdefault(row.tissue, index)
        if first != index:
            was = f"{row.tissue}, also at {document.place(('speeds', first, 'tissue'))}"
            where = document.place(("speeds", index, "tissue"))
            problems.append(DuplicateIdError("this tissue stands twice", where=where, was=was, fix="delete one"))
    return problems
