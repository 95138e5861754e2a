"""One door to every kind of record that a site writes: JSON, YAML, CSV, XML and HL7 v2."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Final

from gateway.errors.document import DocumentNotReadableError
from gateway.errors.records import RecordEncodingError, RecordKindError
from gateway.mapping.located.csv_reader import CsvOptions, read_csv
from gateway.mapping.located.encodings import decoded_as
from gateway.mapping.located.hl7_reader import decoded_hl7, read_hl7
from gateway.mapping.located.json_reader import read_json
from gateway.mapping.located.tree import LARGEST_DOCUMENT_BYTES, LocatedDocument, Node
from gateway.mapping.located.xml_reader import read_xml
from gateway.mapping.located.yaml_reader import read_yaml


class RecordKind(StrEnum):
    """How a record is written."""

    JSON = "json"
    YAML = "yaml"
    CSV = "csv"
    XML = "xml"
    HL7 = "hl7"


_ENDINGS: Final = {
    ".json": RecordKind.JSON,
    ".yaml": RecordKind.YAML,
    ".yml": RecordKind.YAML,
    ".csv": RecordKind.CSV,
    ".xml": RecordKind.XML,
    ".hl7": RecordKind.HL7,
}


@dataclass(frozen=True, slots=True)
class RecordOptions:
    """How a source writes a record.

    Parameters
    ----------
    kind : RecordKind, optional
        Where the ending of the name does not tell.
    encoding : str
        Where it is not the usual one: UTF-8, for XML what it declares, for HL7 what MSH-18 says.
    csv : CsvOptions
    """

    kind: RecordKind | None = None
    encoding: str = ""
    csv: CsvOptions = field(default_factory=CsvOptions)


def read_record(path: Path, options: RecordOptions | None = None) -> LocatedDocument:
    """Read a record of any kind as texts with their places.

    Raises
    ------
    DocumentError
        If it cannot be read, is too large, in another encoding than stated, or not of its kind.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_DOCUMENT_BYTES + 1)
    except (OSError, ValueError) as err:
        raise DocumentNotReadableError(
            "the record cannot be read",
            where=path.name,
            was=getattr(err, "strerror", None) or "",
            fix="check that it is there and open",
        ) from err
    return record_from(content, path.name, options)


def record_from(content: bytes, file: str, options: RecordOptions | None = None) -> LocatedDocument:
    """Read a record from its bytes, as `read_record` does; `file` names it and, by its ending, its kind."""
    options = options or RecordOptions()
    kind = options.kind or _ENDINGS.get(Path(file).suffix.lower())
    if kind is None:
        raise RecordKindError(
            "the kind of this record is not known",
            where=file,
            fix=f"state one of {', '.join(RecordKind)}, or name it {', '.join(_ENDINGS)}",
        )
    return LocatedDocument(file, _node(content, file, kind, options))


def _node(content: bytes, file: str, kind: RecordKind, options: RecordOptions) -> Node:
    if kind is RecordKind.XML:
        if options.encoding:
            raise RecordEncodingError(
                "an encoding is stated for XML, which declares its own", where=file, fix="state none for XML"
            )
        return read_xml(content, file)
    if kind is RecordKind.HL7:
        return read_hl7(decoded_hl7(content, file, options.encoding), file)
    text = decoded_as(content, file, options.encoding or "utf-8")
    if kind is RecordKind.CSV:
        return read_csv(text, file, options.csv)
    return read_json(text, file) if kind is RecordKind.JSON else read_yaml(text, file)
