"""Rules that turn one text of a document into one value, as pydantic types with their JSON Schema.

Every rule says what a person should write instead. A rule never repairs a value: what it cannot read, it refuses.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from typing import Annotated, Any, TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from gateway.errors.document import (
    DecimalCommaError,
    DocumentError,
    FieldMissingError,
    TextNotWritableError,
    UidNotValidError,
    ValueNotUnderstoodError,
    ValueOutOfRangeError,
    WordNotKnownError,
)
from gateway.standard.codes import words

JsonSchema = dict[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """How one text becomes one value, and how JSON Schema says it; used as ``Annotated[float, rule]``.

    Parameters
    ----------
    read : callable
        From what stands in the document (a text, list, mapping or None) to the value; raises `refusal`.
    schema : dict
        The same rule as far as JSON Schema 2020-12 can say it.
    """

    read: Callable[[object], object]
    schema: JsonSchema | Callable[[], JsonSchema]
    """A callable where the words are read from a table only when a schema is asked for."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(self, _core: CoreSchema, _handler: GetJsonSchemaHandler) -> JsonSchema:
        return dict(self.schema() if callable(self.schema) else self.schema)


def refusal(error: type[DocumentError], what: str, *, was: object = "", fix: str = "") -> PydanticCustomError:
    """Return what a validator raises; `mapping.document.problems` turns it into `error` with its place."""
    shown = str(was)
    if len(shown) > _LONGEST_SHOWN:
        shown = f"{shown[:_LONGEST_SHOWN]}..."
    # The message template is not used: braces in a value must not be read as a format.
    return PydanticCustomError("refused", "refused", {"error": error.code, "what": what, "was": shown, "fix": fix})


_LONGEST_SHOWN = 80


def _use_one_of(text: str, allowed: Sequence[str]) -> str:
    near = get_close_matches(text.lower(), allowed, n=1) if len(text) <= _LONGEST_SHOWN else []
    return (f"did you mean {near[0]}? " if near else "") + "use " + ", ".join(allowed)


def text_of(value: object, expected: str) -> str:
    """Return the text of a scalar.

    Raises
    ------
    PydanticCustomError
        If a mapping, a list or nothing stands there.
    """
    if isinstance(value, str):
        return value
    kind = {dict: "a mapping", list: "a list", type(None): "nothing"}.get(type(value), type(value).__name__)
    raise refusal(ValueNotUnderstoodError, f"{expected} is expected here", was=kind, fix=f"write {expected}")


# ---------------------------------------------------------------- text


def single_line(longest: int, *, is_empty_allowed: bool = True) -> Callable[[object], str]:
    """Return the rule of a short text: VR LO (64), SH (16) and their kin (PS3.5 6.2)."""

    def read(value: object) -> str:
        text = text_of(value, "a text")
        if not is_empty_allowed and not text.strip():
            raise refusal(FieldMissingError, "nothing is stated here", fix="write the value")
        if len(text) > longest:
            raise refusal(
                TextNotWritableError, "the text is too long", was=f"{len(text)} characters", fix=_at_most(longest)
            )
        if "\\" in text:
            raise refusal(TextNotWritableError, "a backslash in a short text", fix="write it without backslash")
        if re.search("[\t\n\r\x0b\x0c\x1b]", text):
            raise refusal(TextNotWritableError, "a tab or line end in a short text", fix="write it on one line")
        if text != text.strip(" "):
            raise refusal(TextNotWritableError, "a space at the beginning or end of a text", fix="delete it")
        return text

    return read


def _at_most(longest: int) -> str:
    return f"at most {longest} characters"


def _long_text(longest: int) -> Callable[[object], str]:
    def read(value: object) -> str:
        text = text_of(value, "a text")
        if len(text) > longest:
            raise refusal(
                TextNotWritableError, "the text is too long", was=f"{len(text)} characters", fix=_at_most(longest)
            )
        return text

    return read


def required_line(longest: int) -> Rule:
    """Return the rule of a short text that must say something."""
    return Rule(single_line(longest, is_empty_allowed=False), {**_SHORT, "minLength": 1, "maxLength": longest})


