"""Values are held to PS3.5 6.2 before anything is written, and numbers lose nothing that fits."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.builders import value_rules
from gateway.builders.value_rules import (
    date_time_string,
    decimal_string,
    encoded,
    offset_from_utc,
    person_name,
    shortened,
    time_string,
)
from gateway.errors.objects import ObjectError, ValueNotAllowedError, ValueTooLongError
from gateway.model.people import PersonName


@given(st.floats(-1e300, 1e300))
def test_every_finite_number_becomes_a_decimal_string(number: float) -> None:
    text = decimal_string(number)
    assert len(text) <= 16
    assert re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)(E[+-]?\d+)?", text)
    # Sixteen characters hold nine significant digits even of -1.23456789E-300.
    assert float(text) == pytest.approx(number, rel=6e-9, abs=5e-324)


@given(st.integers(-(10**9), 10**9), st.integers(0, 5))
def test_numbers_with_few_digits_survive_exactly(digits: int, places: int) -> None:
    number = digits / 10**places
    assert float(decimal_string(number)) == number


@pytest.mark.parametrize(
    ("number", "text"), [(0.0625, "0.0625"), (-0.0, "0"), (6.0, "6"), (1 / 3, "0.33333333333333"), (1e-7, "1E-7")]
)
def test_decimal_strings_look_as_a_person_would_write_them(number: float, text: str) -> None:
    assert decimal_string(number) == text


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_numbers_that_are_not_finite_are_refused(number: float) -> None:
    with pytest.raises(ValueNotAllowedError):
        decimal_string(number)


@pytest.mark.parametrize(
    ("vr", "longest"), [("SH", 16), ("LO", 64), ("CS", 16), ("ST", 1024), ("LT", 10240), ("AE", 16)]
)
def test_text_of_the_greatest_length_fits_and_one_more_does_not(vr: str, longest: int) -> None:
    """Greatest lengths: PS3.5 Table 6.2-1."""
    assert encoded(vr, "A" * longest, "X") == "A" * longest
    with pytest.raises(ValueTooLongError):
        encoded(vr, "A" * (longest + 1), "X")


def test_length_counts_characters_and_not_bytes() -> None:
    """PS3.5 6.2: lengths of text VRs are characters, so UTF-8 names keep theirs."""
    assert encoded("LO", "金" * 64, "X") == "金" * 64


@pytest.mark.parametrize(
    ("vr", "value"),
    [
        ("SH", "a\\b"),
        ("LO", "a\nb"),
        ("LT", "a\x00b"),
        ("CS", "lower"),
        ("CS", "SLASH/"),
        ("UI", "1.02.3"),
        ("UI", "1"),
        ("UI", "1.2."),
        ("UI", "1.2 "),
        ("DA", "2026-03-02"),
        ("TM", "9:30"),
        ("DS", "1,5"),
        ("IS", "1.5"),
        ("AE", "ÄRZTE"),
        ("US", -1),
        ("US", 65536),
        ("US", 1.0),
        ("US", True),
        ("SL", 2**31),
        ("FD", float("nan")),
        ("FD", "1"),
        ("LO", 5),
        ("LO", b"x"),
        ("PN", "A=B=C=D"),
        ("PN", "a\\b"),
        ("PN", "A^B^C^D^E^F"),
        ("PN", "A" * 65),
        ("PN", "A=" + "B" * 65),
    ],
)
def test_values_that_a_representation_cannot_hold_are_refused(vr: str, value: object) -> None:
    with pytest.raises(ObjectError) as error:
        encoded(vr, value, "TheKeyword")
    assert "TheKeyword" in str(error.value)


def test_messages_never_repeat_a_text() -> None:
    with pytest.raises(ValueTooLongError) as error:
        encoded("PN", "Secretperson" * 9, "PatientName")
    assert "Secret" not in str(error.value)


def test_line_ends_and_tabs_are_text() -> None:
    assert encoded("LT", "a\r\n\tb", "X") == "a\r\n\tb"


def test_names_leave_empty_groups_at_the_end_out() -> None:
    """Form of component groups: PS3.5 6.2.1.1."""
    assert person_name(PersonName("A^B")) == "A^B"
    assert person_name(PersonName("A^B", "", "C^D")) == "A^B==C^D"
    assert (
        person_name(PersonName("Yamada^Tarou", "山田^太郎", "やまだ^たろう")) == "Yamada^Tarou=山田^太郎=やまだ^たろう"
    )


def test_moments_become_dates_times_and_offsets() -> None:
    """Forms: PS3.5 6.2 DA, TM, DT; PS3.3 C.12.1.1.8 (never -0000)."""
    moment = datetime(2026, 3, 2, 9, 5, 7, 125000, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))
    assert date_time_string(moment) == "20260302090507.125000-0330"
    assert time_string(moment) == "090507.125000"
    assert encoded("DA", moment, "X") == "20260302"
    assert encoded("DA", date(1958, 3, 14), "X") == "19580314"
    assert encoded("TM", moment.replace(microsecond=0), "X") == "090507"
    assert offset_from_utc(moment.astimezone(UTC)) == "+0000"
    with pytest.raises(ValueNotAllowedError):
        offset_from_utc(datetime(2026, 3, 2))


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=200), st.integers(10, 64))
def test_shortened_descriptions_always_fit(text: str, characters: int) -> None:
    short = shortened(text, characters)
    assert len(short) <= characters
    assert "\\" not in short


def test_short_descriptions_are_left_alone_and_long_ones_cut_at_a_word() -> None:
    assert shortened("as it is", 64) == "as it is"
    assert shortened("one two three four", 14) == "one two..."


def test_the_table_of_lengths_is_the_dictionary_of_the_standard() -> None:
    """PS3.5 Table 6.2-1 as pydicom 3.0.2 holds it."""
    from pydicom.valuerep import MAX_VALUE_LEN  # noqa: PLC0415

    for vr in ("AE", "CS", "LO", "LT", "SH", "ST"):
        assert value_rules._MAX_CHARACTERS[vr] == MAX_VALUE_LEN[vr]
