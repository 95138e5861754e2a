"""Every finding code has an explanation, and every explanation has a code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import gateway.validation
from gateway.validation.explanations import explanation, explanations

SOURCES = sorted(Path(gateway.validation.__file__).parent.rglob("*.py"))
TYPE_CODES = {
    "type-1-missing", "type-1-empty", "type-2-missing", "type-1c-missing", "type-1c-empty", "type-2c-missing",
}  # fmt: skip


def codes_in_source() -> set[str]:
    text = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES)
    quoted = re.findall(
        r"(?:found|doubt)\(\s*\"([a-z0-9-]+)\"|Severity\.(?:ERROR|WARNING|NOTE),\s*\"([a-z0-9-]+)\"|,\s*\"(not-allowed-here)\"",
        text,
    )
    return {code for groups in quoted for code in groups if code} | TYPE_CODES


def test_every_code_has_an_explanation_and_the_other_way_round():
    assert codes_in_source() == explanations().keys()


@pytest.mark.parametrize("code", sorted(explanations()))
def test_an_explanation_says_what_for_and_how_to_mend(code):
    text = explanation(code)
    assert 80 < len(text) < 500
    assert text.endswith(".")


def test_an_unknown_code_is_a_key_error():
    with pytest.raises(KeyError):
        explanation("no-such-code")