_SHORT = {"type": "string", "pattern": r"^[^\\\t\n\r]*$"}
Text64 = Annotated[str, Rule(single_line(64), {**_SHORT, "maxLength": 64})]
Text16 = Annotated[str, Rule(single_line(16), {**_SHORT, "maxLength": 16})]
Required64 = Annotated[str, required_line(64)]
Required16 = Annotated[str, required_line(16)]
Comment = Annotated[str, Rule(_long_text(10240), {"type": "string", "maxLength": 10240})]
"""VR LT (PS3.5 6.2)."""
Label = Annotated[str, Rule(_long_text(1024), {"type": "string", "maxLength": 1024})]
"""VR ST (PS3.5 6.2)."""


def matching(pattern: str, what: str, fix: str, error: type[DocumentError] = ValueNotUnderstoodError) -> Rule:
    """Return the rule of a text that must match a pattern as a whole."""

    def read(value: object) -> str:
        text = text_of(value, "a text")
        if not re.fullmatch(pattern, text):
            raise refusal(error, what, was=text, fix=fix)
        return text

    return Rule(read, {"type": "string", "pattern": f"^(?:{pattern})$"})


_ID_PATTERN = "[A-Za-z0-9_.-]{1,64}"


def _part_id(value: object) -> str:
    text = text_of(value, "an id")
    if not re.fullmatch(_ID_PATTERN, text):
        raise refusal(
            ValueNotUnderstoodError, "an id with other characters", was=text, fix="letters, digits, - _ . ; at most 64"
        )
    return text


PartId = Annotated[str, Rule(_part_id, {"type": "string", "pattern": f"^{_ID_PATTERN}$"})]


_UID_PATTERN = r"(?:0|[1-9][0-9]*)(?:\.(?:0|[1-9][0-9]*))*"


def _uid(value: object) -> str:
    text = text_of(value, "a UID")
    if len(text) > 64 or not re.fullmatch(_UID_PATTERN, text, re.ASCII) or not re.match(r"[012](?:\.|$)", text):
        raise refusal(
            UidNotValidError,
            "this is not a unique identifier",
            was=f"{len(text)} characters",
            fix="numbers separated by points, the first 0, 1 or 2, at most 64 characters",
        )
    return text


Uid = Annotated[str, Rule(_uid, {"type": "string", "pattern": f"^{_UID_PATTERN}$", "maxLength": 64})]


# ---------------------------------------------------------------- numbers

_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,4})?")
_NUMBER_PATTERN = r"^[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,4})?$"
_LONGEST_NUMBER = 40


def number_of(value: object) -> float:
    """Read a number with a decimal point.

    Raises
    ------
    PydanticCustomError
        For a comma, a unit, NaN, infinity, or anything else that is not a plain number.
    """
    text = text_of(value, "a number")
    if re.fullmatch(r"[+-]?[0-9]+(?:,[0-9]+)+(?:\.[0-9]+)?", text, re.ASCII):
        raise refusal(
            DecimalCommaError, "a comma in a number", was=text, fix="write a decimal point and no thousands sign"
        )
    if len(text) > _LONGEST_NUMBER or not _NUMBER.fullmatch(text):
        raise refusal(
            ValueNotUnderstoodError, "this is not a number", was=text, fix="digits and a decimal point, without unit"
        )
    number = float(text)
    if not math.isfinite(number):
        raise refusal(ValueOutOfRangeError, "no device gives a number this large", was=text, fix="check the exponent")
    return number


def number(
    low: float | None = None, high: float | None = None, *, above: float | None = None, below: float | None = None
) -> Rule:
    """Return the rule of a number between bounds: `low` and `high` are allowed values, `above` and `below` are not."""

    def read(value: object) -> float:
        found = number_of(value)
        allowed = (
            (low is None or found >= low)
            and (high is None or found <= high)
            and (above is None or found > above)
            and (below is None or found < below)
        )
        if not allowed:
            limits = [(low, "from"), (above, "above"), (high, "to"), (below, "below")]
            fix = "write a number " + " ".join(f"{word} {limit:g}" for limit, word in limits if limit is not None)
            raise refusal(ValueOutOfRangeError, "the number is out of range", was=value, fix=fix)
        return found

    bounds = {"minimum": low, "maximum": high, "exclusiveMinimum": above, "exclusiveMaximum": below}
    schema = {key: bound for key, bound in bounds.items() if bound is not None}
    return Rule(read, {"type": ["number", "string"], "pattern": _NUMBER_PATTERN, **schema})


