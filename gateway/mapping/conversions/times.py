"""Dates, times and moments from the form that a source writes them in."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Annotated, Any, ClassVar
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field

from gateway.errors.mapping import ConversionUnclearError
from gateway.mapping.conversions.base import ConversionFields, ParameterText, contradiction, folded
from gateway.mapping.conversions.time_forms import MONTHS, TimeForm, month_numbers, time_form
from gateway.mapping.scalars import number, whole_number
from gateway.model.laterality import Eye

_NOON = 12


class FormFields(ConversionFields):
    """The form in which a source writes dates and times.

    Parts are YYYY YY MMM MM M DD D HH H hh h mm ss F AP Z: MMM a month's name, hh and h hours with AP (am, pm), F
    digits of a fraction of a second, Z an offset from UTC; any other letter stands between ' and '.
    """

    is_personal: ClassVar[bool] = True

    form: ParameterText = Field(
        description="Form of the text, of YYYY YY, MM M or MMM (a month's name), DD D, HH H or hh h with AP (am, pm), "
        "mm, ss, F (fraction of a second), Z (offset from UTC); other letters between ' and ': HH'h'mm for 14h05.",
        examples=["DD.MM.YYYY", "D/M/YY", "D MMM YYYY"],
    )

    def read_form(self) -> TimeForm:
        """Return the form, ready to read."""
        return time_form(self.form, self.name)

    def parts(self, text: str) -> dict[str, str]:
        """Return what stands in a text of this form."""
        found = self.read_form().pattern.fullmatch(text.strip())
        if not found:
            raise self.refused(f"this is not of the form {self.form}", text, "mend the text, or state its form")
        return found.groupdict()

    def clock(self, parts: dict[str, str], text: str) -> time:
        """Return the time of day, to the second; a part that the form does not have is 0."""
        hour = int(parts.get("hour") or parts.get("half_day_hour") or 0)
        if self.read_form().has_half_day_hour:
            if not 1 <= hour <= _NOON:
                raise self.refused("no such hour before or after noon", text, "hours of half a day run from 1 to 12")
            hour = hour % _NOON + (_NOON if parts["half_day"].lower().startswith("p") else 0)
        try:
            return time(hour, int(parts.get("minute", 0)), int(parts.get("second", 0)))
        except ValueError:
            raise self.refused("no such time of day", text, "mend the text, or state its form") from None


class DatedFields(FormFields):
    """The form of a date, and what its short year and month's name mean."""

    language: ParameterText = Field("", description="Language of months' names (MMM).", examples=["en"])
    pivot: Annotated[int, whole_number(1800, 2100)] | None = Field(
        None, description="First of the hundred years that a year of two digits (YY) lies in.", examples=[1930]
    )

    def check_date(self) -> None:
        """Refuse a form without a whole date, and parameters that do not go with it."""
        form = self.read_form()
        if not form.has_date:
            raise contradiction(f"{self.name}: the form has no whole date", repr(self.form[:60]))
        if form.has_short_year != (self.pivot is not None):
            raise contradiction(
                f"{self.name}: YY and pivot belong together", repr(self.form[:60]), "state both or none"
            )
        if form.has_month_name != bool(self.language):
            raise contradiction(
                f"{self.name}: MMM and language belong together", repr(self.form[:60]), "state both or none"
            )
        if self.language and self.language not in MONTHS:
            raise contradiction(
                f"{self.name}: no months of this language are known", self.language[:20], f"use {', '.join(MONTHS)}"
            )

    def day(self, parts: dict[str, str], text: str) -> date:
        """Return the date."""
        short, first = parts.get("short_year"), self.pivot or 0
        year = first + (int(short) - first) % 100 if short else int(parts["year"])
        if self.language:
            month = month_numbers(self.language).get(folded(parts["month_name"]), 0)
        else:
            month = int(parts["month"])
        try:
            return date(year, month, int(parts["day"]))
        except ValueError:
            raise self.refused("no such day", text, "mend the text, or state its form") from None


class DateFields(DatedFields):
    """Read a date in a stated form and write it as YYYY-MM-DD.

    A year of two digits needs ``pivot``, a month's name its ``language``.
    """

    name: ClassVar[str] = "date"

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse a form that is no date."""
        self.check_date()
        if self.read_form().kinds - {"year", "month", "day"}:
            raise contradiction("date: the form has a time", repr(self.form[:60]), "use date_time")

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the date."""
        return self.day(self.parts(text), text).isoformat()


