"""Clock hours of the eye from hours, degrees or words of direction."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated, Any, ClassVar

from pydantic import Field

from gateway.mapping.conversions.base import ConversionFields, contradiction, folded
from gateway.mapping.scalars import matching, number
from gateway.model.laterality import Eye

_HOURS = re.compile(
    r"(?:h ?(?=[0-9.:]+$))?(?P<whole>1[0-2]|0?[1-9])(?:[:h](?P<minutes>[0-9]{2})|\.(?P<tenths>[0-9]))?"
    "(?: ?(?:h|hr|hrs|o'clock|o’clock|uhr))?"
)
_HALF_PAST = re.compile(r"half past (?P<whole>1[0-2]|[1-9])")
_DEGREES_PER_HALF_HOUR = Decimal(15)
_HALF_HOURS = 24
_UPWARD = {"superior": 0, "inferior": 180}
_SIDES = {"supero": 45, "": 90, "infero": 135}
"""Degrees from 12 o'clock towards the side that a word names."""


class ClockHourFields(ConversionFields):
    """Read a clock hour of the eye, as the examiner faces the patient: 3 o'clock is nasal in the right eye.

    From hours (3, 3h, H3, 3.5, 03:30, half past 3), from degrees whose zero and turning sense are stated, or from words
    (superior, inferonasal), of which those with a side need the eye. Anything between two half hours is an error.
    """

    name: ClassVar[str] = "clock_hour"

    form: Annotated[str, matching("hours|degrees|words", "a form of another kind", "write hours, degrees or words")] = (
        Field("hours", description="What the source writes: hours, degrees or words.")
    )
    zero_hour: Annotated[float, number(1, 12.5)] | None = Field(
        None, description="Clock hour at which the degrees are 0, e.g. 3; with form: degrees alone."
    )
    turn: Annotated[
        str,
        matching("clockwise|counter-clockwise", "a turning sense of another kind", "clockwise or counter-clockwise"),
    ] = Field("", description="How degrees count as the examiner faces the patient: clockwise or counter-clockwise.")
    tolerance_degrees: Annotated[float, number(0, below=7.5)] = Field(
        0.0, description="How far degrees may lie from the nearest half hour, which is 15 degrees from the next."
    )

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse degrees without their zero and turning sense."""
        is_whole = self.zero_hour is not None and bool(self.turn)
        is_empty = self.zero_hour is None and not self.turn and self.tolerance_degrees == 0
        if not (is_whole if self.form == "degrees" else is_empty):
            raise contradiction("clock_hour: zero_hour and turn belong to form: degrees, which needs both", self.form)
        if self.zero_hour is not None and not (self.zero_hour * 2).is_integer():
            raise contradiction("clock_hour: zero_hour is no half hour", f"{self.zero_hour:g}")

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the hour, as ``3`` or ``3:30``."""
        if self.form == "degrees":
            half_hours = self._from_degrees(text)
        elif self.form == "words":
            half_hours = self._from_words(text, eye)
        else:
            half_hours = self._from_hours(text)
        # Half hours of the dial run from 2 (1 o'clock) to 25 (12:30).
        hour, half = divmod((half_hours - 2) % _HALF_HOURS + 2, 2)
        return f"{hour}:30" if half else f"{hour}"

    def _from_hours(self, text: str) -> int:
        words = " ".join(text.casefold().split())
        found = _HALF_PAST.fullmatch(words)
        if found:
            return int(found["whole"]) * 2 + 1
        found = _HOURS.fullmatch(words)
        if not found:
            raise self.refused("this is not a clock hour", text, "write it like 3, 3h, H3, 3.5, 03:30 or half past 3")
        if found["minutes"] in {None, "00", "30"} and found["tenths"] in {None, "0", "5"}:
            return int(found["whole"]) * 2 + (found["minutes"] == "30" or found["tenths"] == "5")
        raise self._between(text)

    def _from_degrees(self, text: str) -> int:
        written = re.fullmatch(r"([+-]?[0-9]{1,3}(?:\.[0-9]{1,6})?) ?(?:°|deg|degrees)?", text.strip())
        degrees = Decimal(written[1]) if written else Decimal(999)
        if not -360 <= degrees <= 360:
            raise self.refused("this is not an angle in degrees", text, "write -360 to 360 with a decimal point")
        steps = (degrees / _DEGREES_PER_HALF_HOUR).to_integral_value()
        if abs(degrees - steps * _DEGREES_PER_HALF_HOUR) > Decimal(repr(self.tolerance_degrees)):
            raise self._between(text)
        sense = 1 if self.turn == "clockwise" else -1
        return int((self.zero_hour or 0) * 2) + sense * int(steps)

    def _from_words(self, text: str, eye: Eye | None) -> int:
        words = folded(text.replace("-", " "))
        if words in _UPWARD:
            return _HALF_HOURS + _UPWARD[words] // 15
        found = re.fullmatch("(supero|infero|superior|inferior|)[ ]?(nasal|temporal)", words)
        if not found:
            raise self.refused(
                "this word names no direction", text, "use superior, inferior, nasal, temporal, superonasal and so on"
            )
        if eye is None:
            raise self.refused("nasal and temporal are other hours in each eye", text, "state the eye first")
        degrees = _SIDES[found[1].replace("rior", "ro")]
        # Clockwise from 12 the nasal side comes first in the right eye, the temporal side in the left.
        is_first = (eye is Eye.RIGHT) == (found[2] == "nasal")
        return _HALF_HOURS + (degrees if is_first else -degrees) // 15

    def _between(self, text: str) -> Exception:
        return self.refused("this lies between two half hours", text, "write the half hour that is meant")
