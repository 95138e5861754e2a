"""The published schema and the reader are one thing; format /1 only grows optional fields."""

from __future__ import annotations

import json
import runpy
import sys
from pathlib import Path

import pytest

from gateway.mapping import schema as schema_module
from gateway.mapping.schema import (
    exam_schema,
    protocol_schema,
    repeatability_schema,
    schema_files,
    source_schema,
    speeds_schema,
    write_schema_files,
)
from gateway.shipped import shipped_path

ALL_SCHEMAS = [exam_schema(), speeds_schema(), repeatability_schema(), protocol_schema(), source_schema()]
NAMES = ["exam", "speeds", "repeatability", "protocol", "source"]

# Frozen. A field may become optional, but none may ever be added here while the format is called /1.
REQUIRED_IN_FORMAT_1 = {
    "": {"format", "patient", "session", "captures"},
    "PatientFields": {"id", "issuer", "name"},
    "PersonFields": {"alphabetic"},
    "CodeFields": {"value", "scheme", "meaning"},
    "SessionFields": {"start"},
    "CaptureFields": {"id", "kind", "eye", "scan"},
    "CalibrationFields": {"mm_per_pixel"},
    "ScaleFields": {"x", "y"},
    "SectorFields": {"pivot", "pivot_to_face_mm"},
    "RegionFields": {"x0", "y0", "x1", "y1"},
    "BurnedInTextFields": {"identifies_patient"},
    "ScanLinesFields": {"depth_axis", "assumed_speed_m_per_s", "mm_per_pixel"},
    "SectorLinesFields": {"pivot_to_face_mm"},
    "LinearLinesFields": {"pitch_mm"},
    "WindowFields": {"low", "high"},
    "KeepFields": {"first", "last"},
    "ThermalIndexFields": {"kind", "value"},
    "MeasurementFields": {"id", "capture", "kind"},
    "QuantityFields": {"value", "unit"},
    "GateFields": {"segment", "start_us", "end_us"},
    "ImplantFields": {"material"},
    "AScanLineFields": {"id", "from", "to"},
    "AScanStripFields": {"region", "mm_per_pixel", "depth_axis"},
    "AScanSamplesFields": {"values"},
    "SpikeFields": {"structure", "percent"},
    "EchoDifferenceFields": {"structure", "reference", "gain_db", "reference_gain_db"},
    "GreyWindowFields": {"low", "high"},
    "AnnotationFields": {"capture", "kind"},
    "EyeWitnessFields": {"source", "eye", "words"},
    "DeclaredSweepFields": {"eye", "clock_hour"},
    "FindingFields": {"id", "eye", "what"},
}

# Frozen. Every field that format /1 had when it was published; none may ever go.
FIELDS_OF_FORMAT_1 = json.loads((Path(__file__).parent / "documents" / "fields-1.json").read_text())


def mappings_of(schema):
    """Each object schema by the name of its definition."""
    found = {"": schema}
    for name, part in schema["$defs"].items():
        found[name] = next((c for c in part.get("anyOf", []) if c.get("type") == "object"), part)
    return found


def test_the_published_files_are_what_the_code_makes():
    for name, text in schema_files().items():
        assert shipped_path(f"mappings/schema/{name}").read_text(encoding="utf-8") == text, (
            "run python -m gateway.mapping.schema"
        )


def test_the_writer_writes_every_file(tmp_path):
    write_schema_files(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "eye-ultrasound-exam-1.schema.json",
        "eye-ultrasound-source-1.schema.json",
        "protocol-1.schema.json",
        "repeatability-1.schema.json",
        "speeds-1.schema.json",
    ]


def test_no_field_of_format_1_ever_becomes_required():
    for name, part in mappings_of(exam_schema()).items():
        assert set(part.get("required", ())) <= REQUIRED_IN_FORMAT_1.get(name, set()), name


def test_no_field_of_format_1_ever_goes():
    now = {name: set(part["properties"]) for name, part in mappings_of(exam_schema()).items()}
    for name, fields in FIELDS_OF_FORMAT_1.items():
        assert set(fields) <= now[name]


@pytest.mark.parametrize("schema", ALL_SCHEMAS, ids=NAMES)
def test_every_field_is_described(schema):
    parts = {"": schema} | schema["$defs"]
    for name, part in parts.items():
        whole = next((c for c in part.get("anyOf", []) if c.get("type") == "object"), part)
        assert len(part["description"]) > 5, name
        for field, rule in whole["properties"].items():
            described = rule.get("description") or schema["$defs"][rule["$ref"].rsplit("/", 1)[1]]["description"]
            assert len(described) > 3, f"{name}.{field}"


@pytest.mark.parametrize("schema", ALL_SCHEMAS, ids=NAMES)
def test_every_mapping_refuses_unknown_keys(schema):
    for name, part in mappings_of(schema).items():
        assert part["additionalProperties"] is False, name


def test_the_module_writes_the_shipped_files(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["schema", str(tmp_path)])
    runpy.run_path(schema_module.__file__, run_name="__main__")
    assert {path.name: path.read_text(encoding="utf-8") for path in tmp_path.iterdir()} == schema_files()
