"""Builds one table per IOD from the published rows, the curated changes and the condition names."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Final

from pydicom.datadict import dictionary_VR, keyword_for_tag, tag_for_keyword

from gateway.standard.generate.published import EDITION, PublishedRow, module_rows, module_usages

HERE: Final = Path(__file__).parent
NUMERIC_VRS: Final = frozenset({"US", "UL", "SS", "SL", "US or SS"})


class UnmappedConditionError(Exception):
    """A condition of the published tables that nobody has named yet."""


@dataclass(slots=True)
class Node:
    """One attribute of a module while its table is being built; `row` is what will be written."""

    row: dict[str, Any]
    children: dict[str, Node] = field(default_factory=dict)


@cache
def curated() -> dict[str, Any]:
    """Return ``curated.json``."""
    content: dict[str, Any] = json.loads((HERE / "curated.json").read_text(encoding="utf-8"))
    return content


@cache
def _condition_names() -> dict[str, Any]:
    content: dict[str, Any] = json.loads((HERE / "conditions.json").read_text(encoding="utf-8"))
    return content


def iod_table(iod: str) -> dict[str, Any]:
    """Return the table of one IOD as it is written to ``data/iods``.

    Raises
    ------
    UnmappedConditionError
        If a published condition has no name in ``conditions.json``.
    """
    about = curated()["iods"][iod]
    items = _ItemTables()
    modules = [_module_table(module, usage, items) for module, usage in _usages(iod)]
    return {
        "iod": iod,
        "name": about["name"],
        "sop_class_uid": about["sop_class_uid"],
        "section": about["section"],
        "edition": EDITION,
        "modules": modules,
        "items": items.tables,
    }


def _usages(iod: str) -> list[tuple[str, str]]:
    usages = module_usages(iod)
    for added in curated()["added_modules"]:
        names = [name for name, _ in usages]
        if iod in added["iods"] and added["module"] not in names:
            usages.insert(names.index(added["after"]) + 1, (added["module"], added["usage"]))
    return usages


def _module_table(module: str, usage: str, items: _ItemTables) -> dict[str, Any]:
    table: dict[str, Any] = {"module": module, "usage": usage, "section": curated()["sections"][module]}
    if usage == "C":
        table["condition"] = curated()["module_conditions"][module]
    root = module_tree(module)
    table["attributes"] = [items.written(node) for node in root.values()]
    return table


def module_tree(module: str) -> dict[str, Node]:
    """Return the attributes of a module, nested, with all curated changes."""
    root: dict[str, Node] = {}
    for row in module_rows(module):
        level = root
        for tag in row.path[:-1]:
            level = level[tag].children
        _add_row(level, row)
    for change in curated()["changed_rows"]:
        for at in change["at"]:
            name, *keywords = at.split("/")
            if name == module:
                _change(root, keywords, change)
    for added in curated()["added_rows"]:
        name, *keywords = added["at"].split("/")
        if name == module:
            _add_curated(root, keywords, added)
    return root


def _add_row(level: dict[str, Node], row: PublishedRow) -> None:
    """Add a published row; a second row of the same attribute only adds its children and loosens its type."""
    tag = row.path[-1]
    if tag in level:
        return
    written: dict[str, Any] = {"tag": tag, "keyword": row.keyword or _keyword(tag), "type": row.type}
    if row.condition_digest or row.type in {"1C", "2C"}:
        name = _condition_names().get(f"{row.keyword or tag}#{row.condition_digest}")
        if name is None:
            raise UnmappedConditionError(f"{row.keyword}#{row.condition_digest}: {row.condition_words}")
        may = row.may_otherwise
        if isinstance(name, dict):
            may = name["otherwise"] == "may"
            name = name["condition"]
        written["condition"] = name
        if may:
            written["otherwise"] = "may"
    if row.enumerated:
        written["values"] = _typed(tag, row.enumerated)
    if row.single_item:
        written["one_item"] = True
    if row.section:
        written["section"] = row.section
    level[tag] = Node(written)


def _number(tag: str) -> int:
    """Return a tag as a number; a repeating group such as 60xx stands for its first."""
    return int(tag.replace("x", "0"), 16)


def _keyword(tag: str) -> str:
    return keyword_for_tag(_number(tag))


def _typed(tag: str, values: tuple[str, ...]) -> list[str | int]:
    if dictionary_VR(_number(tag)) not in NUMERIC_VRS:
        return list(values)
    return [int(value[:-1], 16) if value.endswith("H") else int(value) for value in values]


def _tag(keyword: str) -> str:
    tag = tag_for_keyword(keyword)
    if tag is None:
        raise KeyError(keyword)
    return f"{tag:08x}"


def _change(root: dict[str, Node], keywords: list[str], change: dict[str, Any]) -> None:
    if "apply" in change:
        level = root
        for keyword in keywords:
            level = level[_tag(keyword)].children
        for row in curated()["macros"][change["apply"]]:
            node = level.get(_tag(row["keyword"]))
            if node:
                _overwrite(node.row, row)
        return
    *parents, last = keywords
    level = root
    for keyword in parents:
        level = level[_tag(keyword)].children
    _overwrite(level[_tag(last)].row, change)


def _overwrite(row: dict[str, Any], change: dict[str, Any]) -> None:
    for key in ("type", "condition", "otherwise", "values", "section", "edition"):
        if key in change:
            row[key] = change[key]
            if not change[key]:
                del row[key]
    if "type" in change and "otherwise" not in change:
        row.pop("otherwise", None)


def _add_curated(root: dict[str, Node], keywords: list[str], added: dict[str, Any]) -> None:
    *parents, last = keywords
    level = root
    for keyword in parents:
        level = level[_tag(keyword)].children
    tag = added.get("tag") or _tag(last)
    row = {"tag": tag, "keyword": last, "type": added["type"]}
    for key in ("condition", "otherwise", "values", "section", "items"):
        if key in added:
            row[key] = added[key]
    if added.get("edition", curated()["newer_edition"]) != EDITION:
        row["edition"] = added.get("edition", curated()["newer_edition"])
    children = module_tree(added["children_of"])[tag].children if "children_of" in added else {}
    level[tag] = Node(row, children)


def _tell_reference_macros_apart(children: dict[str, Node]) -> None:
    """Correct sections of references: rows of the macros of 10.3 and 10.8 are worded alike, frames tell them apart."""
    if "00081160" in children:
        return
    for tag in ("00081150", "00081155"):
        if tag in children and children[tag].row.get("section") == "10.3":
            children[tag].row["section"] = "10.8"


class _ItemTables:
    """Names each distinct table of sequence items once; named tables may include themselves."""

    def __init__(self) -> None:
        self.tables: dict[str, list[dict[str, Any]]] = {}
        self._names: dict[str, str] = {}

    def written(self, node: Node) -> dict[str, Any]:
        row = dict(node.row)
        if node.children and "items" not in row:
            _tell_reference_macros_apart(node.children)
            row["items"] = self._name([self.written(child) for child in node.children.values()], row["keyword"])
        return row

    def _name(self, rows: list[dict[str, Any]], parent: str) -> str:
        own = {row["items"] for row in rows if row["keyword"] == "ContentSequence" and "items" in row}
        key = json.dumps(rows, sort_keys=True)
        if key in self._names:
            return self._names[key]
        recursive = own & {"content-item", "document-content-item"} - self.tables.keys()
        name = recursive.pop() if recursive else self._free_name(parent)
        self._names[key] = name
        self.tables[name] = rows
        return name

    def _free_name(self, parent: str) -> str:
        name, number = parent, 1
        while name in self.tables:
            number += 1
            name = f"{parent}-{number}"
        return name


def table_text(table: dict[str, Any]) -> str:
    """Return a table as JSON with one attribute on each line, so that changes show line by line."""
    parts = [f'"{key}": {json.dumps(table[key])}' for key in ("iod", "name", "sop_class_uid", "section", "edition")]
    modules = []
    for module in table["modules"]:
        head = {key: value for key, value in module.items() if key != "attributes"}
        modules.append(json.dumps(head)[:-1] + ', "attributes": [\n' + _row_lines(module["attributes"]) + "\n]}")
    parts.append('"modules": [\n' + ",\n".join(modules) + "\n]")
    items = [f'"{name}": [\n{_row_lines(rows)}\n]' for name, rows in table["items"].items()]
    parts.append('"items": {\n' + ",\n".join(items) + "\n}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _row_lines(rows: list[dict[str, Any]]) -> str:
    return ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
