from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from ruamel.yaml import YAML
from typer.testing import CliRunner

from gateway.cli import make_app, message
from gateway.cli.reference import all_explanations
from gateway.config_file import settings_template
from gateway.errors.settings import SettingsFileError
from gateway.shipped import shipped_path


def run(*arguments: str, code: int = 0) -> str:
    result = CliRunner().invoke(make_app(), list(arguments))
    assert result.exit_code == code, result.output
    return result.output


def test_the_printed_schema_is_valid_and_accepts_the_demo_exam() -> None:
    # jsonschema: another implementation of JSON Schema 2020-12.
    schema = json.loads(run("schema", "exam"))
    jsonschema.Draft202012Validator.check_schema(schema)
    exam = YAML(typ="safe", pure=True).load(shipped_path("demo-exam").joinpath("exam.yaml"))
    as_json = json.loads(json.dumps(exam, default=lambda moment: moment.isoformat()))
    jsonschema.Draft202012Validator(schema).validate(as_json)


def test_an_unknown_document_is_a_usage_error() -> None:
    assert "exam" in run("schema", "exma", code=2)


def test_init_writes_the_template_and_leaves_an_existing_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "gateway.toml"
    run("init", str(path))
    assert path.read_text(encoding="utf-8") == settings_template()
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(SettingsFileError, match="left alone"):
        CliRunner().invoke(make_app(), ["init", str(path)], catch_exceptions=False)
    assert path.read_text(encoding="utf-8") == "mine"


def test_every_code_is_listed_and_explained() -> None:
    listed = run("explain").split()
    assert set(listed) == set(all_explanations())
    assert {"eye-missing", "type-1-missing", "no-presentation-context", "same-uid-other-content"} <= set(listed)
    assert "never guess" in run("explain", "eye-missing").lower().replace("\n", " ")


def test_a_misspelt_code_names_the_nearest() -> None:
    assert "eye-missing" in run("explain", "eye-mising", code=2)


def test_a_message_names_code_place_and_where_to_read_more() -> None:
    text = message(SettingsFileError("what is wrong", where="gateway.toml", was="x", fix="do this"))
    assert text == (
        "error[settings-file]: gateway.toml: what is wrong, was x; do this\n  more: gateway explain settings-file\n"
    )
