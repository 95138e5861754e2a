"""Orders in HL7 v2: every field by its path, at its place, in the message's own character set."""

from __future__ import annotations

import pytest

from gateway.errors.document import DocumentEncodingError, DocumentTooLargeError
from gateway.errors.records import (
    Hl7EscapeError,
    Hl7NotSingleError,
    Hl7PathError,
    RecordEncodingError,
    RecordEncodingNotKnownError,
    RecordSyntaxError,
)
from gateway.mapping.located.hl7_fields import hl7_field, hl7_person_name
from gateway.mapping.located.hl7_reader import decoded_hl7, read_hl7
from gateway.mapping.located.records import record_from
from gateway.mapping.located.tree import MOST_NODES, Scalar

HEADER = "MSH|^~\\&|HIS|ISLAND|GW|EYE|20260302||ORM^O01^ORM_O01|1|T|2.5.1"
SEGMENTS = (
    HEADER,
    'PID|1|""|0007^^^ISL&1.2&ISO~99^^^NAT||Holm^Maija^^Jr^Dr^MD^L^A~堀^舞^^^^^L^I~ほり^まい^^^^^L^P||19580314|F',
    "PV1|1|O||||||55^Berg&van^Nora",
    "ORC|NW|12^HIS",
    "OBR|1|12||76510^B-scan \\T\\ more\\.br\\2nd \\X41\\ \\E\\|a|||||||||||7^Lind^Tove^^^Dr^^^^^L",
    "OBR|2|13",
    "ZDS|1.2.3^GW^Application^DICOM",
)
ORDER = read_hl7("\r".join(SEGMENTS) + "\r", "order.hl7")


@pytest.mark.parametrize(
    ("path", "text", "place"),
    [
        ("MSH-1", "|", "1:4"),
        ("MSH-2", "^~\\&", "1:5"),
        ("MSH-3", "HIS", "1:10"),
        ("MSH-9.2", "O01", "1:42"),
        ("PID-3[2].1", "99", "2:29"),
        ("PID-3[1].4.2", "1.2", "2:21"),
        ("PID-8", "F", "2:100"),
        ("PID-8.1.1", "F", "2:100"),
        ("ORC-2.1", "12", "4:8"),
        ("OBR[1]-4.2", "B-scan & more\n2nd A \\", "5:17"),
        ("OBR[2]-2", "13", "6:7"),
        ("ZDS-1.1", "1.2.3", "7:5"),
    ],
)
def test_a_field_is_found_by_its_path_at_its_place(path, text, place):
    found = hl7_field(ORDER, path, "order.hl7")
    assert (found.text, str(found.position)) == (text, place)
    line, column = map(int, place.split(":"))
    assert SEGMENTS[line - 1][column - 1 :].startswith(text.split(" &")[0].rstrip("\\ "))


@pytest.mark.parametrize(
    "path", ["PID-2", "PID-7.2", "PID-99", "ZZZ-1", "OBR[3]-1", "PID-3[4].1", "PID-8.1.2", "PID-3[1].2"]
)
def test_what_is_not_stated_is_nothing(path):
    assert hl7_field(ORDER, path) is None


@pytest.mark.parametrize("path", ["PID-5.1", "PID-3", "ORC-2", "OBR-4.1", "ZDS-1", "PID-3[1].4", "MSH-9"])
def test_a_path_that_fits_several_values_is_refused(path):
    with pytest.raises(Hl7NotSingleError) as raised:
        hl7_field(ORDER, path, "order.hl7")
    assert path in raised.value.what


@pytest.mark.parametrize("path", ["PID", "PID-0", "pid-3", "PID-3.1.1.1", "PID.3", "", "PID-3[0]"])
def test_a_path_of_another_form_is_refused(path):
    with pytest.raises(Hl7PathError):
        hl7_field(ORDER, path)


def test_a_path_into_something_else_than_a_message_finds_nothing():
    assert hl7_field(Scalar("a", ORDER.position), "PID-3") is None


def test_names_keep_their_representations_and_the_order_of_a_dicom_name():
    names = hl7_person_name(ORDER, "PID-5")
    assert {key: name.text for key, name in names.items()} == {
        "alphabetic": "Holm^Maija^^Dr^Jr MD",
        "ideographic": "堀^舞",
        "phonetic": "ほり^まい",
    }
    assert {key: name.text for key, name in hl7_person_name(ORDER, "PID-5[2]").items()} == {"ideographic": "堀^舞"}
    assert hl7_person_name(ORDER, "OBR[1]-16")["alphabetic"].text == "Lind^Tove^^Dr"
    assert hl7_person_name(ORDER, "PV1-8")["alphabetic"].text == "Berg^Nora"
    assert hl7_person_name(ORDER, "PV1-9") == {}


def _name(field: str) -> object:
    return read_hl7(f"{HEADER}\rPID|||||{field}", "f")


def test_of_several_names_the_type_tells_which():
    message = _name("Holm^Maija^^^^^L~Berg^Maija^^^^^M~^^^^^^L")
    with pytest.raises(Hl7NotSingleError):
        hl7_person_name(message, "PID-5")
    assert hl7_person_name(message, "PID-5", name_type="M")["alphabetic"].text == "Berg^Maija"
    assert list(hl7_person_name(_name("Holm^Maija~^^^^^^L"), "PID-5")) == ["alphabetic"]


