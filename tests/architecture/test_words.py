"""A change is stated with its repeatability band, never under a name that interprets it."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[2]
INTERPRETING = "gro" + "wth"


def test_no_word_of_the_program_interprets_a_change() -> None:
    found = []
    for folder in ("gateway", "mappings", "tests", "fixtures"):
        for path in ROOT.joinpath(folder).rglob("*"):
            is_text = path.suffix in {".py", ".jinja", ".typ", ".yaml", ".json", ".md"}
            if is_text and INTERPRETING in path.read_text(encoding="utf-8").lower():
                found.append(str(path.relative_to(ROOT)))
    assert found == []
