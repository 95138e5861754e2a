"""What each value representation can hold (PS3.5 6.2), and how numbers and moments become text."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from typing import Final

from gateway.errors.objects import ValueNotAllowedError, ValueTooLongError
from gateway.model.people import PersonName

_MAX_CHARACTERS: Final[Mapping[str, int]] = {
    "AE": 16,
    "CS": 16,
    "DA": 8,
    "DS": 16,
    "DT": 26,
    "IS": 12,
    "LO": 64,
    "LT": 10240,
    "SH": 16,
    "ST": 1024,
    "TM": 14,
    "UI": 64,
}
_PATTERNS: Final[Mapping[str, re.Pattern[str]]] = {
    "CS": re.compile(r"[A-Z0-9_ ]*"),
    "DA": re.compile(r"(\d{8})?", re.ASCII),
    "DS": re.compile(r"([+-]?(\d+(\.\d*)?|\.\d+)(E[+-]?\d+)?)?", re.ASCII),
    "DT": re.compile(r"(\d{4,14}(\.\d{1,6})?([+-]\d{4})?)?", re.ASCII),
    "IS": re.compile(r"([+-]?\d+)?", re.ASCII),
    "TM": re.compile(r"(\d{2}(\d{2}(\d{2}(\.\d{1,6})?)?)?)?", re.ASCII),
    "UI": re.compile(r"((0|[1-9]\d*)(\.(0|[1-9]\d*))+)?", re.ASCII),
}
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_CONTROL_IN_TEXT = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")
_NOT_A_CHARACTER = re.compile(r"[\ud800-\udfff]")
"""Surrogates: JSON can hold one alone, UTF-8 cannot (RFC 3629 3), and a library may write "?" for it."""
_INTEGER_RANGES: Final[Mapping[str, tuple[int, int]]] = {
    "US": (0, 2**16 - 1),
    "SS": (-(2**15), 2**15 - 1),
    "UL": (0, 2**32 - 1),
    "SL": (-(2**31), 2**31 - 1),
    "AT": (0, 2**32 - 1),
}
_GROUP_CHARACTERS = 64
_COMPONENTS = 5

Value = str | int | float | bytes | date | datetime | time | PersonName
"""What a single value of an attribute may be given as."""


def decimal_string(number: float) -> str:
    """Return a number as a Decimal String: at most 16 characters, exact where that is possible (PS3.5 6.2).

    Raises
    ------
    ValueNotAllowedError
        If the number is not finite.
    """
    if not math.isfinite(number):
        raise ValueNotAllowedError("a number that is not finite", was=str(number))
    value = float(number) + 0.0  # turns -0.0 into 0.0
    if value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    exact = repr(value).upper().replace("E+0", "E+").replace("E-0", "E-")
    if len(exact) <= 16:
        return exact
    for digits in range(16, 0, -1):
        text = f"{value:.{digits}G}".replace("E+0", "E+").replace("E-0", "E-")
        if len(text) <= 16:
            return text
    raise ValueNotAllowedError("a number that no decimal string can hold", was=repr(number))  # pragma: no cover


def person_name(name: PersonName) -> str:
    """Return a name as Person Name: groups joined by ``=``, empty ones at the end left out (PS3.5 6.2.1.1)."""
    return "=".join((name.alphabetic, name.ideographic, name.phonetic)).rstrip("=")


def offset_from_utc(moment: datetime) -> str:
    """Return the offset of an aware moment as ``&ZZXX``; ``-0000`` does not exist (PS3.3 C.12.1.1.8)."""
    offset = moment.utcoffset()
    if offset is None:
        raise ValueNotAllowedError("a moment without its offset from UTC", fix="state the offset")
    minutes = round(offset.total_seconds() / 60)
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}{abs(minutes) % 60:02d}"


def date_time_string(moment: datetime) -> str:
    """Return an aware moment as Date Time with offset; microseconds only where there are any."""
    fraction = f".{moment.microsecond:06d}" if moment.microsecond else ""
    return moment.strftime("%Y%m%d%H%M%S") + fraction + offset_from_utc(moment)


def time_string(moment: time | datetime) -> str:
    """Return a time of day as Time; microseconds only where there are any."""
    fraction = f".{moment.microsecond:06d}" if moment.microsecond else ""
    return moment.strftime("%H%M%S") + fraction


def shortened(text: str, characters: int) -> str:
    """Return `text` on one line, cut at a word with ``...`` where it is too long.

    Only for descriptions whose whole text stands elsewhere; identifiers and names are never cut.
    """
    line = " ".join(text.replace("\\", "/").split())
    if len(line) <= characters:
        return line
    kept = line[: characters - 3]
    at_word = kept.rsplit(" ", 1)[0] if " " in kept else kept
    return at_word.rstrip(",;: ") + "..."


def encoded(vr: str, value: Value, keyword: str) -> str | int | float | bytes:
    """Return one value in the form that its value representation takes, checked.

    Raises
    ------
    ValueTooLongError, ValueNotAllowedError
        If the value representation cannot hold it. The message never contains the value.
    """
    if vr in _INTEGER_RANGES:
        return _integer(vr, value, keyword)
    if vr in {"FD", "FL"}:
        return _floating(value, keyword)
    if isinstance(value, bytes):
        if vr in {"OB", "OW", "UN"}:
            return value
        raise ValueNotAllowedError("bytes in an attribute that holds none", where=keyword, was=vr)
    text = _as_text(vr, value, keyword)
    if _NOT_A_CHARACTER.search(text):
        what = "half of a character, which no character set can encode"
        raise ValueNotAllowedError(what, where=keyword, fix="write the value anew at its source")
    if vr == "PN":
        _check_person_name(text, keyword)
    else:
        _check_text(vr, text, keyword)
    return text


def _integer(vr: str, value: Value, keyword: str) -> int:
    lowest, highest = _INTEGER_RANGES[vr]
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueNotAllowedError("not a whole number", where=keyword, was=type(value).__name__)
    if not lowest <= value <= highest:
        raise ValueNotAllowedError(f"a number outside {lowest} to {highest}", where=keyword, was=str(value))
    return value


def _floating(value: Value, keyword: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueNotAllowedError("not a number", where=keyword, was=type(value).__name__)
    if not math.isfinite(value):
        raise ValueNotAllowedError("a number that is not finite", where=keyword, was=str(value))
    return float(value) + 0.0


def _moment_as_text(vr: str, value: Value) -> str | None:
    writers: Mapping[str, tuple[type, Callable[..., str]]] = {
        "DA": (date, lambda day: day.strftime("%Y%m%d")),
        "TM": (time, time_string),
        "DT": (datetime, date_time_string),
    }
    if vr == "TM" and isinstance(value, datetime):
        return time_string(value)
    if vr in writers and isinstance(value, writers[vr][0]):
        return writers[vr][1](value)
    return None


def _as_text(vr: str, value: Value, keyword: str) -> str:
    moment = _moment_as_text(vr, value)
    if moment is not None:
        return moment
    if isinstance(value, str):
        return value
    if vr == "PN" and isinstance(value, PersonName):
        return person_name(value)
    if vr == "DS" and isinstance(value, int | float):
        return decimal_string(value)
    if vr == "IS" and isinstance(value, int):
        return str(value)
    raise ValueNotAllowedError(f"not a value of {vr}", where=keyword, was=type(value).__name__)


def _check_text(vr: str, text: str, keyword: str) -> None:
    longest = _MAX_CHARACTERS.get(vr)
    if longest is not None and len(text) > longest:
        raise ValueTooLongError(
            f"longer than the {longest} characters of {vr}",
            where=keyword,
            was=f"{len(text)} characters",
            fix="shorten it at its source",
        )
    pattern = _PATTERNS.get(vr)
    if pattern is not None and not pattern.fullmatch(text):
        raise ValueNotAllowedError(f"characters or form that {vr} does not allow", where=keyword)
    if vr in {"LT", "ST", "UT"}:
        if _CONTROL_IN_TEXT.search(text):
            raise ValueNotAllowedError("a control character", where=keyword, fix="remove it at its source")
    elif _CONTROL.search(text) or "\\" in text:
        raise ValueNotAllowedError("a control character or backslash", where=keyword, fix="remove it at its source")
    if vr in {"AE", "UR"} and not text.isascii():
        raise ValueNotAllowedError(f"{vr} holds ASCII only", where=keyword)


def _check_person_name(text: str, keyword: str) -> None:
    groups = text.split("=")
    if len(groups) > 3:
        raise ValueNotAllowedError("more than three component groups in a name", where=keyword)
    if _CONTROL.search(text) or "\\" in text:
        raise ValueNotAllowedError("a control character or backslash in a name", where=keyword)
    for group in groups:
        if len(group) > _GROUP_CHARACTERS:
            raise ValueTooLongError(
                "a name group longer than 64 characters", where=keyword, was=f"{len(group)} characters"
            )
        if group.count("^") >= _COMPONENTS:
            raise ValueNotAllowedError("more than five components in a name", where=keyword)
