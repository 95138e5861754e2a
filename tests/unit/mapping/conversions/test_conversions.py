"""Each conversion reads the form that is stated, refuses everything else, and says why."""

from __future__ import annotations

import pytest

from gateway.errors.mapping import (
    ConversionError,
    ConversionParametersError,
    ConversionUnclearError,
    EyeNotOneError,
)
from gateway.mapping.conversions import check_conversion, conversion, conversions, convert
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour

READ = [
    ("date", {"form": "DD.MM.YYYY"}, " 14.03.1958 ", "1958-03-14"),
    ("date", {"form": "YYYYMMDD"}, "20260302", "2026-03-02"),
    ("date", {"form": "D/M/YY", "pivot": 1930}, "1/2/26", "2026-02-01"),
    ("date", {"form": "D/M/YY", "pivot": 1930}, "1/2/30", "1930-02-01"),
    ("date", {"form": "D 'de' MMM 'de' YYYY", "language": "es"}, "3 de enero de 2026", "2026-01-03"),
    ("date", {"form": "D. MMM YYYY", "language": "fi"}, "3. maaliskuuta 2026", "2026-03-03"),
    ("date", {"form": "D MMM YYYY", "language": "de"}, "3 Mär. 2026", "2026-03-03"),
    ("date", {"form": "MMM D, YYYY", "language": "en"}, "May 3, 2026", "2026-05-03"),
    ("date", {"form": "YYYY年MM月DD日"}, "2026年03月02日", "2026-03-02"),
    ("time", {"form": "h:mm AP"}, "12:05 am", "00:05:00"),
    ("time", {"form": "hh:mm:ss AP"}, "12:05:09 PM", "12:05:09"),
    ("time", {"form": "HHmmss.F"}, "093000.120", "09:30:00.120"),
    # Clocks in Finland went forward at 3:00 on 29 March 2026 and back at 4:00 on 25 October (Directive 2000/84/EC).
    (
        "date_time",
        {"form": "YYYY-MM-DD HH:mm", "zone": "Europe/Helsinki"},
        "2026-03-29 04:00",
        "2026-03-29T04:00:00+03:00",
    ),
    ("date_time", {"form": "YYYY-MM-DDTHH:mm:ssZ"}, "2026-03-29T03:30:00Z", "2026-03-29T03:30:00Z"),
    ("date_time", {"form": "YYYYMMDDHHmmssZ"}, "20260302093000-0930", "2026-03-02T09:30:00-09:30"),
    ("date_time", {"form": "YYYYMMDDHHmmssZ"}, "20260302093000+01", "2026-03-02T09:30:00+01:00"),
    ("date_time", {"form": "D MMM YYYY HH'h'mm", "language": "fr"}, "3 mars 2026 14h05", "2026-03-03T14:05:00"),
    ("date_time", {"form": "D MMM YYYY HH'h'mm", "language": "fr"}, "1 août 2026 08h00", "2026-08-01T08:00:00"),
    (
        "date_time",
        {"form": "D.M.YYYY H:mm:ss.F", "zone": "Europe/Helsinki", "clock_offset_s": -90},
        "25.10.2026 5:00:00.12",
        "2026-10-25T04:58:30.12+02:00",
    ),
    ("person_name", {"form": "Family, Given"}, "van Holm,  Maija Liisa", "van Holm^Maija Liisa"),
    ("person_name", {"form": "Family, Given", "titles": ["Dr."]}, "Holm, Dr Maija", "Holm^Maija^^Dr"),
    ("person_name", {"form": "Family, Given"}, "Holm, Dr. Maija", "Holm^Dr. Maija"),
    ("person_name", {"form": "Given Family"}, "Maija Holm", "Holm^Maija"),
    ("person_name", {"form": "Given Family", "given_words": 1}, "Maija van Holm", "van Holm^Maija"),
    ("person_name", {"form": "Given Family", "family_words": 1}, "Maija Liisa Holm", "Holm^Maija Liisa"),
    ("person_name", {"form": "Family Given", "family_words": 2}, "van Holm Maija", "van Holm^Maija"),
    ("person_name", {"form": "Family Given"}, "山田 太郎", "山田^太郎"),
    ("person_name", {"form": "FAMILY Given"}, "VAN HOLM Maija L", "VAN HOLM^Maija L"),
    ("person_name", {"form": "Family^Given"}, "Holm^Maija^^Dr^", "Holm^Maija^^Dr"),
    ("sex", {"languages": ["en"]}, "Female", "F"),
    ("sex", {"languages": ["iso-5218"]}, "1", "M"),
    ("sex", {"languages": ["es"]}, "mujer", "F"),
    ("eye", {"languages": ["la"]}, "O.D.", "right"),
    ("eye", {"languages": ["es", "la"]}, "OI", "left"),
    ("eye", {"languages": ["el"]}, "ΑΡΙΣΤΕΡΌΣ", "left"),
    ("eye", {"languages": ["ja", "ru"]}, "右", "right"),
    ("eye", {"languages": ["en", "hu"], "without": ["B"]}, "jobb", "right"),
    ("yes_no", {"languages": ["codes", "fi"]}, "Kyllä", "yes"),
    ("clock_hour", {}, "3", "3"),
    ("clock_hour", {}, "03:30", "3:30"),
    ("clock_hour", {}, "H3", "3"),
    ("clock_hour", {}, "h 12.5", "12:30"),
    ("clock_hour", {}, "12.5", "12:30"),
    ("clock_hour", {}, "9h", "9"),
    ("clock_hour", {}, "Half past 12", "12:30"),
    ("clock_hour", {}, "6 o'clock", "6"),
    ("clock_hour", {"form": "degrees", "zero_hour": "3", "turn": "counter-clockwise"}, "90°", "12"),
    ("clock_hour", {"form": "degrees", "zero_hour": 12, "turn": "clockwise"}, "360", "12"),
    ("clock_hour", {"form": "degrees", "zero_hour": 12.5, "turn": "clockwise"}, "-15 deg", "12"),
    ("clock_hour", {"form": "degrees", "zero_hour": 3, "turn": "clockwise", "tolerance_degrees": 5}, "49", "4:30"),
    ("scan", {}, "Axial Horizontal", "axial-horizontal"),
    ("scan", {"words": {"T": "transverse"}}, "t", "transverse"),
    ("zone", {}, "posterior_pole", "posterior-pole"),
    ("marker", {}, "supero-nasal", "superonasal"),
    ("gaze", {}, "straight ahead", "primary"),
    ("number", {"decimal": "comma"}, "05,960", "05.960"),
    ("number", {"decimal": "comma", "thousands": "point"}, "1.532,0", "1532.0"),
    ("number", {"thousands": "space"}, "1\u202f532", "1532"),
    ("number", {"unit": "dB"}, "\u22123.0 dB", "-3.0"),
    ("number", {}, ".5", "0.5"),
    ("percent", {}, "85 %", "85"),
    ("percent", {"to": "fraction"}, "8.50%", "0.0850"),
    ("length", {}, "24.50mm", "24.50"),
    ("length", {}, "2.40 cm", "24.0"),
    ("length", {"decimal": "comma"}, "595,0 µm", "0.5950"),
    ("length", {"unit": "um"}, "595 μm", "0.595"),
    ("length", {"unit": "m"}, "0.024", "24"),
    # NIST Special Publication 811, B.6: one inch is 25.4 mm exactly.
    ("length", {}, "1 in", "25.4"),
    ("speed", {}, "1.532 mm/µs", "1532"),
    ("frequency", {}, "10000 kHz", "10.000"),
    ("frequency", {"to": "Hz"}, "20 fps", "20"),
    ("text", {"prefix": "PAT-", "suffix": ".", "collapse": True}, " PAT- a \n b. ", "a b"),
    ("text", {}, " a  b ", "a  b"),
    ("text", None, "a", "a"),
    ("word", {"words": {"NHA": "retinal-detachment"}}, " NHA ", "retinal-detachment"),
    ("word", {"words": {"N.H.A.": "x", "nha": "x"}, "ignore_case": "yes"}, "Nha", "x"),
]


