"""Records of every kind are texts at their places, and what is wrong with one is said with its place."""

from __future__ import annotations

import pytest

from gateway.errors.document import (
    DocumentEncodingError,
    DocumentError,
    DocumentFeatureRefusedError,
    DocumentNotReadableError,
    DocumentTooLargeError,
)
from gateway.errors.mapping import CsvOptionsError
from gateway.errors.records import (
    ColumnNameError,
    DelimiterNotClearError,
    RaggedRowError,
    RecordEncodingError,
    RecordEncodingNotKnownError,
    RecordKindError,
    RecordSyntaxError,
    XmlFeatureRefusedError,
)
from gateway.mapping.located.csv_reader import CsvOptions, read_csv
from gateway.mapping.located.encodings import decoded_as
from gateway.mapping.located.records import RecordKind, RecordOptions, read_record, record_from
from gateway.mapping.located.tree import LARGEST_DOCUMENT_BYTES, MOST_NODES, plain
from gateway.mapping.located.xml_reader import read_xml

# ---------------------------------------------------------------- CSV

TABLE = 'id;eye;text\r\n\r\n1;OD;"a;b\r\n""q"""\r;;\n \t \n2;"OS";x'


def test_cells_stand_under_their_columns_and_know_their_places():
    rows = read_csv(TABLE, "list.csv", CsvOptions(";"))
    assert plain(rows) == [
        {"id": "1", "eye": "OD", "text": 'a;b\r\n"q"'},
        {"id": "2", "eye": "OS", "text": "x"},
    ]
    assert str(rows.items[0].entries["text"].value.position) == "3:6"
    assert str(rows.items[1].entries["eye"].value.position) == "7:3"
    assert str(rows.items[1].entries["eye"].key.position) == "1:4"


def test_an_empty_cell_is_nothing_and_a_word_is_a_word():
    (row,) = read_csv('a,b,c\n,"",null\n', "f").items
    assert [row.entries[name].value.is_nothing for name in "abc"] == [True, True, False]


def test_columns_without_a_header_are_named_by_number():
    rows = read_csv("title of it\n1\tx\n2\ty\n", "f", CsvOptions("tab", has_header=False, skip_lines=1))
    assert plain(rows) == [{"1": "1", "2": "x"}, {"1": "2", "2": "y"}]
    assert str(rows.items[0].entries["1"].value.position) == "2:1"


def test_without_quoting_a_quote_is_a_sign_like_others():
    assert plain(read_csv('a,b\n5",x"\n', "f", CsvOptions(quote=""))) == [{"a": '5"', "b": 'x"'}]
    assert plain(read_csv('a,b\n5",x"\n', "f")) == [{"a": '5"', "b": 'x"'}]


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_the_only_delimiter_that_fits_is_found(sign):
    text = sign.join(["a", "b"]) + "\n" + sign.join(["1", "2"]) + "\n"
    assert plain(read_csv(text, "f", CsvOptions("auto"))) == [{"a": "1", "b": "2"}]


def test_a_delimiter_under_which_the_table_breaks_does_not_fit():
    assert plain(read_csv("a;b\n1;2,3\n", "f", CsvOptions("auto"))) == [{"a": "1", "b": "2,3"}]


@pytest.mark.parametrize(
    ("text", "was"), [("a,b;c\n1,5;2\n", "comma and semicolon fit"), ("a\n1\n", "none fits"), ("a,b\n", "none fits")]
)
def test_a_delimiter_that_is_not_clear_is_never_chosen(text, was):
    with pytest.raises(DelimiterNotClearError) as raised:
        read_csv(text, "f", CsvOptions("auto"))
    assert raised.value.was == was


@pytest.mark.parametrize(
    ("text", "error", "where"),
    [
        ("a,b\n1,2\n1\n", RaggedRowError, "f:3:1"),
        ("a,b\n1,2,3\n", RaggedRowError, "f:2:1"),
        ("a,a\n", ColumnNameError, "f:1:3"),
        ("a, \n", ColumnNameError, "f:1:3"),
        (f"a,{'b' * 201}\n", ColumnNameError, "f:1:3"),
        ("", RecordSyntaxError, "f:1:1"),
        ("\n\n,\n", RecordSyntaxError, "f:1:1"),
        ('a\nb\n"c', RecordSyntaxError, "f:3:1"),
        ('a,b\n1,"2"x\n', RecordSyntaxError, "f:2:6"),
    ],
)
def test_what_breaks_a_table_is_named_with_its_place(text, error, where):
    with pytest.raises(error) as raised:
        read_csv(text, "f")
    assert str(raised.value.where) == where


