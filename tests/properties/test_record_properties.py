"""Records are read as other programs wrote them, each text at its place; from anything else come errors of ours."""

from __future__ import annotations

import contextlib
import csv
import io
import xml.etree.ElementTree as ET
from xml.sax.saxutils import escape

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gateway.errors import GatewayError
from gateway.errors.mapping import MappingError
from gateway.errors.records import RecordSyntaxError
from gateway.mapping.located.csv_reader import CsvOptions, read_csv
from gateway.mapping.located.encodings import decoded_as
from gateway.mapping.located.hl7_fields import hl7_field
from gateway.mapping.located.hl7_reader import read_hl7
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.located.tree import NOT_TEXT, Scalar, plain
from gateway.mapping.located.xml_reader import read_xml

MANY = settings(max_examples=150, deadline=None)
CELLS = st.text(st.sampled_from("ab1é右 ,;|\t\"'\r\n"), max_size=6)


@MANY
@given(
    rows=st.integers(1, 4).flatmap(lambda n: st.lists(st.lists(CELLS, min_size=n, max_size=n), max_size=6)),
    delimiter=st.sampled_from(",;|\t"),
    quote=st.sampled_from("\"'"),
    line_end=st.sampled_from(["\r\n", "\n", "\r"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
def test_what_the_standard_library_writes_is_read_with_its_places(rows, delimiter, quote, line_end, quoting):
    said = [row for row in rows if any(cell.strip(" \t") for cell in row)]
    assume(said)
    if line_end != "\r\n":
        # Its writer quotes only the line ends that it writes itself.
        quoting = csv.QUOTE_ALL
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter=delimiter, quotechar=quote, lineterminator=line_end, quoting=quoting)
    writer.writerows(said)
    text = buffer.getvalue()
    found = read_csv(text, "f", CsvOptions(delimiter, quote, has_header=False))
    assert [[entry.value.text for entry in row.entries.values()] for row in found.items] == said
    lines = io.StringIO(text, newline=None).read().split("\n")
    for row in found.items:
        for entry in row.entries.values():
            position, cell = entry.value.position, entry.value.text
            first = cell.replace(quote, quote * 2).replace("\r\n", "\n").replace("\r", "\n").split("\n")[0]
            assert lines[position.line - 1][position.column - 1 :].removeprefix(quote).startswith(first)


@MANY
@given(text=st.text(st.sampled_from('a1,;"\n\r\t |'), max_size=40), delimiter=st.sampled_from([",", ";", "auto"]))
def test_where_a_table_is_read_the_standard_library_reads_the_same(text, delimiter):
    try:
        found = read_csv(text, "f", CsvOptions(delimiter, has_header=False))
    except RecordSyntaxError:
        return
    signs = [delimiter] if delimiter != "auto" else [",", ";", "\t", "|"]
    cells = [[entry.value.text for entry in row.entries.values()] for row in found.items]
    # Rows of nothing but white space are no rows here.
    readings = []
    for sign in signs:
        with contextlib.suppress(csv.Error):
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=True))
            readings.append([row for row in rows if any(cell.strip() for cell in row)])
    assert [row for row in cells if any(cell.strip() for cell in row)] in readings


@MANY
@given(text=st.text(max_size=40), encoding=st.sampled_from(["utf-8", "utf-16", "gb18030"]))
def test_text_survives_its_encoding(text, encoding):
    assume(not NOT_TEXT.search(text) and not text.startswith("\ufeff"))
    assert decoded_as(text.encode(encoding), "f", encoding) == text


@MANY
@given(
    content=st.binary(max_size=60),
    encoding=st.sampled_from(["utf-8", "utf-16", "cp1252", "shift_jis", "euc-kr", "iso2022_jp"]),
)
def test_bytes_are_decoded_whole_or_refused(content, encoding):
    try:
        text = decoded_as(content, "f", encoding)
    except GatewayError:
        return
    assert text == content.decode("utf-8-sig" if encoding == "utf-8" else encoding)