@pytest.mark.parametrize(("name", "parameters", "text", "expected"), READ, ids=lambda v: str(v)[:30])
def test_a_text_of_the_stated_form_is_read(name, parameters, text, expected):
    assert convert(name, parameters, text) == expected


REFUSED = [
    ("date", {"form": "DD.MM.YYYY"}, "14/03/1958", ConversionError),
    ("date", {"form": "DD.MM.YYYY"}, "31.02.1958", ConversionError),
    ("date", {"form": "DD.MM.YYYY"}, "1٤.03.1958", ConversionError),
    ("date", {"form": "D MMM YYYY", "language": "en"}, "3 Ma 2026", ConversionError),
    ("date", {"form": "D MMM YYYY", "language": "fr"}, "3 jui 2026", ConversionError),
    ("time", {"form": "h:mm AP"}, "13:05 pm", ConversionError),
    ("time", {"form": "HH:mm"}, "24:00", ConversionError),
    ("date_time", {"form": "YYYY-MM-DD HH:mm", "zone": "Europe/Helsinki"}, "2026-10-25 03:30", ConversionUnclearError),
    ("date_time", {"form": "YYYY-MM-DD HH:mm", "zone": "Europe/Helsinki"}, "2026-03-29 03:30", ConversionUnclearError),
    ("date_time", {"form": "YYYY-MM-DD HH:mm", "zone": "Europe/Helsinki"}, "1850-03-29 03:30", ConversionError),
    ("date_time", {"form": "YYYY-MM-DD HH:mmZ"}, "2026-03-29 03:30+15:00", ConversionError),
    ("clock_hour", {}, "H3h", ConversionError),
    ("clock_hour", {}, "H", ConversionError),
    ("date_time", {"form": "YYYY-MM-DD HH:mmZ"}, "2026-03-29 03:30+01:75", ConversionError),
    ("date_time", {"form": "YYYY-MM-DD HH:mmZ", "clock_offset_s": 60}, "9999-12-31 23:59Z", ConversionError),
    ("person_name", {"form": "Given Family"}, "Maija Liisa Holm", ConversionUnclearError),
    ("person_name", {"form": "Given Family", "given_words": 2}, "Maija Holm", ConversionUnclearError),
    ("person_name", {"form": "Given Family"}, "Holm, Maija", ConversionUnclearError),
    ("person_name", {"form": "Family, Given"}, "Holm Maija", ConversionUnclearError),
    ("person_name", {"form": "Family, Given"}, "Holm, Maija, Dr", ConversionUnclearError),
    ("person_name", {"form": "Family, Given", "titles": ["Dr"]}, "Holm, Dr", ConversionUnclearError),
    ("person_name", {"form": "FAMILY Given"}, "HOLM M", ConversionUnclearError),
    ("person_name", {"form": "FAMILY Given"}, "HOLM MAIJA", ConversionUnclearError),
    ("person_name", {"form": "FAMILY Given"}, "HOLM Maija LIISA", ConversionUnclearError),
    ("person_name", {"form": "FAMILY Given"}, "Holm Maija", ConversionUnclearError),
    ("person_name", {"form": "Family, Given"}, "Ho^lm, Maija", ConversionError),
    ("person_name", {"form": "Family^Given"}, "Holm^Maija=x", ConversionError),
    ("person_name", {"form": "Family^Given"}, "^Maija", ConversionError),
    ("person_name", {"form": "Family^Given"}, "a^b^c^d^e^f", ConversionError),
    ("person_name", {"form": "Family, Given"}, f"{'a' * 64}, b", ConversionError),
    ("sex", {"languages": ["es"]}, "M", ConversionUnclearError),
    ("sex", {"languages": ["en"]}, "weiblich", ConversionError),
    ("eye", {"languages": ["la"]}, "OU", EyeNotOneError),
    ("eye", {"languages": ["en"]}, "OD", ConversionError),
    ("clock_hour", {}, "3:15", ConversionError),
    ("clock_hour", {}, "3.2", ConversionError),
    ("clock_hour", {}, "13", ConversionError),
    ("clock_hour", {}, "3,5", ConversionError),
    ("clock_hour", {"form": "degrees", "zero_hour": 3, "turn": "clockwise"}, "1", ConversionError),
    ("clock_hour", {"form": "degrees", "zero_hour": 3, "turn": "clockwise"}, "375", ConversionError),
    ("clock_hour", {"form": "words"}, "nasal", ConversionError),
    ("clock_hour", {"form": "words"}, "sideways", ConversionError),
    ("scan", {}, "T", ConversionError),
    ("number", {}, "1,532", ConversionUnclearError),
    ("number", {"decimal": "comma", "thousands": "point"}, "1.53", ConversionUnclearError),
    ("number", {}, "five", ConversionError),
    ("number", {}, "", ConversionError),
    ("number", {}, "1e3", ConversionError),
    ("number", {}, "1" * 25, ConversionError),
    ("number", {"unit": "dB"}, "3", ConversionError),
    ("length", {}, "24", ConversionUnclearError),
    ("length", {"unit": "mm"}, "2 cm", ConversionUnclearError),
    ("length", {}, "2 feet", ConversionError),
    ("length", {}, "mm", ConversionError),
    ("text", {"prefix": "PAT-"}, "7", ConversionError),
    ("text", {"prefix": "ab", "suffix": "bc"}, "abc", ConversionError),
    ("text", {"longest": 3}, "abcd", ConversionError),
    ("text", {}, "a" * 10241, ConversionError),
    ("word", {"words": {"NHA": "x"}}, "nha", ConversionError),
    ("word", {"words": {"NHA": "x"}}, "zzzzzz", ConversionError),
]


