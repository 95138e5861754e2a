"""Source mappings, and what comes of a folder by a mapping whose table or names were damaged."""

from __future__ import annotations

from pathlib import Path

from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.csv_reader import CsvOptions
from gateway.mapping.located.file import decoded
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.sources.engine import apply_mapping
from gateway.mapping.sources.files import MediaItem, RecordFile, SourceFiles
from gateway.mapping.sources.reading import load_source_mapping, read_source_mapping
from gateway.model.capture import CaptureKind
from gateway.shipped import shipped_path
from tests.fuzz.target import Target

_TABLE = Path(__file__).parents[2] / "fixtures" / "sources" / "bitmaps" / "20260311_Besuch1" / "liste.csv"
_CSV = RecordOptions(RecordKind.CSV, "windows-1252", CsvOptions(delimiter=";"))


def _mapping(content: bytes) -> None:
    read_source_mapping(LocatedDocument("fuzzed.yaml", read_yaml(decoded(content, "fuzzed.yaml"), "fuzzed.yaml")))


def _folder(content: bytes) -> None:
    mapping = load_source_mapping(shipped_path("mappings/sources/invented-bitmap-clinic.yaml"))
    file = RecordFile("liste.csv", record_from(content, "liste.csv", _CSV))
    names = ("OD_T9_1.bmp", "OD_L9_1.bmp", "OD_T3_1.bmp", "OS_T6_1.bmp")
    media = tuple(MediaItem(name, CaptureKind.STILL) for name in names)
    files = SourceFiles("20260311_x", media, {"liste": (file,), "hoehen": (file,)})
    for source in apply_mapping(mapping, files):
        for capture in map_exam_document(source.document, source.key).exam.captures:
            assert capture.eye.value == ("right" if capture.files[0].startswith("OD") else "left")


SOURCE_MAPPING = Target(
    lambda: [path.read_bytes() for path in sorted(shipped_path("mappings/sources").glob("*.yaml"))],
    _mapping,
    (
        b"to: captures.eye",
        b"file_name: ",
        b"record: ",
        b"constant: right",
        b"{*}",
        b"{x:digits:2}",
        b"per: finding",
        b"terms: ",
    ),
    largest=16384,
)
MAPPED_FOLDER = Target(
    lambda: [_TABLE.read_bytes()],
    _folder,
    (b"rechts", b"links", b";;", b"OS_T6_1.bmp", b"84,0", b"OD", b"\r\n"),
    largest=16384,
)
