"""The published schemas under other people's software: jsonschema (Draft 2020-12) and ruamel.yaml's own safe loader."""

from __future__ import annotations

import copy
import json
from datetime import date, datetime
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from gateway.errors.document import ExamDocumentError
from gateway.mapping.exam_document import read_exam_document
from gateway.mapping.schema import exam_schema, speeds_schema
from gateway.shipped import shipped_path

DOCUMENTS = sorted((Path(__file__).parents[1] / "unit" / "mapping" / "documents").glob("*.yaml"))
VALIDATOR = Draft202012Validator(exam_schema())


def loaded(path: Path) -> object:
    """Read YAML 1.2 as any other program would; dates become text again, as JSON has none."""
    with path.open(encoding="utf-8") as stream:
        return as_json(YAML(typ="safe", pure=True).load(stream))


def as_json(value: object) -> object:
    if isinstance(value, dict):
        return {key: as_json(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_json(item) for item in value]
    if isinstance(value, datetime):
        # The loader drops the offset of a moment that is given in UTC.
        return value.isoformat() + ("" if value.tzinfo else "Z")
    return value.isoformat() if isinstance(value, date) else value


@pytest.fixture
def demo() -> dict:
    return loaded(shipped_path("demo-exam") / "exam.yaml")


@pytest.mark.parametrize("schema", [exam_schema(), speeds_schema()], ids=["exam", "speeds"])
def test_the_schema_is_itself_valid_json_schema_2020_12(schema):
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_demo_exam_is_valid_and_read_without_a_held_part(demo):
    assert [error.message for error in VALIDATOR.iter_errors(demo)] == []
    mapped = read_exam_document(shipped_path("demo-exam") / "exam.yaml")
    assert mapped.held == ()
    assert len(mapped.exam.captures) == len(demo["captures"])
    assert mapped.exam.is_synthetic


def test_the_reader_finds_the_same_values_as_the_other_loader(demo):
    exam = read_exam_document(shipped_path("demo-exam") / "exam.yaml").exam
    for mine, theirs in zip(exam.captures, demo["captures"], strict=True):
        assert (mine.id, mine.eye.value, mine.position.scan.value) == (theirs["id"], theirs["eye"], theirs["scan"])
        scale = theirs.get("calibration", {}).get("mm_per_pixel")
        assert (mine.calibration is None) == (scale is None)
        if scale and mine.calibration:
            assert (mine.calibration.mm_per_pixel_x, mine.calibration.mm_per_pixel_y) == (scale["x"], scale["y"])
    for mine, theirs in zip(exam.measurements, demo.get("measurements", []), strict=True):
        if "displayed" in theirs:
            assert mine.displayed is not None
            assert mine.displayed.value == float(theirs["displayed"]["value"])


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_the_frozen_documents_stay_valid_by_schema(path):
    # Ids without quotes are numbers to the other loader; the schema asks for text, the reader takes them as written.
    content = json.loads(json.dumps(loaded(path)))
    content["patient"]["id"] = str(content["patient"]["id"])
    device = content["session"].get("device", {})
    for key in ("serial", "software"):
        if key in device:
            device[key] = str(device[key])
    assert [error.message for error in VALIDATOR.iter_errors(content)] == []


def test_the_shipped_speeds_are_valid_by_their_schema():
    assert list(Draft202012Validator(speeds_schema()).iter_errors(loaded(shipped_path("mappings/speeds.yaml")))) == []


def mappings_in(value: object, path: tuple = ()):  # type: ignore[type-arg]
    if isinstance(value, dict):
        yield path
        for key, item in value.items():
            yield from mappings_in(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from mappings_in(item, (*path, index))


def at(value, path):
    for step in path:
        value = value[step]
    return value


def test_an_unknown_key_anywhere_is_rejected_by_schema_and_reader(demo, tmp_path):
    everywhere = list(mappings_in(demo))
    assert len(everywhere) > 30
    for path in everywhere:
        changed = copy.deepcopy(demo)
        at(changed, path)["no_such_field"] = 1
        assert not VALIDATOR.is_valid(changed), path
        assert problem_codes(changed, tmp_path), path


def test_a_missing_required_field_anywhere_is_rejected_by_schema_and_reader(demo, tmp_path):
    for path, key in [
        ((), "format"),
        ((), "session"),
        (("patient",), "issuer"),
        (("session",), "start"),
        (("captures", 0), "eye"),
    ]:
        changed = copy.deepcopy(demo)
        del at(changed, path)[key]
        assert not VALIDATOR.is_valid(changed), key
        assert problem_codes(changed, tmp_path), key


@pytest.mark.parametrize(
    ("path", "key", "value"),
    [
        (("captures", 0), "eye", "both"),
        (("captures", 0), "eye", ["right", "left"]),
        (("captures", 0), "scan", "axial"),
        (("captures", 0), "file", "../x.png"),
        (("captures", 0), "file", "/x.png"),
        (("captures", 0), "depth_mm", "4,5"),
        (("captures", 0), "depth_mm", -1),
        (("captures", 0), "depth_mm", True),
        (("captures", 0), "clock_hour", 13),
        (("captures", 0), "id", "a b"),
        (("captures", 0), "acquired", "2026-03-02T9:30"),
        (("patient",), "name", "A=B"),
        (("patient",), "name", "a^b^c^d^e^f"),
        (("patient",), "birth_date", "1.2.1958"),
        (("patient",), "sex", "female"),
        (("session",), "station", "longer than sixteen"),
        ((), "format", "eye-ultrasound-exam/2"),
        ((), "cautions", ["infect"]),
        ((), "captures", []),
    ],
)
def test_a_wrong_value_is_rejected_by_schema_and_reader(demo, tmp_path, path, key, value):
    at(demo, path)[key] = value
    assert not VALIDATOR.is_valid(demo)
    assert problem_codes(demo, tmp_path)


def problem_codes(content: object, folder: Path) -> list[str]:
    path = folder / "exam.json"
    path.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    try:
        return [part.reason.code for part in read_exam_document(path).held]
    except ExamDocumentError as error:
        return [problem.code for problem in error.problems]


@pytest.mark.parametrize(
    ("written", "theirs"),
    # How a YAML 1.2 loader reads plain scalars (YAML 1.2.2, 10.3); the exam reader must not convert any of them.
    [
        ("0104", 104),
        ("1e3", 1000.0),
        ("0x1F", 31),
        ("0o17", 15),
        ("true", True),
        ("NO", "NO"),
        ("12:30:00", "12:30:00"),
    ],
)
def test_scalars_that_other_loaders_convert_stay_as_written(written, theirs, tmp_path):
    assert YAML(typ="safe", pure=True).load(f"a: {written}")["a"] == theirs
    text = (Path(DOCUMENTS[0]).parent / "smallest.yaml").read_text().replace('"012345"', written)
    (tmp_path / "exam.yaml").write_text(text)
    assert read_exam_document(tmp_path / "exam.yaml").exam.patient.id == written