@pytest.mark.parametrize(("name", "parameters", "text", "error"), REFUSED, ids=lambda v: str(v)[:30])
def test_any_other_text_is_refused_with_what_to_do(name, parameters, text, error):
    with pytest.raises(ConversionError) as raised:
        convert(name, parameters, text)
    assert type(raised.value) is error
    assert raised.value.fix


WRONG = [
    ("nope", {}, "no conversion"),
    ("dates", {}, "no conversion"),
    ("date", {}, "missing at form"),
    ("date", {"form": "DD.MM.YYYY", "x": "y"}, "not known at x"),
    ("date", {"form": ["DD"]}, "a text is expected"),
    ("date", "DD.MM.YYYY", "by name"),
    ("date", {"form": "DD.MM"}, "no whole date"),
    ("date", {"form": "DD.MM.YY"}, "pivot"),
    ("date", {"form": "DD.MM.YYYY", "pivot": 1930}, "pivot"),
    ("date", {"form": "D MMM YYYY"}, "language"),
    ("date", {"form": "D MMM YYYY", "language": "tlh"}, "no months"),
    ("date", {"form": "DD.MM.YYYY HH"}, "has a time"),
    ("date", {"form": "YYYYMD"}, "open length"),
    ("date", {"form": "YYYYMMDDDD"}, "part of a form"),
    ("date", {"form": "DD.MM.YYYY x"}, "a letter"),
    ("date", {"form": "DD.MM.YYYY D"}, "one thing twice"),
    ("time", {"form": "h:mm"}, "AP belong together"),
    ("time", {"form": "HH:ss"}, "no hour and minute"),
    ("time", {"form": "HH:mm F"}, "no hour and minute"),
    ("time", {"form": "HH:mm DD"}, "has a date"),
    ("time", {"form": "HH:mmZ"}, "offset"),
    ("date_time", {"form": "D MMM YYYY HHhmm", "language": "fr"}, "quote the letter: HH'h'mm"),
    ("date_time", {"form": "D MMM YYYY Hhmm", "language": "fr"}, "quote the letter: H'h'mm"),
    ("date_time", {"form": "YYYYMMDD HH:mmZ", "zone": "Europe/Helsinki"}, "either Z"),
    ("date_time", {"form": "YYYYMMDD HH:mm", "zone": "Invented/Island"}, "no such time zone"),
    ("date_time", {"form": "YYYYMMDD HH:mmZ", "clock_offset_s": 0.5}, "not whole"),
    ("person_name", {"form": "first last"}, "form that is not known"),
    ("person_name", {"form": "Family, Given", "given_words": 1}, "without counting"),
    ("person_name", {"form": "Given Family", "given_words": 1, "family_words": 1}, "given_words and family_words"),
    ("person_name", {"form": "Family^Given", "titles": ["Dr"]}, "own place"),
    ("eye", {"languages": []}, "at least 1"),
    ("eye", {"languages": ["tlh"]}, "no words of this language"),
    ("eye", {"languages": ["en", "hu"]}, "b is both in en and left in hu"),
    ("sex", {"languages": ["en", "es"]}, "different things"),
    ("clock_hour", {"form": "degrees", "zero_hour": 3}, "needs both"),
    ("clock_hour", {"zero_hour": 3, "turn": "clockwise"}, "needs both"),
    ("clock_hour", {"form": "degrees", "zero_hour": 3.2, "turn": "clockwise"}, "no half hour"),
    ("scan", {"words": {"T": "trans"}}, "does not have this word"),
    ("scan", {"words": {"T": "transverse", "t": "longitudinal"}}, "two meanings"),
    ("number", {"decimal": "comma", "thousands": "comma"}, "one sign"),
    ("length", {"unit": "feet"}, "unit that is not known"),
    ("word", {"words": {}}, "at least 1"),
    ("word", {"words": {"A": "x", "a": "y"}, "ignore_case": "yes"}, "different meanings"),
]


