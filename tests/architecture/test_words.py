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


def test_nothing_that_says_what_is_shown_speaks_of_a_state_of_health() -> None:
    # What no picture shows is "not shown"; what pictures show is a place, and the physician says the rest.
    files = [
        *ROOT.glob("gateway/coverage/*.py"),
        *ROOT.glob("mappings/protocols/*"),
        ROOT / "gateway/reports/coverage.py",
    ]
    assert len(files) > 6
    for path in files:
        text = path.read_text(encoding="utf-8").lower()
        assert not [word for word in ("normal", "healthy", "unremarkable") if word in text], path
