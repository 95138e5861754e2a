"""Readers of written records."""

from __future__ import annotations

import json
from pathlib import Path

from gateway.mapping.located.csv_reader import CsvOptions
from gateway.mapping.located.file import decoded
from gateway.mapping.located.hl7_fields import hl7_field, hl7_person_name
from gateway.mapping.located.json_reader import read_json
from gateway.mapping.located.records import RecordOptions, record_from
from gateway.mapping.located.tree import plain
from gateway.mapping.located.yaml_reader import read_yaml
from tests.fuzz.target import Target

_DOCUMENTS = Path(__file__).parents[1] / "unit" / "mapping" / "documents"
_SMALL = (
    b'format: eye-ultrasound-exam/1\npatient: {id: "A", name: "Holm^Maija"}\nlist:\n  - a\n  - "b: c"\n  - |\n    d\n'
)


def _yaml() -> list[bytes]:
    return [(_DOCUMENTS / "everything.yaml").read_bytes(), _SMALL]


def _json() -> list[bytes]:
    return [json.dumps(plain(read_yaml(content.decode(), "seed")), ensure_ascii=False).encode() for content in _yaml()]


YAML = Target(
    _yaml,
    lambda content: read_yaml(decoded(content, "fuzzed"), "fuzzed"),
    (b"&a ", b"*a", b"!!python/object ", b"<<: ", b"---\n", b"? ", b"|\n", b">-\n", b"[", b"{", b'"\\U0011ffff"', b"%"),
    largest=16384,
)
JSON = Target(
    _json,
    lambda content: read_json(decoded(content, "fuzzed"), "fuzzed"),
    (b"[", b"{", b"]", b"}", b'"\\ud800"', b"1e999", b"null", b"\\u0000", b"[" * 60),
)


_TABLE = (
    'id;eye;depth;comment\r\n1;OD;24,5;"a;b\r\n""c"""\r\n\r\n2;OS;23,0;übel\r\n',
    "id;eye;depth;comment\n1;OD;24;plain\n",
)
_TREE = (
    '<?xml version="1.0" encoding="utf-8"?>\n<exam xmlns:s="urn:x" id="7"><s:eye>OD</s:eye><c n="1"> x </c><c/>'
    "<c>y &amp; <![CDATA[<z>]]></c><!-- words --><?do it?></exam>"
)
_ORDER = (
    "\x0bMSH|^~\\&|HIS|ISLAND|GW|EYE|20260302||OMI^O23^OMI_O23|1|T|2.5.1|||||||8859/1\r"
    "PID|1||0007^^^ISL&1.2&ISO~99^^^NAT||Holm^Maija^^Jr^Dr^MD^L^A~H^M^^^^^L^I||19580314|F\r"
    'ORC|NW|12^HIS\rOBR|1|12||76510^B-scan \\T\\ more^L|""\rZDS|1.2.3^GW^Application^DICOM\r\x1c\r'
)


def _csv(content: bytes) -> None:
    # Every byte is a character of code page 850, so damage gets past the decoder.
    encoding = "cp850" if len(content) % 2 else "utf-8"
    for delimiter in ("auto", ";"):
        record_from(content, "fuzzed.csv", RecordOptions(encoding=encoding, csv=CsvOptions(delimiter)))


def _hl7(content: bytes) -> None:
    root = record_from(content, "fuzzed.hl7", RecordOptions(encoding="cp850" if len(content) % 2 else "")).root
    for path in ("PID-3[1].1", "ORC-2.1", "OBR[1]-4.2", "ZDS-1.1"):
        hl7_field(root, path)
    hl7_person_name(root, "PID-5")


CSV = Target(
    lambda: [text.encode() for text in _TABLE], _csv, (b";", b",", b"\t", b"|", b'"', b'""', b"\r", b"\xff\xfe")
)
XML = Target(
    lambda: [_TREE.encode(), _TREE.replace("utf-8", "utf-16").encode("utf-16")],
    lambda content: record_from(content, "fuzzed.xml"),
    (
        b'<!DOCTYPE a [<!ENTITY x "y">]>',
        b"&x;",
        b"&#0;",
        b"<a>" * 20,
        b"]]>",
        b'encoding="shift_jis"',
        b'encoding="idna"',
        b'xmlns="',
        b"<![CDATA[",
        b"<!--",
    ),
)
HL7 = Target(
    lambda: [_ORDER.encode()],
    _hl7,
    (
        b"MSH|",
        b"\rMSH|^~\\&|",
        b"|",
        b"^",
        b"~",
        b"&",
        b"\\X0D\\",
        b"\\.sp3\\",
        b"ISO IR87",
        b"UNICODE UTF-16",
        b"\x1b$B",
    ),
)
