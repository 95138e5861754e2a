"""Calendar months between visits, and the least-squares line through readings."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from gateway.model.comparison import Trend


def months_between(earlier: datetime, later: datetime) -> float:
    """Return the calendar months from one moment to a later one; a month begun counts by its share of days.

    From 15 January to 15 March are exactly two, whatever their days: so is follow-up counted (common practice).
    """
    whole = (later.year - earlier.year) * 12 + later.month - earlier.month
    if _months_after(earlier, whole) > later:
        whole -= 1
    begun, ended = _months_after(earlier, whole), _months_after(earlier, whole + 1)
    return whole + (later - begun) / (ended - begun)


def _months_after(moment: datetime, months: int) -> datetime:
    """Return the same day and time some months later, the month's last day where it has no such day."""
    year, month = divmod(moment.year * 12 + moment.month - 1 + months, 12)
    if year > datetime.max.year:
        return datetime.max
    return moment.replace(year=year, month=month + 1, day=min(moment.day, calendar.monthrange(year, month + 1)[1]))


def trend_of(moments: Sequence[datetime], values: Sequence[float], unit: str) -> Trend | None:
    """Return the least-squares line through three readings or more; None for fewer, or all at one moment.

    Parameters
    ----------
    moments : sequence of datetime
        In order of time.
    values : sequence of float
        In `unit`, one for each moment.
    """
    if len(values) < 3:
        return None
    months = np.array([months_between(moments[0], moment) for moment in moments])
    away = months - months.mean()
    if not np.any(away):
        return None
    slope = float(np.dot(away, np.array(values) - np.mean(values)) / np.dot(away, away))
    return Trend(slope, unit, float(months[-1]))
