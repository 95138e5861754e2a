"""The form of UIDs, everywhere in an object (PS3.5 9.1)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from gateway.validation.consistency.finding import EDITION
from gateway.validation.elements import Item, keyword, tag_text
from gateway.validation.findings import Finding, Severity
from gateway.validation.scope import Scope

UID: Final = re.compile(r"(0|[1-9][0-9]*)(\.(0|[1-9][0-9]*))+")
LONGEST: Final = 64


def check(scope: Scope) -> Iterator[Finding]:
    """Yield every UID that is none."""
    yield from _uids(scope.root, "", "")


def _uids(item: Item, tags: str, names: str) -> Iterator[Finding]:
    for number, element in item.items():
        if element.vr == "UI":
            for uid in element.values():
                if isinstance(uid, str) and uid and (len(uid) > LONGEST or not UID.fullmatch(uid)):
                    yield Finding(
                        Severity.ERROR,
                        "uid-format",
                        tags + tag_text(number),
                        f"{names}{keyword(number)} is {uid[:70]!r}; a UID has digits in parts joined by dots, "
                        f"no part with a leading zero, and no more than {LONGEST} characters",
                        "PS3.5 9.1",
                        EDITION,
                    )
        elif element.items:
            for index, inner in enumerate(element.items, start=1):
                yield from _uids(inner, f"{tags}{tag_text(number)}[{index}].", f"{names}{keyword(number)}[{index}].")
