"""The encodings in which records are written, by name; a byte that does not belong is named, never replaced."""

from __future__ import annotations

import codecs
import re

from gateway.errors import Place
from gateway.errors.document import DocumentTooLargeError
from gateway.errors.records import RecordEncodingError, RecordEncodingNotKnownError
from gateway.mapping.located.tree import LARGEST_DOCUMENT_BYTES, NOT_TEXT

_ISO_8859 = tuple(f"iso8859-{part}" for part in (*range(1, 12), *range(13, 17)))
_WINDOWS = tuple(f"cp{page}" for page in range(1250, 1259))
_DOS = ("cp437", "cp737", "cp775", "cp850", "cp852", "cp855", "cp857", "cp858", "cp862", "cp866", "cp869", "cp874")
_ASIAN = (
    *("shift_jis", "cp932", "euc_jp", "iso2022_jp", "iso2022_jp_1", "iso2022_jp_2"),
    *("gb2312", "gbk", "gb18030", "big5", "euc_kr", "cp949"),
)
_KNOWN = frozenset(
    codecs.lookup(name).name
    for name in ("utf-8", "ascii", *_ISO_8859, *_WINDOWS, *_DOS, *_ASIAN, "koi8-r", "koi8-u", "mac-roman", "tis-620")
)
"""Only encodings of text: codecs such as punycode or unicode_escape would change what is written."""
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_WITH_MARK = frozenset({"utf-16", "utf-32"})
_LINE_END = re.compile(r"\r\n|\r|\n")


def encoding_named(name: str, file: str) -> str:
    """Return Python's name of an encoding.

    Raises
    ------
    RecordEncodingNotKnownError
        If it is none of those that are read here.
    """
    try:
        found = codecs.lookup(name).name if len(name) < 40 and name.isascii() else ""
    except (LookupError, ValueError):
        found = ""
    if found == "utf-8-sig":
        return "utf-8"
    if found not in _KNOWN and found not in _WITH_MARK:
        raise RecordEncodingNotKnownError(
            "this encoding is not known here",
            where=Place(file),
            was=repr(name[:40]),
            fix="name it like utf-8, windows-1252, iso-8859-15, cp850, shift_jis, gb18030, euc-kr or koi8-r",
        )
    return found


def decoded_as(content: bytes, file: str, encoding: str) -> str:
    """Return the text of a record in a stated encoding, without its byte order mark.

    UTF-16 and UTF-32 need a byte order mark, since nothing else tells their byte order.

    Raises
    ------
    DocumentTooLargeError
    RecordEncodingNotKnownError
    RecordEncodingError
        Naming the first byte that does not belong (counted from 0) and its line.
    """
    if len(content) > LARGEST_DOCUMENT_BYTES:
        raise DocumentTooLargeError(
            "the record is too large", where=file, fix=f"at most {LARGEST_DOCUMENT_BYTES} bytes in one file"
        )
    codec = encoding_named(encoding, file)
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), None)
    if (marked or "") != codec and (codec in _WITH_MARK or marked == "utf-8"):
        raise RecordEncodingError(
            f"the record is stated to be {encoding}, which its first bytes contradict",
            where=Place(file, 1, 1),
            was=f"a byte order mark of {marked}" if marked else "no byte order mark",
            fix="state the encoding that the source really writes",
        )
    shift = len(codecs.BOM_UTF8) if marked == codec == "utf-8" else 0
    return _strictly(content, shift, codec, file)


def _strictly(content: bytes, shift: int, codec: str, file: str) -> str:
    body = content[shift:]
    try:
        text = body.decode(codec)
    except UnicodeDecodeError as err:
        # What comes before the first wrong byte is right; half a character at its end is not counted.
        before = body[: err.start].decode(codec, "ignore")
        offset = min(err.start, len(body) - 1)
        raise _wrong(
            f"the record is not {codec}", file, before, f"0x{body[offset]:02X} at byte {offset + shift}"
        ) from None
    found = NOT_TEXT.search(text)
    if found:
        raise _wrong("a control character in the record", file, text[: found.start()], f"U+{ord(found.group()):04X}")
    return text


def _wrong(what: str, file: str, before: str, was: str) -> RecordEncodingError:
    ends = [match.end() for match in _LINE_END.finditer(before)]
    place = Place(file, len(ends) + 1, len(before) - (ends[-1] if ends else 0) + 1)
    return RecordEncodingError(what, where=place, was=was, fix="state the encoding that the source really writes")