class TimeFields(FormFields):
    """Read a time of day in a stated form and write it as HH:MM:SS, with the fraction of a second as written."""

    name: ClassVar[str] = "time"

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse a form that is no time."""
        _check_time(self)
        if self.read_form().has_any_date or "offset" in self.read_form().kinds:
            raise contradiction("time: the form has a date or an offset", repr(self.form[:60]), "use date_time")

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the time."""
        parts = self.parts(text)
        return self.clock(parts, text).isoformat("seconds") + _fraction(parts)


class DateTimeFields(DatedFields):
    """Read a moment in a stated form and write it with its offset from UTC.

    The offset stands in the text (Z in the form) or follows from the stated ``zone``; a clock time that the zone had
    twice or never is an error. With neither, the moment has no offset, and session.time_zone or the site's own zone
    decides. ``clock_offset_s`` is added to what the device's clock shows; a clock that ran ahead is better stated once,
    as session.device.clock_ahead_s. A form without seconds means the beginning of the minute.
    """

    name: ClassVar[str] = "date_time"

    zone: ParameterText = Field(
        "", description="Time zone of the clock, by its IANA name.", examples=["Europe/Helsinki"]
    )
    clock_offset_s: Annotated[float, number(-31_622_400, 31_622_400)] = Field(
        0.0, description="Whole seconds to add, where the device's clock is known to be slow (fast: negative)."
    )

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse a form that is no moment."""
        self.check_date()
        _check_time(self)
        if self.zone and "offset" in self.read_form().kinds:
            raise contradiction(
                "date_time: either Z in the form or zone", repr(self.form[:60]), "leave one of them out"
            )
        if self.zone and self.zone not in _zones():
            raise contradiction(
                "date_time: no such time zone", repr(self.zone[:40]), "use an IANA name: Europe/Helsinki"
            )
        if not self.clock_offset_s.is_integer():
            raise contradiction("date_time: clock_offset_s is not whole", f"{self.clock_offset_s:g}")

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the moment."""
        parts = self.parts(text)
        shown = datetime.combine(self.day(parts, text), self.clock(parts, text))
        try:
            clock = shown + timedelta(seconds=int(self.clock_offset_s))
            offset = self._zone_offset(clock, text) if self.zone else self._stated_offset(parts.get("offset"), text)
        except OverflowError:
            raise self.refused("no such moment", text, "mend the text, or state its form") from None
        return f"{clock.isoformat(timespec='seconds')}{_fraction(parts)}{offset}"

    def _stated_offset(self, written: str | None, text: str) -> str:
        if written in {None, "Z"}:
            return written or ""
        hours, minutes = int(written[1:3]), int(written[3:].lstrip(":") or 0)
        if minutes >= 60 or not -12 * 60 <= (hours * 60 + minutes) * (-1 if written[0] == "-" else 1) <= 14 * 60:
            raise self.refused("no such offset from UTC", text, "offsets run from -12:00 to +14:00 (PS3.5 6.2)")
        return f"{written[0]}{hours:02d}:{minutes:02d}"

    def _zone_offset(self, clock: datetime, text: str) -> str:
        zone = ZoneInfo(self.zone)
        first, second = (clock.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if first.utcoffset() != second.utcoffset():
            is_there = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == clock
            what = "the zone's clocks showed this time twice" if is_there else "the zone's clocks skipped this time"
            raise self.refused(what, text, "take a source that states the offset from UTC", ConversionUnclearError)
        offset = first.isoformat(timespec="seconds")[19:]
        if not re.fullmatch("[+-][0-9]{2}:[0-9]{2}", offset):
            raise self.refused("the zone had no offset of whole minutes then", text, "check the year")
        return offset


def _check_time(fields: FormFields) -> None:
    kinds = fields.read_form().kinds
    if not {"hour", "minute"} <= kinds or ("fraction" in kinds and "second" not in kinds):
        raise contradiction(f"{fields.name}: the form has no hour and minute", repr(fields.form[:60]))


def _fraction(parts: dict[str, str]) -> str:
    return f".{parts['fraction']}" if parts.get("fraction") else ""


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())
