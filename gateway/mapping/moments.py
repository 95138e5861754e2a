"""Dates and moments of a document."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Annotated

from gateway.errors.document import OffsetMissingError, ValueNotUnderstoodError
from gateway.mapping.scalars import Rule, refusal, text_of


def _date(value: object) -> date:
    text = text_of(value, "a date")
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text, re.ASCII) and text >= "1800":
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise refusal(ValueNotUnderstoodError, "this is not a date", was=text, fix="write YYYY-MM-DD")


_DATE_PATTERN = "[0-9]{4}-[0-9]{2}-[0-9]{2}"
Date = Annotated[
    date,
    Rule(_date, {"type": "string", "format": "date", "pattern": f"^{_DATE_PATTERN}$"}),
]

_MOMENT_PATTERN = _DATE_PATTERN + "T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\\.[0-9]{1,6})?"
_OFFSET_PATTERN = "(?:Z|[+-][0-9]{2}:[0-9]{2})"


def true_time(shown: datetime, clock_ahead_s: float | None) -> datetime:
    """Return the moment at which a clock that runs ahead by so many seconds showed a time."""
    return shown - timedelta(seconds=clock_ahead_s or 0)


def _moment(value: object) -> datetime:
    text = text_of(value, "a date and time")
    if re.fullmatch(_MOMENT_PATTERN.replace("T", "[T ]", 1), text, re.ASCII):
        raise refusal(
            OffsetMissingError,
            "the offset from UTC is missing",
            was=text,
            fix="add it, e.g. +01:00, or Z for UTC; or state the zone: session.time_zone, or time_zone of the settings",
        )
    try:
        if re.fullmatch(_MOMENT_PATTERN + _OFFSET_PATTERN, text, re.ASCII) and text >= "1900":
            moment = datetime.fromisoformat(text)
            # Offsets that are in use, PS3.5 6.2 (VR DT).
            if timedelta(hours=-12) <= (moment.utcoffset() or timedelta()) <= timedelta(hours=14):
                return moment
    except ValueError:
        pass
    raise refusal(
        ValueNotUnderstoodError, "this is not a date and time", was=text, fix="write it like 2026-03-02T09:30:00+01:00"
    )


Moment = Annotated[
    datetime,
    Rule(_moment, {"type": "string", "pattern": f"^{_MOMENT_PATTERN.replace('T', '[T ]', 1)}{_OFFSET_PATTERN}?$"}),
]
"""With its offset from UTC when it is read here; `local_times` adds it before where a zone is stated."""