NAMES = st.from_regex("[a-z][a-z0-9]{0,5}", fullmatch=True)
TEXTS = st.text(
    st.characters(exclude_categories=["Cc", "Cs", "Cn", "Co"], exclude_characters="\u2028\u2029"), max_size=8
)


@st.composite
def elements(draw, depth=0):
    element = ET.Element(draw(NAMES), draw(st.dictionaries(NAMES, TEXTS, max_size=2)))
    element.text = draw(TEXTS)
    for child in draw(st.lists(elements(depth + 1), max_size=3)) if depth < 2 else []:
        element.append(child)
    return element


def _as_tree(element):
    found = {f"@{name}": value or None for name, value in element.attrib.items()}
    for child in element:
        found.setdefault(child.tag, []).append(_as_tree(child))
    found = {name: value[0] if isinstance(value, list) and len(value) == 1 else value for name, value in found.items()}
    text = "".join([element.text or "", *(child.tail or "" for child in element)]).strip(" \t\r\n")
    if not found:
        return text or None
    return {name: value for name, value in {**found, **({"#text": text} if text else {})}.items() if value is not None}


@MANY
@given(element=elements(), encoding=st.sampled_from(["utf-8", "utf-16", "us-ascii"]))
def test_elements_are_those_that_the_standard_library_wrote(element, encoding):
    content = ET.tostring(element, encoding=encoding, xml_declaration=True)
    expected = _as_tree(ET.fromstring(content))  # noqa: S314  made here
    assert plain(read_xml(content, "f")) == ({element.tag: expected} if expected is not None else {})


@MANY
@given(texts=st.lists(TEXTS, min_size=1, max_size=5))
def test_every_element_stands_where_its_tag_does(texts):
    text = "<r>\n" + "".join(f"{'é' * i}<c>{escape(t)}</c>\n" for i, t in enumerate(texts)) + "</r>"
    node = read_xml(text.encode(), "f").entries["r"].value.entries["c"].value
    items = [node] if isinstance(node, Scalar) else node.items
    assert [(i.position.line, i.position.column) for i in items] == [(n + 2, n + 1) for n in range(len(texts))]


def _escaped(text: str) -> str:
    signs = {"|": "F", "^": "S", "&": "T", "~": "R", "\\": "E", "\n": ".br"}
    return "".join(f"\\{signs[sign]}\\" if sign in signs else sign for sign in text)


@MANY
@given(
    parts=st.lists(st.text(st.sampled_from("ab|^&~\\\né右"), min_size=1, max_size=6), min_size=2, max_size=4),
    sign=st.sampled_from("^&~"),
)
def test_what_is_escaped_is_read_back_at_its_place(parts, sign):
    line = "NTE|1||" + sign.join(map(_escaped, parts))
    message = read_hl7(f"MSH|^~\\&|A\r{line}", "f")
    for number, part in enumerate(parts, start=1):
        path = {"^": f"NTE-3.{number}", "&": f"NTE-3.1.{number}", "~": f"NTE-3[{number}]"}[sign]
        found = hl7_field(message, path)
        assert found.text == part
        assert line[found.position.column - 1 :].startswith(_escaped(part))


@pytest.mark.parametrize("kind", RecordKind)
@MANY
@given(content=st.binary(max_size=80), start=st.sampled_from([b"", b"MSH|^~\\&|", b"<a>", b"a,b\n", b"{"]))
def test_any_bytes_give_a_record_or_an_error_of_ours(kind, content, start):
    with contextlib.suppress(GatewayError):
        record_from(start + content, "f", RecordOptions(kind))


@MANY
@given(delimiter=st.text(max_size=4), quote=st.text(max_size=2), skip=st.integers(-1, 3))
def test_any_options_read_a_table_or_are_refused(delimiter, quote, skip):
    with contextlib.suppress(GatewayError, MappingError):
        read_csv("a,b\n1,2\n", "f", CsvOptions(delimiter, quote, skip_lines=skip))
