"""Forms of dates and times, such as ``DD.MM.YYYY`` or ``D MMM YYYY HH:mm``, and the reading of texts by them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from gateway.errors.mapping import ConversionParametersError
from gateway.mapping.conversions.base import folded

_TOKEN: Final = re.compile(r"'([^']*)'|(Y+|M+|D+|H+|h+|m+|s+|F|Z|AP)|(.)", re.DOTALL)
_PATTERNS: Final = {
    "YYYY": "(?P<year>[0-9]{4})",
    "YY": "(?P<short_year>[0-9]{2})",
    "MM": "(?P<month>[0-9]{2})",
    "M": "(?P<month>[0-9]{1,2})",
    "MMM": r"(?P<month_name>[^\W\d_]+\.?)",
    "DD": "(?P<day>[0-9]{2})",
    "D": "(?P<day>[0-9]{1,2})",
    "HH": "(?P<hour>[0-9]{2})",
    "H": "(?P<hour>[0-9]{1,2})",
    "hh": "(?P<half_day_hour>[0-9]{2})",
    "h": "(?P<half_day_hour>[0-9]{1,2})",
    "mm": "(?P<minute>[0-9]{2})",
    "ss": "(?P<second>[0-9]{2})",
    "F": "(?P<fraction>[0-9]{1,6})",
    "AP": "(?P<half_day>[AaPp][Mm]?)",
    "Z": "(?P<offset>Z|[+-][0-9]{2}(?::?[0-9]{2})?)",
}
_OPEN_ENDED: Final = {"M", "D", "H", "h", "F"}
_DATE: Final = {"year", "month", "day"}
_KINDS: Final = {
    "short_year": "year",
    "month_name": "month",
    "half_day_hour": "hour",
}

MONTHS: Final[Mapping[str, str]] = {
    "en": "january february march april may june july august september october november december",
    "de": "januar/jänner februar/feber märz april mai juni juli august september oktober november dezember",
    "fr": "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
    "es": "enero febrero marzo abril mayo junio julio agosto septiembre/setiembre octubre noviembre diciembre",
    "it": "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    "pt": "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro",
    "nl": "januari februari maart april mei juni juli augustus september oktober november december",
    "sv": "januari februari mars april maj juni juli augusti september oktober november december",
    "nb": "januar februar mars april mai juni juli august september oktober november desember",
    "da": "januar februar marts april maj juni juli august september oktober november december",
    "fi": (
        "tammikuu/tammikuuta helmikuu/helmikuuta maaliskuu/maaliskuuta huhtikuu/huhtikuuta toukokuu/toukokuuta "
        "kesäkuu/kesäkuuta heinäkuu/heinäkuuta elokuu/elokuuta syyskuu/syyskuuta lokakuu/lokakuuta "
        "marraskuu/marraskuuta joulukuu/joulukuuta"
    ),
}
"""Full names (general knowledge; Unicode's CLDR has the same), other forms of one month between slashes."""
_SHORTEST_NAME: Final = 3


@dataclass(frozen=True, slots=True)
class TimeForm:
    """A form, ready to read texts."""

    pattern: re.Pattern[str]
    kinds: frozenset[str]
    """What it states: year, month, day, hour, minute, second, fraction, half_day, offset."""
    has_short_year: bool
    has_month_name: bool
    has_half_day_hour: bool

    @property
    def has_date(self) -> bool:
        """Whether it states a whole date."""
        return self.kinds >= _DATE

    @property
    def has_any_date(self) -> bool:
        """Whether it states any part of a date."""
        return bool(self.kinds & _DATE)


@lru_cache(maxsize=256)
def time_form(form: str, name: str) -> TimeForm:
    """Return a form that was written with YYYY YY MMM MM M DD D HH H hh h mm ss F AP Z; letters stand in ' '.

    Raises
    ------
    ConversionParametersError
        If it says something twice, has a letter that means nothing, or could be read in two ways.
    """
    pattern = ""
    kinds: list[str] = []
    tokens: list[str] = []
    for quoted, token, sign in _TOKEN.findall(form):
        if token:
            if token not in _PATTERNS:
                raise _wrong(name, "a part of a form that is not known", token)
            if tokens and tokens[-1] in _OPEN_ENDED and token not in {"MMM", "AP", "Z"}:
                what = "two numbers without a sign between them, one of them of open length"
                raise _wrong(name, what, form, _quoted_h(tokens, token))
            pattern += _PATTERNS[token]
            kinds += [_KINDS.get(kind, kind) for kind in re.findall(r"\?P<(\w+)>", _PATTERNS[token])]
        elif sign.isascii() and sign.isalpha() and sign != "T":
            raise _wrong(name, "a letter in a form that means nothing; quote what is written as it is", sign)
        else:
            pattern += re.escape(quoted or sign)
        tokens.append(token)
    if len(set(kinds)) < len(kinds):
        raise _wrong(name, "a form that says one thing twice", form)
    used = set(tokens)
    found = TimeForm(
        re.compile(pattern, re.ASCII if "MMM" not in used else 0),
        frozenset(kinds),
        "YY" in used,
        "MMM" in used,
        bool(used & {"h", "hh"}),
    )
    if found.has_half_day_hour != ("half_day" in found.kinds):
        raise _wrong(name, "hours of half a day (h) and AP belong together", form)
    return found


def _quoted_h(tokens: list[str], token: str) -> str:
    """Return what to do where an ``h`` that stands between hours and minutes was taken for an hour: ``14h05``."""
    if (*tokens[-2:], token) == ("HH", "h", "mm"):
        return "quote the letter: HH'h'mm"
    return "quote the letter: H'h'mm" if (*tokens[-1:], token) == ("H", "h") else ""


def _wrong(name: str, what: str, was: str, fix: str = "") -> ConversionParametersError:
    known = "write it with YYYY YY MMM MM M DD D HH H hh h mm ss F AP Z, other letters between ' and '"
    return ConversionParametersError(f"{name}: {what}", was=repr(was[:60]), fix=fix or known)


@lru_cache(maxsize=32)
def month_numbers(language: str) -> Mapping[str, int]:
    """Return the month's number of each name, and of each beginning of at least three letters that is its alone."""
    numbers: dict[str, int] = {}
    beginnings: dict[str, set[int]] = {}
    for number, group in enumerate(MONTHS[language].split(), start=1):
        for word in map(folded, group.split("/")):
            numbers[word] = number
            for length in range(_SHORTEST_NAME, len(word)):
                beginnings.setdefault(word[:length], set()).add(number)
    single = {start: months.copy().pop() for start, months in beginnings.items() if len(months) == 1}
    return {**single, **numbers}