def test_a_table_beyond_the_limit_is_refused():
    with pytest.raises(DocumentTooLargeError):
        read_csv("a\n" + "1\n" * MOST_NODES, "f")


@pytest.mark.parametrize(
    "options",
    [
        {"delimiter": ""},
        {"delimiter": ",,"},
        {"delimiter": '"'},
        {"delimiter": "\n"},
        {"quote": "''"},
        {"delimiter": "auto", "quote": ";"},
        {"skip_lines": -1},
    ],
)
def test_options_that_can_read_nothing_are_refused(options):
    with pytest.raises(CsvOptionsError):
        CsvOptions(**options)


# ---------------------------------------------------------------- encodings


@pytest.mark.parametrize(
    ("encoding", "text"),
    [
        ("windows-1252", "Åse – Müller"),
        ("ISO-8859-15", "Œuvre €"),
        ("cp850", "Größe"),
        ("cp437", "Größe"),
        ("shift_jis", "右眼"),
        ("gb18030", "右眼𠀀"),
        ("euc-kr", "오른쪽"),
        ("koi8-r", "правый"),
        ("utf-16", "右眼"),
        ("utf-8", "右眼"),
        ("utf-8-sig", "右眼"),
    ],
)
def test_a_stated_encoding_is_read(encoding, text):
    assert decoded_as(text.encode(encoding), "f", encoding) == text


@pytest.mark.parametrize(
    ("content", "encoding", "where", "was"),
    [
        (b"a\r\nb\xff", "utf-8", "f:2:2", "0xFF at byte 4"),
        (b"\xef\xbb\xbfa\xff", "utf-8", "f:1:2", "0xFF at byte 4"),
        (b"a\rb\x81", "windows-1252", "f:2:2", "0x81 at byte 3"),
        (b"a\xe5", "ascii", "f:1:2", "0xE5 at byte 1"),
        ("a\nü\n右".encode("shift_jis", "ignore") + b"\x81", "shift_jis", "f:3:2", "0x81 at byte 5"),
        ("a\n\u0085".encode("iso-8859-1"), "iso-8859-1", "f:2:1", "U+0085"),
        (b"ab", "utf-16", "f:1:1", "no byte order mark"),
        (b"\xef\xbb\xbfa", "windows-1252", "f:1:1", "a byte order mark of utf-8"),
        (b"\xff\xfea\0b", "utf-16", "f:1:2", "0x62 at byte 4"),
    ],
)
def test_the_first_byte_that_does_not_belong_is_named(content, encoding, where, was):
    with pytest.raises(RecordEncodingError) as raised:
        decoded_as(content, "f", encoding)
    assert (str(raised.value.where), raised.value.was) == (where, was)


@pytest.mark.parametrize(
    "name", ["punycode", "rot13", "idna", "unicode_escape", "utf-7", "", "x" * 99, "é", "a\0b", "undefined"]
)
def test_only_encodings_of_text_are_known(name):
    with pytest.raises(RecordEncodingNotKnownError):
        decoded_as(b"a", "f", name)


def test_a_record_beyond_the_limit_is_refused():
    with pytest.raises(DocumentTooLargeError):
        decoded_as(bytes(LARGEST_DOCUMENT_BYTES + 1), "f", "utf-8")


# ---------------------------------------------------------------- XML

EXAM = (
    '<?xml version="1.0" encoding="windows-1252"?>\n<ä:exam xmlns:ä="u" xmlns="v" id="7" empty=""><å>é</å><eye>OD</eye>'
    '<c n="1"> x </c>\n  <c/>\n <c>y &amp; <![CDATA[<z>]]></c></ä:exam>'
)


