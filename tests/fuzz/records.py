"""Readers of written records."""

from __future__ import annotations

import json
from pathlib import Path

from gateway.mapping.located.file import decoded
from gateway.mapping.located.json_reader import read_json
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
