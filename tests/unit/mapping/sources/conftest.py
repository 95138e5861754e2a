"""Small source mappings and folders, written in the tests themselves."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from gateway.errors.mapping import SourceMappingError
from gateway.mapping.exam_document import MappedExam, map_exam_document
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.sources.engine import MappedSource, apply_mapping
from gateway.mapping.sources.files import MediaItem, RecordFile, SourceFiles
from gateway.mapping.sources.reading import read_source_mapping
from gateway.mapping.sources.rules import SourceMapping
from gateway.model.capture import CaptureKind

HEAD = "format: eye-ultrasound-source/1\nname: test-site\n"

SITE = (
    HEAD
    + """\
records:
  - {id: list, file: "*.csv", kind: csv, rows: {per: capture}, match: {field: file, to: file-name}}
media:
  files: "*.bmp"
  names: "{eye}_{scan:letters}{hour:digits}_{*}.bmp"
terms:
  eyes: {OD: right, OS: left, re: right, li: left}
  scans: {T: transverse, L: longitudinal}
rules:
  - {to: patient.id, from: {record: list, field: number}, if_missing: stop}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {record: list, field: name}}
  - {to: session.start, from: {constant: "2026-03-02T09:30:00+01:00"}}
  - {to: captures.eye, from: [{record: list, field: eye}, {file_name: eye}], with: {terms: eyes}}
  - {to: captures.scan, from: {file_name: scan}, with: {terms: scans}}
  - {to: captures.clock_hour, from: {file_name: hour}}
"""
)
LIST = "file,number,name,eye\nOD_T3_1.bmp,N-1,Holm^Maija,re\nOS_L9_2.bmp,N-1,Holm^Maija,li\n"


def source_mapping(text: str) -> SourceMapping:
    return read_source_mapping(LocatedDocument("site.yaml", read_yaml(text, "site.yaml")))


def problems_of(text: str) -> list[str]:
    """Every problem of a mapping, as people read it."""
    with pytest.raises(SourceMappingError) as caught:
        source_mapping(text)
    return [str(problem) for problem in caught.value.problems]


def csv_file(text: str, name: str = "list.csv") -> RecordFile:
    return RecordFile(name, record_from(text.encode(), name, RecordOptions(RecordKind.CSV)))


def applied(
    text: str,
    media: list[str],
    records: Mapping[str, list[RecordFile]] | None = None,
    *,
    folder: str = "visit",
    devices: Mapping[str, LocatedDocument] | None = None,
) -> tuple[MappedSource, ...]:
    items = tuple(MediaItem(name, CaptureKind.STILL, (devices or {}).get(name)) for name in media)
    found = {record: tuple(files) for record, files in (records or {}).items()}
    return apply_mapping(source_mapping(text), SourceFiles(folder, items, found))


def mapped(*arguments: object, **options: object) -> MappedExam:
    """The exam that comes of a mapping with one exam, held rows among the held parts."""
    (source,) = applied(*arguments, **options)  # type: ignore[arg-type]
    exam = map_exam_document(source.document, source.key)
    return MappedExam(exam.exam, (*exam.held, *source.held))


@pytest.fixture
def here(tmp_path: Path) -> Path:
    return tmp_path