@pytest.mark.parametrize("encoding", ["windows-1252", "utf-8", "utf-16", "iso-8859-1"])
def test_elements_stand_under_their_local_names_at_their_places(encoding):
    root = read_xml(EXAM.replace("windows-1252", encoding).encode(encoding), "f")
    assert plain(root) == {
        "exam": {"@id": "7", "å": "é", "eye": "OD", "c": [{"@n": "1", "#text": "x"}, None, "y & <z>"]}
    }
    exam = root.entries["exam"].value
    assert str(exam.position) == "2:1"
    line = EXAM.split("\n")[1]
    assert exam.entries["eye"].value.position.column == line.index("<eye>") + 1
    assert [str(c.position) for c in exam.entries["c"].value.items][1:] == ["3:3", "4:2"]


def test_xml_in_an_encoding_of_several_bytes_is_read():
    assert plain(read_xml('<?xml version="1.0" encoding="Shift_JIS"?><a>右</a>'.encode("shift_jis"), "f")) == {
        "a": "右"
    }


@pytest.mark.parametrize(
    ("content", "error"),
    [
        (b"<a><b></a>", RecordSyntaxError),
        (b"", RecordSyntaxError),
        (b"<a/><b/>", RecordSyntaxError),
        (b"<a>&x;</a>", RecordSyntaxError),
        (b'<!DOCTYPE a [<!ENTITY x "y">]><a>&x;</a>', XmlFeatureRefusedError),
        (b'<!DOCTYPE a SYSTEM "http://example.invalid/a.dtd"><a/>', XmlFeatureRefusedError),
        (b'<a xmlns:p="1" xmlns:q="2" p:c="1" q:c="2"/>', DocumentFeatureRefusedError),
        (b"<a" + b"x" * 300 + b"/>", DocumentFeatureRefusedError),
        (b"<a>" * 17, DocumentTooLargeError),
        (b"<a>" + b"<b/>" * MOST_NODES + b"</a>", DocumentTooLargeError),
        (b"<a>&#x80;</a>", DocumentEncodingError),
        (b'<a b="&#x80;"/>', DocumentEncodingError),
        (b'<?xml version="1.0" encoding="idna"?><a/>', RecordEncodingNotKnownError),
        (b'\xef\xbb\xbf<?xml version="1.0" encoding="cp1252"?><a/>', RecordEncodingError),
        (b"<a>\n \xff</a>", RecordEncodingError),
    ],
)
def test_xml_that_is_damaged_or_reaches_out_is_refused(content, error):
    with pytest.raises(error) as raised:
        read_xml(content, "f")
    assert str(raised.value.where).startswith("f")


# ---------------------------------------------------------------- one door


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("a.json", '{"a": "ü"}', {"a": "ü"}),
        ("a.YML", "a: ü", {"a": "ü"}),
        ("a.csv", "a\nü\n", [{"a": "ü"}]),
        ("a.xml", "<a>ü</a>", {"a": "ü"}),
    ],
)
def test_the_ending_of_a_name_tells_the_kind(tmp_path, name, content, expected):
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    document = read_record(path)
    assert (document.file, plain(document.root)) == (name, expected)


def test_what_is_stated_wins_over_the_ending():
    options = RecordOptions(RecordKind.CSV, "cp850", CsvOptions(";"))
    assert plain(record_from("a;b\nü;2\n".encode("cp850"), "a.txt", options).root) == [{"a": "ü", "b": "2"}]
    assert plain(record_from("a: ü".encode("cp850"), "a.yaml", RecordOptions(encoding="cp850")).root) == {"a": "ü"}


def test_a_kind_that_nobody_states_is_refused():
    with pytest.raises(RecordKindError):
        record_from(b"a", "a.txt")


def test_an_encoding_for_xml_is_refused_since_it_declares_its_own():
    with pytest.raises(RecordEncodingError):
        record_from(b"<a/>", "a.xml", RecordOptions(encoding="utf-8"))


def test_a_record_that_is_not_there_is_an_error_of_ours(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path / "a\0b.csv"):
        with pytest.raises(DocumentNotReadableError):
            read_record(path)
    assert issubclass(DocumentNotReadableError, DocumentError)
