"""XML to the located tree, guarded by defusedxml: elements, attributes and text, nothing that grows or fetches.

The parser is defusedxml's for SAX, since its locator tells where each tag stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final
from xml.sax import ContentHandler, SAXParseException
from xml.sax.xmlreader import AttributesImpl, Locator

from defusedxml import DefusedXmlException
from defusedxml.expatreader import DefusedExpatParser

from gateway.errors import Place
from gateway.errors.document import DocumentFeatureRefusedError
from gateway.errors.records import RecordEncodingError, RecordSyntaxError, XmlFeatureRefusedError
from gateway.mapping.located.encodings import decoded_as
from gateway.mapping.located.tree import (
    LONGEST_KEY,
    Budget,
    Entry,
    Node,
    Position,
    Row,
    Scalar,
    ScalarStyle,
    Table,
    checked_text,
)

TEXT_KEY: Final = "#text"
_SPACE: Final = " \t\r\n"
_DECLARATION: Final = re.compile(rb"<\?xml\s[^>]{0,200}?\sencoding\s*=\s*[\"']([A-Za-z][A-Za-z0-9._-]{0,39})[\"']")
_MARKS: Final = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


def read_xml(content: bytes, file: str) -> Table:
    """Read an XML document, which states its own encoding.

    An element is a `Table` of its attributes (``@name``), children (by local name; those that come several times as a
    `Row`) and, where there is any beside them, its text (``#text``). An element with text alone is a `Scalar`. White
    space around text is not part of it, and declarations of namespaces are no attributes. An attribute stands where its
    element does.

    Returns
    -------
    Table
        From the name of the root to the root.

    Raises
    ------
    RecordSyntaxError
        If it is not well formed.
    XmlFeatureRefusedError
        For a document type, an entity or an external reference.
    RecordEncodingError, DocumentTooLargeError, DocumentEncodingError, DocumentFeatureRefusedError
    """
    text = decoded_as(content, file, _stated_encoding(content, file))
    parser = DefusedExpatParser(forbid_dtd=True, forbid_entities=True, forbid_external=True)
    handler = _TreeHandler(file, parser)
    parser.setContentHandler(handler)
    try:
        parser.feed(text)
        parser.close()
    except DefusedXmlException as err:
        raise XmlFeatureRefusedError(
            "a document type, an entity or an external reference",
            where=Place(file, parser.getLineNumber(), _column(parser)),
            was=type(err).__name__,
            fix="write the record without <!DOCTYPE>",
        ) from None
    except SAXParseException as err:
        raise RecordSyntaxError(
            "this is not XML",
            where=Place(file, err.getLineNumber(), (err.getColumnNumber() or 0) + 1),
            was=str(err.getMessage())[:80],
            fix="check the tags there",
        ) from None
    return handler.whole()


def _stated_encoding(content: bytes, file: str) -> str:
    """Return the encoding by byte order mark and XML declaration (XML 1.0, 4.3.3 and appendix F)."""
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), "")
    found = _DECLARATION.search(content[:400])
    stated = found[1].decode("ascii") if found else ""
    if marked == "utf-8" and stated and stated.lower() not in {"utf-8", "utf8"}:
        raise RecordEncodingError(
            "the byte order mark contradicts the XML declaration",
            where=Place(file, 1, 1),
            was=f"{marked} and {stated}",
            fix="mend the declaration",
        )
    return marked or stated or "utf-8"


def _column(locator: Locator) -> int:
    return (locator.getColumnNumber() or 0) + 1


@dataclass(slots=True)
class _Element:
    name: str
    position: Position
    entries: dict[str, list[Entry]] = field(default_factory=dict)
    text: list[str] = field(default_factory=list)

    def node(self) -> Node:
        text = "".join(self.text).strip(_SPACE)
        scalar = Scalar(text, self.position, ScalarStyle.QUOTED if text else ScalarStyle.PLAIN)
        if not self.entries:
            return scalar
        if text:
            self.entries[TEXT_KEY] = [Entry(Scalar(TEXT_KEY, self.position), scalar)]
        return Table({name: _together(entries) for name, entries in self.entries.items()}, self.position)


def _together(entries: list[Entry]) -> Entry:
    if len(entries) == 1:
        return entries[0]
    key = entries[0].key
    return Entry(key, Row(tuple(entry.value for entry in entries), key.position))


class _TreeHandler(ContentHandler):
    def __init__(self, file: str, parser: Locator) -> None:
        super().__init__()
        self._file = file
        self._parser = parser
        self._budget = Budget(file)
        self._root = _Element("", Position(1, 1))
        self._open = [self._root]

    def whole(self) -> Table:
        """Return the document."""
        node = self._root.node()
        assert isinstance(node, Table)  # noqa: S101  the parser has seen a root element
        return node

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802  the interface's name
        position = self._position()
        self._budget.check_depth(len(self._open), position)
        element = _Element(self._local(name, position), position)
        self._budget.count(position)
        for full_name, value in attrs.items():
            if full_name != "xmlns" and not full_name.startswith("xmlns:"):
                self._attribute(element, f"@{self._local(full_name, position)}", value)
        self._open.append(element)

    def _attribute(self, element: _Element, key: str, value: str) -> None:
        position = element.position
        self._budget.count(position)
        if key in element.entries:
            raise DocumentFeatureRefusedError(
                "two attributes that differ by their namespace alone",
                where=Place(self._file, position.line, position.column),
                fix="leave one of them out of the record",
            )
        style = ScalarStyle.QUOTED if value else ScalarStyle.PLAIN
        scalar = Scalar(checked_text(value, self._place(position)), position, style)
        element.entries[key] = [Entry(Scalar(key, position), scalar)]

    def characters(self, content: str) -> None:
        self._open[-1].text.append(content)

    def endElement(self, name: str) -> None:  # noqa: N802  the interface's name
        element = self._open.pop()
        checked_text("".join(element.text), self._place(element.position))
        entry = Entry(Scalar(element.name, element.position), element.node())
        self._open[-1].entries.setdefault(element.name, []).append(entry)

    def _local(self, name: str, position: Position) -> str:
        local = name.rsplit(":", 1)[-1]
        if len(local) > LONGEST_KEY:
            raise DocumentFeatureRefusedError(
                "a name longer than any field's", where=self._place(position), fix="check the tags there"
            )
        return local

    def _position(self) -> Position:
        return Position(self._parser.getLineNumber() or 1, _column(self._parser))

    def _place(self, position: Position) -> Place:
        return Place(self._file, position.line, position.column)