def whole_number(low: int, high: int) -> Rule:
    """Return the rule of a whole number between two allowed bounds."""

    def read(value: object) -> int:
        text = text_of(value, "a whole number")
        if not re.fullmatch(r"[0-9]{1,9}", text, re.ASCII):
            raise refusal(ValueNotUnderstoodError, "this is not a whole number", was=text, fix="write digits only")
        if not low <= int(text) <= high:
            raise refusal(ValueOutOfRangeError, "the number is out of range", was=text, fix=f"write {low} to {high}")
        return int(text)

    schema = {"type": ["integer", "string"], "minimum": low, "maximum": high, "pattern": "^[0-9]{1,9}$"}
    return Rule(read, schema)


def _displayed_number(value: object) -> str:
    text = text_of(value, "a number")
    found = number_of(text)
    if len(text) > 16 or not re.fullmatch(r"[0-9]+(?:\.[0-9]+)?", text, re.ASCII):
        raise refusal(
            ValueNotUnderstoodError,
            "this is not a displayed number",
            was=text,
            fix="write the digits as displayed, up to 16",
        )
    if found > 1e6:
        raise refusal(ValueOutOfRangeError, "nothing in an eye is this large", was=text, fix="check number and unit")
    return text


DisplayedNumber = Annotated[
    str,
    Rule(
        _displayed_number,
        {
            "type": ["number", "string"],
            "minimum": 0,
            "maximum": 1e6,
            "maxLength": 16,
            "pattern": r"^[0-9]+(?:\.[0-9]+)?$",
        },
    ),
]
"""Digits kept as written, e.g. ``6.00``."""


def _clock_half_hours(value: object) -> int:
    text = text_of(value, "a clock hour")
    found = re.fullmatch(r"(1[0-2]|[1-9])(?::(00|30)|\.(0|5))?", text, re.ASCII)
    if not found:
        if "," in text:
            raise refusal(DecimalCommaError, "a comma in a clock hour", was=text, fix="write 3.5 or 3:30")
        raise refusal(
            ValueNotUnderstoodError,
            "this is not a clock hour",
            was=text,
            fix="write 1 to 12.5 in half hours: 3, 3.5 or 3:30",
        )
    return int(found[1]) * 2 + (found[2] == "30" or found[3] == "5")


_CLOCK_WORDS: list[object] = [
    value
    for hour in range(1, 13)
    for value in (hour, hour + 0.5, f"{hour}", f"{hour}.5", f"{hour}:00", f"{hour}:30", f"{hour}.0")
]
HalfHours = Annotated[int, Rule(_clock_half_hours, {"enum": _CLOCK_WORDS})]
"""A clock hour as `ClockHour.half_hours`."""


# ---------------------------------------------------------------- switches and words

_SWITCH = {"yes": True, "true": True, "no": False, "false": False}


def _switch(value: object) -> bool:
    text = text_of(value, "yes or no")
    if text not in _SWITCH:
        raise refusal(ValueNotUnderstoodError, "this is neither yes nor no", was=text, fix="write yes or no")
    return _SWITCH[text]


Switch = Annotated[bool, Rule(_switch, {"enum": [True, False, "yes", "no", "true", "false"]})]

E = TypeVar("E", bound=StrEnum)


def word_of(enumeration: type[E], but: Collection[E] = ()) -> Rule:
    """Return the rule of a field that takes one of the words of an enumeration, `but` left out."""
    allowed = [member.value for member in enumeration if member not in but]

    def read(value: object) -> E:
        text = text_of(value, "a word")
        if text not in allowed:
            raise refusal(WordNotKnownError, "this word is not known here", was=text, fix=_use_one_of(text, allowed))
        return enumeration(text)

    return Rule(read, {"enum": allowed})


def concept_word(group: str) -> Rule:
    """Return the rule of a field that takes a word of one group of coded concepts."""

    def read(value: object) -> str:
        text = text_of(value, "a word")
        if text not in words(group):
            raise refusal(
                WordNotKnownError, "this word is not known here", was=text, fix=_use_one_of(text, words(group))
            )
        return text

    return Rule(read, lambda: {"enum": list(words(group))})
