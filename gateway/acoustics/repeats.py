"""Repeated measurements: mean and spread."""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from gateway.errors.measurement import MeasurementError
from gateway.model.measurement import Quantity


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
