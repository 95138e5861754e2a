"""What each IOD asks for: modules, attributes, types, conditions; from ``data/iods`` (PS3.3 Annexes A and C)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any

from gateway.standard.sop_classes import sop_class


class Usage(StrEnum):
    """Whether an IOD needs a module (PS3.3 A.1.3)."""

    MANDATORY = "M"
    CONDITIONAL = "C"
    USER = "U"


@dataclass(frozen=True, slots=True)
class AttributeRule:
    """One row of an attribute table.

    Parameters
    ----------
    tag : int
        For repeating groups the tag of the first group, e.g. 0x60000010.
    type : str
        1, 1C, 2, 2C or 3 (PS3.5 7.4).
    condition : str
        Name of the condition of a type 1C or 2C; empty otherwise.
    may_otherwise : bool
        Whether the attribute may stand where its condition does not hold.
    values : frozenset of str or int
        The only values allowed; empty where any is.
    one_item : bool
        Whether a sequence may have no more than one item.
    section : str
        Section of PS3.3; empty where it is that of the enclosing table.
    items : str
        Name of the table of the items of a sequence; empty for other attributes.
    edition : str
        The edition that brought this row; empty for the edition of the IOD's tables.
    repeating : bool
        Whether the row stands for every group 6000 to 601E.
    """

    tag: int
    keyword: str
    type: str
    condition: str = ""
    may_otherwise: bool = False
    values: frozenset[str | int] = frozenset()
    one_item: bool = False
    section: str = ""
    items: str = ""
    edition: str = ""
    repeating: bool = False


@dataclass(frozen=True, slots=True)
class ModuleRules:
    """One module of an IOD.

    Parameters
    ----------
    condition : str
        Name of the condition of a module with usage C; empty otherwise.
    section : str
        Of PS3.3, e.g. ``C.8.5.6``.
    """

    name: str
    usage: Usage
    condition: str
    section: str
    attributes: tuple[AttributeRule, ...]


@dataclass(frozen=True, slots=True)
class Iod:
    """One IOD with its modules and the tables of its sequence items.

    Parameters
    ----------
    name : str
        E.g. ``us-image``.
    section : str
        Of PS3.3, Annex A.
    edition : str
        Of the Standard, e.g. ``2020a``.
    item_tables : mapping of str to tuple of AttributeRule
        By name; a table may include itself, as content items do.
    """

    name: str
    title: str
    sop_class_uid: str
    section: str
    edition: str
    modules: tuple[ModuleRules, ...]
    item_tables: Mapping[str, tuple[AttributeRule, ...]]


@cache
def iods() -> Mapping[str, Iod]:
    """Return every IOD that has a table, by SOP Class UID."""
    found = [_read(name) for name in _names()]
    return {iod.sop_class_uid: iod for iod in found}


def iod_of(sop_class_uid: str) -> Iod | None:
    """Return the IOD of a SOP Class, or None where there is no table of it yet; reads that table only."""
    known = sop_class(sop_class_uid)
    return _read(known.iod) if known and known.iod in _names() else None


@cache
def _names() -> tuple[str, ...]:
    files = resources.files("gateway.standard").joinpath("data/iods").iterdir()
    return tuple(sorted(file.name.removesuffix(".json") for file in files if file.name.endswith(".json")))


@cache
def _read(name: str) -> Iod:
    text = resources.files("gateway.standard").joinpath(f"data/iods/{name}.json").read_text(encoding="utf-8")
    return _iod(json.loads(text))


def _iod(content: dict[str, Any]) -> Iod:
    return Iod(
        name=content["iod"],
        title=content["name"],
        sop_class_uid=content["sop_class_uid"],
        section=content["section"],
        edition=content["edition"],
        modules=tuple(
            ModuleRules(
                name=row["module"],
                usage=Usage(row["usage"]),
                condition=row.get("condition", ""),
                section=row["section"],
                attributes=_rules(row["attributes"]),
            )
            for row in content["modules"]
        ),
        item_tables={name: _rules(rows) for name, rows in content["items"].items()},
    )


def _rules(rows: list[dict[str, Any]]) -> tuple[AttributeRule, ...]:
    return tuple(
        AttributeRule(
            tag=int(row["tag"].replace("x", "0"), 16),
            keyword=row["keyword"],
            type=row["type"],
            condition=row.get("condition", ""),
            may_otherwise=row.get("otherwise") == "may",
            values=frozenset(row.get("values", ())),
            one_item=row.get("one_item", False),
            section=row.get("section", ""),
            items=row.get("items", ""),
            edition=row.get("edition", ""),
            repeating="x" in row["tag"],
        )
        for row in rows
    )
