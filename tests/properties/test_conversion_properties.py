"""Whatever is converted, the result is exact or the answer is an error of ours."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.errors.mapping import ConversionError, ConversionUnclearError
from gateway.mapping.conversions import conversions, convert
from gateway.mapping.conversions.base import folded
from gateway.mapping.conversions.time_forms import MONTHS
from gateway.mapping.conversions.word_tables import EYES, SEXES, SWITCHES
from gateway.model.laterality import Eye

MANY = settings(max_examples=80, deadline=None)
SAMPLES = {
    "date": {"form": "D MMM YYYY", "language": "fi"},
    "date_time": {"form": "YYYY-MM-DD HH:mm:ss.F", "zone": "Europe/Helsinki", "clock_offset_s": "30"},
    "time": {"form": "h:mm AP"},
    "person_name": {"form": "FAMILY Given", "titles": ["Dr."]},
    "sex": {"languages": ["en", "fi"]},
    "eye": {"languages": ["la", "fi"]},
    "yes_no": {"languages": ["codes"]},
    "clock_hour": {"form": "degrees", "zero_hour": "3", "turn": "clockwise"},
    "number": {"decimal": "comma", "thousands": "space"},
    "word": {"words": {"a": "b"}},
}
SIGNS = st.text(st.sampled_from("0123456789.,:-+^= /'hHdD°%mcinµsMzZaApPeéñ右א\u0660\u202f\u0130\t\n"), max_size=24)


@pytest.mark.parametrize("name", conversions())
@MANY
@given(text=st.text(max_size=30) | SIGNS, eye=st.sampled_from([None, *Eye]))
def test_any_text_gives_a_text_or_an_error_of_ours(name, text, eye):
    try:
        converted = convert(name, SAMPLES.get(name, {}), text, eye)
    except ConversionError as error:
        assert error.fix  # noqa: PT017 - the error is what is tested
    else:
        assert isinstance(converted, str)


@MANY
@given(
    day=st.dates(min_value=dt.date(1800, 1, 1)), form=st.sampled_from(["%d.%m.%Y", "%Y%m%d", "%m/%d/%Y", "%Y-%m-%d"])
)
def test_a_date_written_by_the_standard_library_is_read_back(day, form):
    ours = form.replace("%d", "DD").replace("%m", "MM").replace("%Y", "YYYY")
    assert convert("date", {"form": ours}, day.strftime(form)) == day.isoformat()


@MANY
@given(day=st.dates(min_value=dt.date(1930, 1, 1), max_value=dt.date(2029, 12, 31)))
def test_a_short_year_lies_in_the_stated_hundred_years(day):
    assert convert("date", {"form": "D/M/YY", "pivot": "1930"}, f"{day.day}/{day.month}/{day:%y}") == day.isoformat()


@MANY
@given(day=st.dates(min_value=dt.date(1800, 1, 1)), language=st.sampled_from(sorted(MONTHS)), upper=st.booleans())
def test_a_months_name_is_read_in_full(day, language, upper):
    name = MONTHS[language].split()[day.month - 1].split("/")[0]
    text = f"{day.day} {name.upper() if upper else name} {day.year:04d}"
    assert convert("date", {"form": "D MMM YYYY", "language": language}, text) == day.isoformat()


@MANY
@given(
    clock=st.datetimes(min_value=dt.datetime(1990, 1, 1), max_value=dt.datetime(2030, 1, 1)),
    zone=st.sampled_from(["Europe/Helsinki", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]),
    seconds=st.integers(-4000, 4000),
)
def test_a_clock_time_in_a_zone_is_one_moment_or_none(clock, zone, seconds):
    clock = clock.replace(microsecond=0)
    true = clock + dt.timedelta(seconds=seconds)
    # Every moment that the zone shows so, found from UTC forwards: independent of the rule under test.
    utc = true.replace(tzinfo=dt.UTC)
    around = (utc + dt.timedelta(minutes=minutes) for minutes in range(-16 * 60, 16 * 60, 15))
    moments = {m for m in around if m.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == true}
    parameters = {"form": "YYYYMMDD HHmmss", "zone": zone, "clock_offset_s": seconds}
    try:
        found = convert("date_time", parameters, clock.strftime("%Y%m%d %H%M%S"))
    except ConversionUnclearError:
        assert len(moments) != 1
    else:
        assert {dt.datetime.fromisoformat(found)} == moments


@MANY
@given(moment=st.times())
def test_a_time_of_day_is_read_with_its_fraction(moment):
    form = "h:mm:ss.F AP"
    text = f"{moment.hour % 12 or 12}:{moment:%M:%S}.{moment.microsecond:06d} {'pm' if moment.hour >= 12 else 'am'}"
    assert dt.time.fromisoformat(convert("time", {"form": form}, text)) == moment


NAME = st.text(st.characters(categories=["Lu", "Ll"]), min_size=2, max_size=8).map(str.capitalize)


@MANY
@given(family=st.lists(NAME, min_size=1, max_size=3), given_names=st.lists(NAME, min_size=1, max_size=3))
def test_a_name_is_divided_where_it_was_put_together_or_not_at_all(family, given_names):
    one, other = " ".join(family), " ".join(given_names)
    expected = f"{one}^{other}"
    assert convert("person_name", {"form": "Family, Given"}, f"{one}, {other}") == expected
    assert convert("person_name", {"form": "Family^Given"}, expected) == expected
    counted = {"form": "Given Family", "given_words": len(given_names)}
    assert convert("person_name", counted, f"{other} {one}") == expected
    counted = {"form": "Family Given", "given_words": len(given_names)}
    assert convert("person_name", counted, f"{one} {other}") == expected
    if len(family) + len(given_names) > 2:
        with pytest.raises(ConversionUnclearError):
            convert("person_name", {"form": "Given Family"}, f"{other} {one}")


@pytest.mark.parametrize(("name", "table"), [("eye", EYES), ("sex", SEXES), ("yes_no", SWITCHES)])
def test_every_word_of_a_language_has_its_meaning_in_any_case(name, table):
    for language, rows in table.items():
        for meaning, words in rows.items():
            for word in words:
                for written in (word, word.upper(), f" {word} ", f"{word}."):
                    if folded(written) != folded(word):
                        continue
                    try:
                        assert convert(name, {"languages": [language]}, written) == meaning
                    except ConversionError as error:
                        assert meaning in {"both", "unclear"}, (language, word, error)  # noqa: PT017


NUMBERS = st.tuples(st.text("0123456789", min_size=1, max_size=9), st.text("0123456789", max_size=9))


@MANY
@given(parts=NUMBERS, decimal=st.sampled_from(["point", "comma"]), sign=st.sampled_from(["", "-", "+"]))
def test_digits_stay_as_they_are_written(parts, decimal, sign):
    whole, fraction = parts
    sep = {"point": ".", "comma": ","}[decimal] if fraction else ""
    found = convert("number", {"decimal": decimal}, f"{sign}{whole}{sep}{fraction}")
    assert found == f"{sign}{whole}{'.' if fraction else ''}{fraction}"


@MANY
@given(number=st.integers(0, 10**12), thousands=st.sampled_from(["point", "space", "apostrophe"]))
def test_thousands_are_read_where_they_are_stated_alone(number, thousands):
    written = f"{number:,}".replace(",", {"point": ".", "space": "\u00a0", "apostrophe": "’"}[thousands])
    parameters = {"decimal": "comma", "thousands": thousands}
    assert convert("number", parameters, written) == str(number)
    if number > 999:
        with pytest.raises(ConversionError):
            convert("number", {"decimal": "comma"}, written)


UNITS = {"mm": "1", "cm": "10", "m": "1000", "um": "0.001", "µm": "0.001", "in": "25.4"}


@MANY
@given(parts=NUMBERS, unit=st.sampled_from(sorted(UNITS)))
def test_lengths_change_their_unit_exactly(parts, unit):
    text = ".".join(part for part in parts if part)
    assert Decimal(convert("length", {}, f"{text} {unit}")) == Decimal(text) * Decimal(UNITS[unit])


@MANY
@given(parts=NUMBERS)
def test_speeds_frequencies_and_percentages_change_their_unit_exactly(parts):
    text = ".".join(part for part in parts if part)
    assert Decimal(convert("speed", {"unit": "mm/us"}, text)) == Decimal(text) * 1000
    assert Decimal(convert("frequency", {}, f"{text} kHz")) * 1000 == Decimal(text)
    assert Decimal(convert("frequency", {"to": "Hz"}, f"{text}MHz")) == Decimal(text) * 10**6
    assert Decimal(convert("percent", {"to": "fraction"}, f"{text}%")) * 100 == Decimal(text)


@MANY
@given(half=st.integers(0, 23), zero=st.integers(2, 24), sense=st.sampled_from(["clockwise", "counter-clockwise"]))
def test_degrees_go_round_the_dial(half, zero, sense):
    parameters = {"form": "degrees", "zero_hour": zero / 2, "turn": sense}
    found = convert("clock_hour", parameters, str(half * 15))
    hour = convert("clock_hour", {}, found)
    whole, _, part = hour.partition(":")
    turned = (int(whole) * 2 + (part == "30") - zero) * (1 if sense == "clockwise" else -1)
    assert turned % 24 == half % 24


@MANY
@given(
    word=st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=12), other=st.text(min_size=1, max_size=12)
)
def test_only_the_words_of_the_table_are_read(word, other):
    parameters = {"words": {word: "found"}}
    assert convert("word", parameters, f" {word} ") == "found"
    if other.strip() != word:
        with pytest.raises(ConversionError):
            convert("word", parameters, other)


@MANY
@given(text=st.text(max_size=40), longest=st.integers(1, 40))
def test_a_text_is_kept_whole_or_refused(text, longest):
    try:
        assert convert("text", {"longest": longest}, text) == text.strip()
    except ConversionError:
        assert len(text.strip()) > longest
