"""The worked examples: read by the reader, valid by the published schema as another library reads it, and as drawn."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from pydicom import dcmread
from ruamel.yaml import YAML

from fixtures.make import sources
from gateway.mapping.sources.reading import load_source_mapping
from gateway.shipped import shipped_path

EXAMPLES = sorted(shipped_path("mappings/sources").glob("*.yaml"))
FOLDERS = Path(__file__).parents[4] / "fixtures" / "sources"


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_is_valid_for_the_reader_and_by_the_schema(path: Path) -> None:
    assert load_source_mapping(path).name == path.stem
    schema = json.loads(shipped_path("mappings/schema/eye-ultrasound-source-1.schema.json").read_text(encoding="utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    content = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    assert [error.message for error in validator.iter_errors(content)] == []
    content["ruls"] = content.pop("rules")
    assert len(list(validator.iter_errors(content))) == 2


def test_every_rule_of_the_examples_was_written_for_somebody_who_maps_a_site() -> None:
    assert len(EXAMPLES) == 3
    for path in EXAMPLES:
        text = path.read_text(encoding="utf-8")
        assert "Everything is invented" in text
        assert text.count("because:") >= 5


def test_the_stored_folders_are_what_the_generator_makes(tmp_path: Path) -> None:
    sources.write(tmp_path)
    made = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file())
    assert made == sorted(path.relative_to(FOLDERS) for path in FOLDERS.rglob("*") if path.is_file())
    for name in made:
        one, two = tmp_path / name, FOLDERS / name
        if name.suffix in {".csv", ".xml"}:
            assert one.read_bytes() == two.read_bytes(), name
        elif name.suffix in {".bmp", ".dcm"}:
            # One grey level, where another numpy rounds the other way; movies depend on their encoders.
            assert np.abs(pixels(one) - pixels(two)).max() <= 1, name


def pixels(path: Path) -> np.ndarray:
    found = dcmread(path).pixel_array if path.suffix == ".dcm" else np.asarray(Image.open(path))
    return found.astype(int)
