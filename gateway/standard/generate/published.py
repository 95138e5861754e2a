"""Reads the published tables and takes the facts out of each row."""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

EDITION = "2020a"
"""Edition of the tables in dicom-standard 0.1.0."""


PLACED_IN_CHAPTERS = {"10-1": "10.1", "C.7.1.4-1": "C.7.1.4", "C.12-6": "C.12.1.1.3"}
"""Tables that the published files place in a whole chapter, with the section that holds them."""


@dataclass(frozen=True, slots=True)
class PublishedRow:
    """One attribute row of a module table, macros already included in place.

    Parameters
    ----------
    path : tuple of str
        Tags from the module down to this attribute, eight hexadecimal digits each.
    type : str
        1, 1C, 2, 2C or 3.
    condition_digest : str
        Identifies the wording of the condition without repeating it; empty for unconditional types.
    may_otherwise : bool
        Whether the row allows the attribute where its condition does not hold (PS3.5 7.4.2 and 7.4.4).
    enumerated : tuple of str
        The only values allowed; empty where the row does not list any.
    single_item : bool
        Whether a sequence may have no more than one item.
    section : str
        Section of the macro that the row comes from; empty where it is the module's own.
    """

    path: tuple[str, ...]
    keyword: str
    type: str
    condition_digest: str
    may_otherwise: bool
    enumerated: tuple[str, ...]
    single_item: bool
    section: str
    condition_words: str


def published_folder() -> Path:
    """Return the folder in which the package ``dicom-standard`` keeps its JSON files.

    Raises
    ------
    FileNotFoundError
        If the package is not installed.
    """
    folder = Path(sys.prefix) / "standard"
    if not (folder / "module_to_attributes.json").is_file():
        raise FileNotFoundError("install dicom-standard==0.1.0 in this environment")
    return folder


def _rows(name: str) -> list[dict[str, Any]]:
    content: list[dict[str, Any]] = json.loads((published_folder() / name).read_text(encoding="utf-8"))
    return content


def module_usages(iod: str) -> list[tuple[str, str]]:
    """Return module and usage (M, C or U) of an IOD in table order."""
    return [(row["moduleId"], row["usage"]) for row in _rows("ciod_to_modules.json") if row["ciodId"] == iod]


@cache
def _keywords() -> dict[str, str]:
    return {row["tag"]: row["keyword"] for row in _rows("attributes.json")}


@cache
def _modules() -> dict[str, list[dict[str, Any]]]:
    grouped: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in _rows("module_to_attributes.json"):
        grouped[row["moduleId"]].append(row)
    return grouped


@cache
def _macro_sections() -> dict[tuple[str, str, str], str]:
    """Map a row of a macro to the section that defines the macro."""
    sections: dict[tuple[str, str, str], str] = {}
    for row in _rows("macro_to_attributes.json"):
        if row["path"].count(":") == 1:
            anchor = re.search(r"sect_([A-Z0-9.]+)\.html#table_([A-Za-z0-9.-]+)$", row["linkToStandard"])
            if anchor:
                sections.setdefault(_row_identity(row), PLACED_IN_CHAPTERS.get(anchor[2], anchor[1]))
    return sections


def _row_identity(row: dict[str, Any]) -> tuple[str, str, str]:
    return row["tag"], row["type"], _plain(row["description"])


def _plain(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).strip()


def module_rows(module: str) -> Iterator[PublishedRow]:
    """Yield the rows of one module in table order."""
    for row in _modules().get(module, []):
        if row["type"] == "None":
            continue
        html = row["description"]
        words = _condition_words(html) if row["type"] in {"1C", "2C"} else ""
        yield PublishedRow(
            path=tuple(row["path"].split(":")[1:]),
            keyword=_keywords().get(row["tag"], ""),
            type=row["type"],
            condition_digest=hashlib.sha256(words.encode()).hexdigest()[:8] if words else "",
            may_otherwise="may be present otherwise" in words,
            enumerated=_enumerated(html),
            single_item=bool(re.search("only a single item|zero or one item", _plain(html), re.IGNORECASE)),
            section=_macro_sections().get(_row_identity(row), ""),
            condition_words=words,
        )


def _condition_words(html: str) -> str:
    """Return the sentences of a description that say when the attribute is there, lower case, notes left out."""
    body = re.sub(r"<h3>Note</h3>\s*<div>.*?</div>", " ", html, flags=re.DOTALL)
    sentences = re.split(r"(?<=[.\"])\s+(?=[A-Z])|</p>", re.sub(r"\s+", " ", re.sub(r"<(?!/p>)[^>]+>", " ", body)))
    says = re.compile(
        r"required if|required for|shall (not )?be present|may be present|not used|may be used only", re.I
    )
    return re.sub(r"\s+", " ", " ".join(s.strip() for s in sentences if says.search(s))).lower().strip(" .")


def _enumerated(html: str) -> tuple[str, ...]:
    """Return the enumerated values of a row that lists exactly one set of them, without conditions of its own."""
    blocks = re.findall(
        r"<strong>\s*(Enumerated Values[^<]*|Defined Terms[^<]*)</strong>\s*</p>\s*<dl>(.*?)</dl>", html, re.S
    )
    if len(blocks) != 1 or blocks[0][0].strip() != "Enumerated Values:":
        return ()
    return tuple(re.sub(r"<[^>]+>", "", term).strip() for term in re.findall(r"<dt>(.*?)</dt>", blocks[0][1], re.S))


def storage_classes() -> Iterator[tuple[str, str, str, list[tuple[str, str]]]]:
    """Yield UID, name, IOD and the IOD's modules with usage of each storage SOP Class."""
    iods = {row["name"]: row["id"] for row in _rows("ciods.json")}
    modules: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for row in _rows("ciod_to_modules.json"):
        modules[row["ciodId"]].append((row["moduleId"], row["usage"]))
    for row in sorted(_rows("sops.json"), key=lambda each: str(each["id"])):
        iod = iods.get(row["ciod"], "")
        if iod:
            yield row["id"], row["name"], iod, modules[iod]
