"""Reflectivity of a spike on a standardized A-scan, in percent of the initial spike, with its class.

Five classes as taught for standardized echography; a boundary belongs to the higher class. Another split into thirds is
in use as well, so the scheme travels with the class (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from typing import Final

from gateway.errors.measurement import MeasurementError, ReflectivityNotStandardizedError
from gateway.model.a_scan import AScanSettings, Reflectivity, ReflectivityClass, StructureEcho
from gateway.model.capture import Capture
from gateway.model.exam import Exam, HeldPart

SCHEME: Final = "five classes: 0-5, 5-40, 40-60, 60-80, 80-100 % of the initial spike, lower bound inclusive"
_LOWER_BOUNDS: Final = (5.0, 40.0, 60.0, 80.0)


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


def reflectivity(percent: float, settings: AScanSettings | None, text: str = "") -> Reflectivity:
    """Return the class of a spike's height.

    Parameters
    ----------
    percent : float
        Of the initial spike, 0 to 100.
    text : str
        Its digits as displayed.

    Raises
    ------
    ReflectivityNotStandardizedError, MeasurementError
    """
    sensitivity_db = required_sensitivity_db(settings)
    if not 0.0 <= percent <= 100.0:
        raise MeasurementError(
            "a spike is 0 to 100 % of the initial spike",
            was=f"{percent:g} %",
            fix="write the percent as displayed, the initial spike being 100",
        )
    found = tuple(ReflectivityClass)[bisect_right(_LOWER_BOUNDS, percent)]
    return Reflectivity(percent, sensitivity_db, found, SCHEME, text)


def difference_db(reference_gain_db: float, gain_db: float, settings: AScanSettings | None) -> float:
    """Return how much weaker an echo is than a reference: the gain that lifts it to the same height, less the other's.

    Spike heights themselves give no decibels, because the amplifier of a standardized A-scan is not logarithmic.

    Raises
    ------
    ReflectivityNotStandardizedError
    """
    required_sensitivity_db(settings)
    return gain_db - reference_gain_db


def echoes_of(exam: Exam) -> tuple[tuple[StructureEcho, ...], tuple[HeldPart, ...]]:
    """Return what the exam's standardized A-scans tell of structures; what has no meaning is held, the rest goes on."""
    found: list[StructureEcho] = []
    held: list[HeldPart] = []
    for capture in exam.captures:
        try:
            found.extend(structure_echoes(capture))
        except MeasurementError as error:
            part = f"captures[{capture.number - 1}].a_scan"
            error.where = error.where or part
            held.append(HeldPart(part, f"{capture.id} reflectivity", error))
    return tuple(found), tuple(held)


def structure_echoes(capture: Capture) -> Iterator[StructureEcho]:
    """Yield what the standardized A-scan of a capture tells of its structures, in the order in which it is stated.

    Raises
    ------
    ReflectivityNotStandardizedError, MeasurementError
    """
    settings = capture.a_scan
    for spike in settings.spikes if settings else ():
        found = reflectivity(spike.percent, settings, spike.text)
        yield StructureEcho(capture.id, spike.structure, found.tissue_sensitivity_db, found)
    for stated in settings.differences if settings else ():
        weaker_by_db = difference_db(stated.reference_gain_db, stated.gain_db, settings)
        yield StructureEcho(
            capture.id,
            stated.structure,
            required_sensitivity_db(settings),
            weaker_by_db=weaker_by_db,
            reference=stated.reference,
            gain_db=stated.gain_db,
            reference_gain_db=stated.reference_gain_db,
        )
