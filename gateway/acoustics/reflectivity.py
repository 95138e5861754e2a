"""Reflectivity of a spike on a standardized A-scan, in percent of the initial spike, with its class.

Five classes as taught for standardized echography; a boundary belongs to the higher class. Another split into thirds is
in use as well, so the scheme travels with the class (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from gateway.errors.measurement import MeasurementError, ReflectivityNotStandardizedError
from gateway.model.a_scan import AScanSettings

SCHEME: Final = "five classes: 0-5, 5-40, 40-60, 60-80, 80-100 % of the initial spike, lower bound inclusive"
_LOWER_BOUNDS: Final = (5.0, 40.0, 60.0, 80.0)


class ReflectivityClass(StrEnum):
    """Classes of internal reflectivity."""

    EXTREMELY_LOW = "extremely low"
    LOW = "low"
    MEDIUM = "medium"
    MEDIUM_HIGH = "medium-high"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class Reflectivity:
    """Reflectivity with everything that it rests on."""

    percent: float
    tissue_sensitivity_db: float
    reflectivity_class: ReflectivityClass
    scheme: str = SCHEME

    @property
    def words(self) -> str:
        """Percent, class and the setting behind them."""
        return (
            f"{self.percent:g} % of the initial spike: {self.reflectivity_class.value}, "
            f"at tissue sensitivity {self.tissue_sensitivity_db:g} dB"
        )


def required_sensitivity_db(settings: AScanSettings | None) -> float:
    """Return the tissue sensitivity of a standardized A-scan.

    Raises
    ------
    ReflectivityNotStandardizedError
    """
    if settings is None or not settings.standardized or settings.tissue_sensitivity_db is None:
        is_standardized = settings is not None and settings.standardized
        raise ReflectivityNotStandardizedError(
            "reflectivity needs a standardized A-scan at a stated tissue sensitivity",
            was="tissue sensitivity not stated" if is_standardized else "not stated to be standardized",
            fix="state a_scan with standardized: yes and tissue_sensitivity_db, or leave the percent out",
        )
    return settings.tissue_sensitivity_db


def reflectivity(percent: float, settings: AScanSettings | None) -> Reflectivity:
    """Return the class of a spike's height.

    Parameters
    ----------
    percent : float
        Of the initial spike, 0 to 100.

    Raises
    ------
    ReflectivityNotStandardizedError, MeasurementError
    """
    sensitivity_db = required_sensitivity_db(settings)
    if not 0.0 <= percent <= 100.0:
        raise MeasurementError("a spike is 0 to 100 % of the initial spike", was=f"{percent:g} %")
    found = tuple(ReflectivityClass)[bisect_right(_LOWER_BOUNDS, percent)]
    return Reflectivity(percent, sensitivity_db, found)


def spike_percent(height: float, initial_height: float) -> float:
    """Return a spike's height in percent of the initial spike's, both from the same baseline and in the same unit.

    Raises
    ------
    MeasurementError
        If there is no initial spike, or the spike is higher.
    """
    if not 0.0 <= height <= initial_height or initial_height <= 0.0:
        raise MeasurementError(
            "a spike is no higher than the initial spike",
            was=f"{height:g} of {initial_height:g}",
            fix="measure both from the baseline",
        )
    return 100.0 * height / initial_height


def difference_db(reference_gain_db: float, gain_db: float, settings: AScanSettings | None) -> float:
    """Return how much weaker an echo is than a reference: the gain that lifts it to the same height, less the other's.

    Spike heights themselves give no decibels, because the amplifier of a standardized A-scan is not logarithmic.

    Raises
    ------
    ReflectivityNotStandardizedError
    """
    required_sensitivity_db(settings)
    return gain_db - reference_gain_db