@pytest.mark.parametrize(("name", "parameters", "words"), WRONG, ids=lambda v: str(v)[:30])
def test_parameters_that_cannot_be_used_are_found_when_the_mapping_is_read(name, parameters, words):
    with pytest.raises(ConversionParametersError) as raised:
        check_conversion(name, parameters)
    assert words in str(raised.value)
    assert raised.value.fix


@pytest.mark.parametrize("half_hours", range(2, 26))
@pytest.mark.parametrize("eye", Eye)
def test_words_of_direction_are_the_hours_at_which_the_model_names_them(half_hours, eye):
    words = ClockHour(half_hours).side(eye)
    hour = convert("clock_hour", {"form": "words"}, words, eye)
    assert ClockHour(_half_hours(hour)).side(eye) == words


@pytest.mark.parametrize(
    ("words", "right", "left"),
    [
        ("nasal", "3", "9"),
        ("temporal", "9", "3"),
        ("superonasal", "1:30", "10:30"),
        ("infero-temporal", "7:30", "4:30"),
    ],
)
def test_sides_flip_with_the_eye(words, right, left):
    # 3 o'clock is nasal in the right eye (common practice).
    assert convert("clock_hour", {"form": "words"}, words, Eye.RIGHT) == right
    assert convert("clock_hour", {"form": "words"}, words, Eye.LEFT) == left


def _half_hours(hour: str) -> int:
    whole, _, half = hour.partition(":")
    return int(whole) * 2 + (half == "30")


def test_messages_never_show_what_may_be_a_patients():
    for name, parameters, text in [
        ("person_name", {"form": "Given Family"}, "Maija Liisa Holm"),
        ("date", {"form": "DD.MM.YYYY"}, "1958-03-14"),
        ("sex", {"languages": ["en"]}, "nainen"),
        ("text", {"longest": 2}, "DEMO-0007"),
        ("text", {"longest": 2}, "a very long identifier of a patient"),
        ("text", {"prefix": "x"}, ""),
        ("word", {"words": {"a": "b"}}, "melanoma"),
    ]:
        with pytest.raises(ConversionError) as raised:
            convert(name, parameters, text)
        assert not text or text not in str(raised.value)
        assert raised.value.was


def test_every_conversion_tells_what_it_does_and_takes():
    for name, found in conversions().items():
        assert found.name == name == conversion(name).fields.name
        assert found.description.endswith(".")
        assert all(found.parameters.values())
        assert found.fields.model_json_schema()["properties"] is not None
