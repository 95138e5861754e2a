"""Character sets of HL7 v2 messages (MSH-18, HL7 table 0211)."""

from __future__ import annotations

import codecs
from typing import Final

from gateway.errors import Place
from gateway.errors.records import RecordEncodingNotKnownError
from gateway.mapping.located.encodings import decoded_as

_SINGLE: Final = {
    "": "ascii",
    "ASCII": "ascii",
    "ISO IR6": "ascii",
    **{f"8859/{part}": f"iso8859-{part}" for part in (*range(1, 10), 15)},
    "GB 18030-2000": "gb18030",
    "KS X 1001": "euc_kr",
    "BIG-5": "big5",
    "UNICODE UTF-8": "utf-8",
    "UNICODE UTF-16": "utf-16",
    "UNICODE UTF-32": "utf-32",
}
_JAPANESE: Final = {"", "ASCII", "ISO IR6", "ISO IR14", "ISO IR87"}
"""Together they are ISO-2022-JP (RFC 1468); with ISO IR159 it is ISO-2022-JP-1 (RFC 2237)."""
_CHARACTER_SET: Final = 18
_HEADER_BYTES: Final = 2000


def codec_of_message(content: bytes, file: str, encoding: str) -> str:
    """Return the text of a message in the stated encoding, or in the one that MSH-18 names.

    Raises
    ------
    RecordEncodingError, RecordEncodingNotKnownError, DocumentTooLargeError
    """
    return decoded_as(content, file, encoding or _named_in(content, file))


def _named_in(content: bytes, file: str) -> str:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    head = content.removeprefix(codecs.BOM_UTF8)[:_HEADER_BYTES].replace(b"\n", b"\r").split(b"\r")[0]
    text = head.decode("ascii", "replace")
    # MSH-1 is the sign behind MSH, so the field's number is one less when the segment is divided.
    fields = text.split(text[3:4]) if len(text) > 3 else []
    stated = fields[_CHARACTER_SET - 1] if len(fields) >= _CHARACTER_SET else ""
    repetition = text[5:6]
    names = [name.strip() for name in (stated.split(repetition) if repetition else [stated])]
    if len(names) == 1 and names[0] in _SINGLE:
        is_marked = content.startswith(codecs.BOM_UTF8) and not names[0]
        return "utf-8" if is_marked else _SINGLE[names[0]]
    if set(names) <= _JAPANESE:
        return "iso2022_jp"
    if set(names) <= _JAPANESE | {"ISO IR159"}:
        return "iso2022_jp_1"
    raise RecordEncodingNotKnownError(
        "MSH-18 names a character set that is not known here",
        where=Place(file, 1),
        was=repr(stated[:40]),
        fix="state the encoding that the source really writes in the mapping",
    )
