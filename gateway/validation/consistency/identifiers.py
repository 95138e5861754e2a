"""The form of UIDs, everywhere in an object (PS3.5 9.1)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final, TypeAlias

from gateway.validation.consistency.finding import EDITION
from gateway.validation.elements import Item, keyword, tag_text
from gateway.validation.findings import Finding, Severity
from gateway.validation.scope import Scope

UID: Final = re.compile(r"(0|[1-9][0-9]*)(\.(0|[1-9][0-9]*))+")
LONGEST: Final = 64

Path: TypeAlias = tuple[tuple[int, int], ...]
"""Tag and number of the item, from the dataset down."""


def check(scope: Scope) -> Iterator[Finding]:
    """Yield every UID that is none."""
    yield from _uids(scope.root, (), set())


def _uids(item: Item, path: Path, clean: set[int]) -> Iterator[Finding]:
    """Look through an item and all below; items that the reader shares are looked at once if they are clean."""
    if id(item) in clean:
        return
    wrong = False
    for number, element in item.items():
        if element.vr == "UI":
            for uid in element.values():
                if isinstance(uid, str) and uid and (len(uid) > LONGEST or not UID.fullmatch(uid)):
                    wrong = True
                    yield _finding(uid, number, path)
        elif element.items:
            for index, inner in enumerate(element.items, start=1):
                for finding in _uids(inner, (*path, (number, index)), clean):
                    wrong = True
                    yield finding
    if not wrong:
        clean.add(id(item))


def _finding(uid: str, number: int, path: Path) -> Finding:
    tags = "".join(f"{tag_text(tag)}[{index}]." for tag, index in path)
    names = "".join(f"{keyword(tag)}[{index}]." for tag, index in path)
    message = (
        f"{names}{keyword(number)} is {uid[:70]!r}; a UID has digits in parts joined by dots, no part with a leading "
        f"zero, and no more than {LONGEST} characters"
    )
    return Finding(Severity.ERROR, "uid-format", tags + tag_text(number), message, "PS3.5 9.1", EDITION)
