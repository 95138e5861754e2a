"""File-name patterns: what a name says where it can be read in one way, and that it says nothing where it cannot."""

from __future__ import annotations

import time

import pytest

from gateway.mapping.sources.names import LONGEST_NAME, Fit, PatternError, read_pattern


@pytest.mark.parametrize(
    ("pattern", "name", "places"),
    [
        (
            "{eye}_{scan:letters}{hour:digits}_{*}.bmp",
            "OD_T3_20260302_0930.bmp",
            {"eye": "OD", "scan": "T", "hour": "3"},
        ),
        ("{eye}_{scan:letters}{hour:digits}_{*}.bmp", "OD_T3_.BMP", {"eye": "OD", "scan": "T", "hour": "3"}),
        ("{day:digits:8}{time:digits:6}{*}", "20260302093000-x", {"day": "20260302", "time": "093000"}),
        ("{*}{number:digits}.bmp", "IMG0012.bmp", {"number": "0012"}),
        ("{number:digits}{*}", "0012a", {"number": "0012"}),
        ("od{hour:digits}", "OD12", {"hour": "12"}),
        ("{note:text}.bmp", "a note (2).bmp", {"note": "a note (2)"}),
        ("{eye}/{*}.bmp", "right/a.bmp", {"eye": "right"}),
        ("{eye}.bmp", "visit 1/OD.bmp", {"eye": "OD"}),
        ("{a:word}-{b:word}", "längs-é", {"a": "längs", "b": "é"}),
        ("plain.bmp", "PLAIN.bmp", {}),
        ("{*}", "", {}),
        ("{a:letters:2}{b:letters:1}", "abc", {"a": "ab", "b": "c"}),
    ],
)
def test_a_name_says_what_stands_at_its_places(pattern: str, name: str, places: dict[str, str]) -> None:
    assert read_pattern(pattern).fit(name) == Fit(places, None)


@pytest.mark.parametrize(
    ("pattern", "name", "says"),
    [
        ("{eye}_{hour:digits}.bmp", "OD-3.bmp", "nothing fits '_'"),
        ("{eye}_{hour:digits}.bmp", "OD_H3.bmp", "nothing fits {hour} (digits)"),
        ("{day:digits:8}{*}", "2026", "nothing fits {day} (digits, 8 of them)"),
        ("{name}_{number}", "DUBOIS_P-42", "more follows after {number} (letters and digits)"),
        ("x/a{*}", "x/a/b", "more follows after {*}"),
        ("{a:text}", "a" * (LONGEST_NAME + 1), f"longer than {LONGEST_NAME} characters"),
    ],
)
def test_where_a_name_leaves_the_pattern_is_told(pattern: str, name: str, says: str) -> None:
    read = read_pattern(pattern)
    assert read.fit(name) is None
    assert read.misfit(name) == says


def test_letters_that_are_written_in_two_ways_are_the_same() -> None:
    assert read_pattern("la\u0308ngs_{n:digits}").fit("l\u00e4ngs_3") == Fit({"n": "3"}, None)


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("{eye}_{hour:digits}.bmp", "OD_.bmp"),
        ("{eye}_{hour:digits}.bmp", "OD_3.png"),
        ("{eye}.bmp", "OD-1.bmp"),
        ("{scan:letters}", "T3"),
        ("{day:digits:8}", "2026030"),
        ("{day:digits:8}", "202603021"),
        ("{n:digits}", "\u0663"),
        ("{a:text}", "a" * (LONGEST_NAME + 1)),
        ("{eye}/{*}.bmp", "a.bmp"),
        ("{note:text}.bmp", ".bmp"),
    ],
)
def test_a_name_that_does_not_fit_says_nothing(pattern: str, name: str) -> None:
    assert read_pattern(pattern).fit(name) is None


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("{a:text}_{b:text}.bmp", "x_y_z.bmp"),
        ("{*}_{eye}_{*}.bmp", "a_OD_b_c.bmp"),
        ("{a:digits}0{b:digits}", "10203"),
        ("{*}{a:letters:1}{*}", "xy"),
    ],
)
def test_a_name_that_can_be_read_in_two_ways_gives_both(pattern: str, name: str) -> None:
    fit = read_pattern(pattern).fit(name)
    assert fit is not None
    assert fit.other is not None
    assert fit.other != fit.places


def test_how_much_nameless_text_takes_makes_no_second_reading() -> None:
    assert read_pattern("{*}b{*}").fit("abab") == Fit({}, None)
    assert read_pattern("{*}-{*}-{n:digits}").fit("a-b-c-3") == Fit({"n": "3"}, None)


@pytest.mark.parametrize(
    ("pattern", "what"),
    [
        ("", "this length"),
        ("x" * 301, "this length"),
        ("{eye", "brace"),
        ("eye}", "brace"),
        ("{{eye}}", "brace"),
        ("{Eye}", "name of a place"),
        ("{}", "name of a place"),
        ("{eye:letter}", "kind of place"),
        ("{eye:letters:0}", "width"),
        ("{eye:letters:65}", "width"),
        ("{eye:letters:x}", "width"),
        ("{eye:letters:1:2}", "colons"),
        ("{eye}_{eye}", "twice"),
        ("{a}{b}", "ends and the next begins"),
        ("{a:word}{b:digits}", "ends and the next begins"),
        ("{a:text}{b:text}", "ends and the next begins"),
        ("{*}{*}", "ends and the next begins"),
        ("{*}{a:text}", "ends and the next begins"),
        ("{*}-" * 31, "too many"),
    ],
)
def test_a_pattern_that_cannot_be_read_says_why(pattern: str, what: str) -> None:
    with pytest.raises(PatternError, match=what) as caught:
        read_pattern(pattern)
    assert caught.value.fix


def test_a_misspelt_kind_is_told_the_nearest_one() -> None:
    with pytest.raises(PatternError) as caught:
        read_pattern("{eye:digit}")
    assert caught.value.fix.startswith("did you mean digits?")


def test_hostile_names_take_time_that_grows_no_faster_than_they_do() -> None:
    pattern = read_pattern("{*}a" * 25 + "{x:text}_{y:text}")

    def seconds(length: int) -> float:
        start = time.process_time()
        for _ in range(3):
            pattern.fit("a" * length)
        return time.process_time() - start

    seconds(100)
    # Eight times the length: linear is 8, quadratic 64.
    assert seconds(800) < 30 * max(seconds(100), 0.002)
