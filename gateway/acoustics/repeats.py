"""Repeated measurements: mean and spread."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from gateway.errors.measurement import MeasurementError
from gateway.model.measurement import Quantity, Unit


def mean_and_deviation(repeats: Sequence[Quantity]) -> tuple[float, float]:
    """Return mean and sample standard deviation of repeats in one unit.

    Raises
    ------
    MeasurementError
        For fewer than two repeats or mixed units.
    """
    if len(repeats) < 2:
        raise MeasurementError("a spread needs two repeats or more", was=str(len(repeats)))
    if len({quantity.unit for quantity in repeats}) > 1:
        raise MeasurementError("repeats in different units", fix="write all repeats in one unit")
    values = [quantity.value for quantity in repeats]
    return statistics.fmean(values), statistics.stdev(values)


def shown_mean_and_deviation(repeats: Sequence[Quantity]) -> tuple[Quantity, Quantity]:
    """Return mean and sample standard deviation with one digit more than the repeats were displayed with.

    Raises
    ------
    MeasurementError
        As `mean_and_deviation`.
    """
    unit = repeats[0].unit if repeats else Unit.MM
    places = 1 + max((len(quantity.text.partition(".")[2]) for quantity in repeats), default=0)
    mean, deviation = (Quantity(value, unit, f"{value:.{places}f}") for value in mean_and_deviation(repeats))
    return mean, deviation


def repeatability_95(standard_deviation: float) -> float:
    """Return the difference that two readings stay below in 95 % of pairs: ``1.96 sqrt(2) SD``.

    A change smaller than it may be the readings' own spread.
    """
    return 1.96 * math.sqrt(2.0) * standard_deviation


def deviation_of_one(half_width_95: float) -> float:
    """Return the standard deviation of one reading from 95 % limits of the difference of two: the inverse."""
    return half_width_95 / (1.96 * math.sqrt(2.0))
