"""Errors of times that name no moment, or two."""

from __future__ import annotations

from gateway.errors.document import DocumentError


class RepeatedHourError(DocumentError):
    """A local time without offset that the clocks of its zone showed twice."""

    code = "repeated-hour"
    explanation = (
        "When clocks go back, one hour is shown twice. A time in it without an offset from UTC could be either of two "
        "moments, and two pictures could change their order. Only a person who was there can say which: write the time "
        "with the offset that applied. The message names both."
    )


class SkippedHourError(DocumentError):
    """A local time that the clocks of its zone never showed."""

    code = "skipped-hour"
    explanation = (
        "When clocks go forward, one hour is left out. No clock that follows the zone ever showed a time in it, so "
        "either the zone is wrong or the device's clock did not follow it. Write the time with the offset that "
        "applied, or mend the zone."
    )
