"""What each finding code is for and how to mend what breaks it, for ``gateway explain CODE``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib import resources


@cache
def explanations() -> Mapping[str, str]:
    """Return the explanation of every finding code, from ``explanations.json``."""
    text = resources.files("gateway.validation").joinpath("explanations.json").read_text(encoding="utf-8")
    content: dict[str, str] = json.loads(text)
    return content


def explanation(code: str) -> str:
    """Return what a finding code means and how to mend it.

    Raises
    ------
    KeyError
        If no finding has this code.
    """
    return explanations()[code]
