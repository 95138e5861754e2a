"""Classes of internal reflectivity of a standardized A-scan: 0-5, 5-40, 40-60, 60-80, 80-100 % of the initial spike
(teaching of standardized echography, common practice); a boundary belongs to the higher class."""

from __future__ import annotations

import pytest

from gateway.acoustics.reflectivity import difference_db, reflectivity
from gateway.errors.measurement import MeasurementError, ReflectivityNotStandardizedError
from gateway.model.a_scan import AScanSettings, ReflectivityClass

STANDARDIZED = AScanSettings(True, 72.0)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        (0, "extremely low"), (4.9, "extremely low"), (5, "low"), (39.9, "low"), (40, "medium"), (42, "medium"),
        (60, "medium-high"), (80, "high"), (85, "high"), (100, "high"),
    ],
)  # fmt: skip
def test_classes_with_their_lower_bounds(percent, expected):
    found = reflectivity(percent, STANDARDIZED)
    assert found.reflectivity_class is ReflectivityClass(expected.replace(" ", "-"))
    assert found.words == f"{percent:g} % of the initial spike: {expected}, at tissue sensitivity 72 dB"


@pytest.mark.parametrize("settings", [None, AScanSettings(), AScanSettings(True), AScanSettings(False, 72.0)])
def test_without_standardization_or_sensitivity_there_is_no_reflectivity(settings):
    with pytest.raises(ReflectivityNotStandardizedError):
        reflectivity(42, settings)
    with pytest.raises(ReflectivityNotStandardizedError):
        difference_db(60, 74, settings)


@pytest.mark.parametrize("percent", [-0.1, 100.1, float("nan")])
def test_what_is_no_percent_of_the_initial_spike_is_refused(percent):
    with pytest.raises(MeasurementError):
        reflectivity(percent, STANDARDIZED)


def test_decibels_come_from_gains():
    # Retina to sclera 13.9 dB on average: Blumenkranz and Byrne, Ophthalmology 1982;89:821-31.
    assert difference_db(58.0, 71.9, STANDARDIZED) == pytest.approx(13.9)
