"""From a file to the located tree: size, encoding and kind are settled here."""

from __future__ import annotations

import re
from pathlib import Path

from gateway.errors import Place
from gateway.errors.document import (
    DocumentEncodingError,
    DocumentNotReadableError,
    DocumentTooLargeError,
)
from gateway.mapping.located.json_reader import read_json
from gateway.mapping.located.tree import LARGEST_DOCUMENT_BYTES, LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml

_READERS = {".yaml": read_yaml, ".yml": read_yaml, ".json": read_json}
_UTF8_BOM = b"\xef\xbb\xbf"
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]|\xc2[\x80-\x9f]")


def read_located(path: Path) -> LocatedDocument:
    """Read a YAML or JSON file as texts with their places.

    Raises
    ------
    DocumentError
        If it cannot be read, is too large, not UTF-8, or not what its name says.
    """
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise DocumentNotReadableError(
            "this kind of file is not read as a document", where=path.name, fix="name it .yaml, .yml or .json"
        )
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_DOCUMENT_BYTES + 1)
    except OSError as err:
        raise DocumentNotReadableError(
            "the document cannot be read",
            where=path.name,
            was=err.strerror or "",
            fix="check that it is there and open",
        ) from err
    return LocatedDocument(path.name, reader(decoded(content, path.name), path.name))


def decoded(content: bytes, file: str) -> str:
    """Return the text of a document, without the byte order mark that some editors write.

    Raises
    ------
    DocumentTooLargeError, DocumentEncodingError
        The latter naming the first byte that does not belong (counted from 0) and its line.
    """
    if len(content) > LARGEST_DOCUMENT_BYTES:
        raise DocumentTooLargeError(
            "the document is too large",
            where=file,
            fix=f"at most {LARGEST_DOCUMENT_BYTES} bytes; media are files beside",
        )
    body = content.removeprefix(_UTF8_BOM)
    shift = len(content) - len(body)
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as err:
        raise _encoding_error("the document is not UTF-8", file, body, err.start, shift) from None
    found = _CONTROL.search(body)
    if found:
        raise _encoding_error("a control character in the document", file, body, found.start(), shift)
    return text


def _encoding_error(what: str, file: str, body: bytes, offset: int, shift: int) -> DocumentEncodingError:
    line = body.count(b"\n", 0, offset) + 1
    column = offset - body.rfind(b"\n", 0, offset)
    return DocumentEncodingError(
        what,
        where=Place(file, line, column),
        was=f"0x{body[offset]:02X} at byte {offset + shift}",
        fix="save it as UTF-8 text",
    )