@pytest.mark.parametrize(
    ("field", "path", "error"),
    [
        ("Holm^Maija^^^^^L^X", "PID-5", Hl7NotSingleError),
        ("Ho\\S\\lm^Maija", "PID-5", Hl7EscapeError),
        ("Holm^Maija", "PID-5.1", Hl7PathError),
    ],
)
def test_a_name_that_is_not_clear_is_refused(field, path, error):
    with pytest.raises(error):
        hl7_person_name(_name(field), path)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "f:1:1"),
        ("PID|1", "f:1:1"),
        ("MSH|^^\\&|", "f:1:1"),
        (f"{HEADER}\rpid|1", "f:2:1"),
        (f"{HEADER}\r\rPIDx", "f:3:1"),
        (f"{HEADER}\r{HEADER}", "f:2:1"),
    ],
)
def test_what_is_no_single_message_is_refused(text, where):
    with pytest.raises(RecordSyntaxError) as raised:
        read_hl7(text, "f")
    assert str(raised.value.where) == where


@pytest.mark.parametrize("text", ["\\", "\\T", "\\Q\\", "\\X4\\", "\\Xe9\\", "\\\\"])
def test_an_escape_sequence_that_is_not_known_is_never_dropped(text):
    with pytest.raises(Hl7EscapeError):
        read_hl7(f"{HEADER}\rNTE|1||{text}", "f")


def test_escape_sequences_mean_what_the_standard_says():
    # HL7 v2.5.1, 2.7.
    message = read_hl7(f"{HEADER}\nNTE|1||\\H\\a\\N\\\\F\\\\S\\\\T\\\\R\\\\E\\\\.sp2\\\\.sp\\\\X0A\\b", "f")
    assert hl7_field(message, "NTE-3").text == "a|^&~\\\n\n\n\nb"


def test_a_control_character_from_an_escape_sequence_is_refused():
    with pytest.raises(DocumentEncodingError):
        read_hl7(f"{HEADER}\rNTE|1||\\X00\\", "f")


def test_subcomponents_of_a_single_component_are_no_components():
    message = read_hl7(f"{HEADER}\rPID|||||Berg&van", "f")
    assert hl7_field(message, "PID-5.1.2").text == "van"
    assert hl7_field(message, "PID-5.2") is None


def test_other_signs_than_the_usual_are_read():
    message = read_hl7("MSH#*!$%#HIS\rPID###7*x!8", "f")
    assert hl7_field(message, "PID-3[1].2").text == "x"


def test_a_message_beyond_the_limit_is_refused():
    with pytest.raises(DocumentTooLargeError):
        read_hl7(f"{HEADER}\rNTE|" + "a|" * MOST_NODES, "f")


def _content(stated: str, text: str, codec: str) -> bytes:
    return f"{HEADER}||||||{stated}\rPID|||7||{text}".encode(codec)


@pytest.mark.parametrize(
    ("stated", "text", "codec"),
    [
        # HL7 table 0211.
        ("", "Holm", "ascii"),
        ("8859/1", "Åse", "iso8859-1"),
        ("8859/5", "Мая", "iso8859-5"),
        ("8859/15", "Œ", "iso8859-15"),
        ("UNICODE UTF-8", "堀", "utf-8"),
        ("", "堀", "utf-8-sig"),
        ("UNICODE UTF-16", "堀", "utf-16"),
        ("~ISO IR87", "堀", "iso2022_jp"),
        ("ISO IR14~ISO IR87~ISO IR159", "堀", "iso2022_jp_1"),
        ("GB 18030-2000", "堀", "gb18030"),
        ("KS X 1001", "홍", "euc_kr"),
        ("BIG-5", "堀", "big5"),
    ],
)
def test_the_messages_own_character_set_is_read(stated, text, codec):
    document = record_from(_content(stated, text, codec), "order.hl7")
    assert hl7_field(document.root, "PID-5.1").text == text


def test_an_encoding_that_the_site_states_wins():
    assert "Åse" in decoded_hl7(_content("ASCII", "Åse", "iso8859-1"), "f", "iso-8859-1")


def test_the_block_characters_of_mllp_are_no_part_of_the_message():
    framed = b"\x0b" + _content("", "Holm", "ascii") + b"\r\x1c\r"
    assert decoded_hl7(framed, "f") == _content("", "Holm", "ascii").decode() + "\r"


def test_a_character_set_that_is_not_known_or_not_kept_is_refused():
    for stated in ("CNS 11643-1992", "UNICODE", "8859/1~8859/2"):
        with pytest.raises(RecordEncodingNotKnownError):
            decoded_hl7(_content(stated, "a", "ascii"), "f")
    with pytest.raises(RecordEncodingError):
        decoded_hl7(_content("", "Åse", "iso8859-1"), "f")
    with pytest.raises(RecordSyntaxError):
        record_from(b"MS", "order.hl7")
