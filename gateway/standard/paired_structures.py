"""Which body parts come in pairs, so that a side has to be told (PS3.16 Annex L)."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources


@cache
def _tables() -> tuple[frozenset[str], frozenset[str]]:
    text = resources.files("gateway.standard").joinpath("data/paired_structures.json").read_text(encoding="utf-8")
    content = json.loads(text)
    return frozenset(content["terms"]), frozenset(content["codes"])


def is_paired_term(body_part_examined: str) -> bool:
    """Whether a term of Body Part Examined (0018,0015) names a paired part."""
    return body_part_examined in _tables()[0]


def is_paired_code(code_value: str) -> bool:
    """Whether the code of an anatomic region names a paired part."""
    return code_value in _tables()[1]
