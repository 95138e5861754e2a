"""JSON Schema 2020-12 of the document formats, made from the same models that read them.

``python -m gateway.mapping.schema`` writes the files under ``mappings/schema/``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from gateway.mapping.document.observations import FORMAT, ExamFields
from gateway.mapping.document.protocols import PROTOCOL_FORMAT, ProtocolFields
from gateway.mapping.repeatability import REPEATABILITY_FORMAT, RepeatabilityFields
from gateway.mapping.sources.language import SOURCE_FORMAT, SourceMappingFields
from gateway.mapping.speeds import SPEEDS_FORMAT, SpeedsFields

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _WithoutTitles(GenerateJsonSchema):
    """Titles made from field names repeat the names; descriptions say more."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ANN401
        return False


def exam_schema() -> dict[str, Any]:
    """Return the JSON Schema of exam documents.

    It says as much of the rules as JSON Schema can; references between parts, the table of speeds and agreement of the
    eyes are checked by the reader alone. Numbers may be JSON numbers or texts, because the reader takes all as text.
    """
    return _schema(ExamFields, FORMAT)


def speeds_schema() -> dict[str, Any]:
    """Return the JSON Schema of tables of speeds of sound."""
    return _schema(SpeedsFields, SPEEDS_FORMAT)


def repeatability_schema() -> dict[str, Any]:
    """Return the JSON Schema of tables of repeatability."""
    return _schema(RepeatabilityFields, REPEATABILITY_FORMAT)


def protocol_schema() -> dict[str, Any]:
    """Return the JSON Schema of examination protocols."""
    return _schema(ProtocolFields, PROTOCOL_FORMAT)


def source_schema() -> dict[str, Any]:
    """Return the JSON Schema of source mappings; whether each name stands for something is checked by the reader."""
    return _schema(SourceMappingFields, SOURCE_FORMAT)


def _schema(model: type[BaseModel], name: str) -> dict[str, Any]:
    made = model.model_json_schema(schema_generator=_WithoutTitles)
    for part in _objects(made):
        part.pop("title", None)
        if part.get("default", "") is None:
            del part["default"]
    return {"$schema": DIALECT, "$id": f"{_file_stem(name)}.schema.json", "title": name, **made}


def _objects(value: object) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        for key, item in value.items():
            # Under `properties` the keys are fields of a document, also one that is called title or default.
            yield from (
                (inner for field in item.values() for inner in _objects(field))
                if key == "properties"
                else _objects(item)
            )
    elif isinstance(value, list):
        for item in value:
            yield from _objects(item)


def _file_stem(name: str) -> str:
    short = {
        "eye-speeds-of-sound": "speeds",
        "eye-repeatability": "repeatability",
        "eye-ultrasound-protocol": "protocol",
    }
    word, _, version = name.partition("/")
    return f"{short.get(word, word)}-{version}"


def schema_files() -> dict[str, str]:
    """Return the text of every schema file by its name."""
    schemas = {
        FORMAT: exam_schema(),
        SPEEDS_FORMAT: speeds_schema(),
        REPEATABILITY_FORMAT: repeatability_schema(),
        PROTOCOL_FORMAT: protocol_schema(),
        SOURCE_FORMAT: source_schema(),
    }
    return {
        f"{_file_stem(name)}.schema.json": json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
        for name, schema in schemas.items()
    }


def write_schema_files(folder: Path) -> None:
    """Write every schema file into a folder."""
    for name, text in schema_files().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_schema_files(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("mappings/schema"))
