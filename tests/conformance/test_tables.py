"""The tables in the repository: made by the generator, complete, and without a sentence of the Standard."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import gateway.standard
from gateway.standard.generate.__main__ import main
from gateway.standard.generate.published import PublishedRow
from gateway.standard.generate.tables import UnmappedConditionError, _add_row, curated

DATA = Path(gateway.standard.__file__).parent / "data"
TABLES = sorted((DATA / "iods").glob("*.json"))


def test_the_tables_are_what_the_generator_writes(capsys):
    assert main(["--check"]) == 0, capsys.readouterr().out


def test_a_condition_that_nobody_has_named_stops_the_generator():
    row = PublishedRow(
        path=("00080005",),
        keyword="SpecificCharacterSet",
        type="1C",
        condition_digest="00000000",
        may_otherwise=False,
        enumerated=(),
        single_item=False,
        section="",
        condition_words="required if it rains",
    )
    with pytest.raises(UnmappedConditionError, match="it rains"):
        _add_row({}, row)


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_tables_hold_facts_and_no_prose(path):
    """Longer texts with many spaces would be prose; names of enumerated values have at most two spaces."""

    def texts(content):
        if isinstance(content, str):
            yield content
        elif isinstance(content, dict):
            for value in content.values():
                yield from texts(value)
        elif isinstance(content, list):
            for value in content:
                yield from texts(value)

    assert [text for text in texts(json.loads(path.read_text())) if text.count(" ") > 3] == []


def test_every_curated_change_has_a_reason():
    content = curated()
    for group in ("added_modules", "added_rows", "changed_rows"):
        assert all(row["reason"] for row in content[group])


def test_every_table_row_has_a_keyword_and_a_known_type():
    for path in TABLES:
        content = json.loads(path.read_text())
        rows = [row for module in content["modules"] for row in module["attributes"]]
        rows += [row for table in content["items"].values() for row in table]
        assert all(row["keyword"] and row["type"] in {"1", "1C", "2", "2C", "3"} for row in rows)
        assert all(("condition" in row) == (row["type"] in {"1C", "2C"}) for row in rows)
        assert all(row["items"] in content["items"] for row in rows if "items" in row)
