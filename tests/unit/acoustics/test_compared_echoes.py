"""Reflectivity of two visits: compared at one tissue sensitivity alone, decibels against one structure alone."""

from __future__ import annotations

import pytest

from gateway.acoustics.comparison import compare
from gateway.model.comparison import Comparison, Verdict
from gateway.model.prior import PriorMeasurement
from gateway.standard.codes import concept
from tests.unit.acoustics.test_comparison import a_group, a_report


def percent(value: float, sensitivity_db: float | None = 72.0) -> PriorMeasurement:
    return PriorMeasurement(
        concept("sr", "reflectivity"),
        value,
        "%",
        f"{value:g}",
        "reflectivity",
        method=concept("sr", "standardized-a-scan"),
        tissue_sensitivity_db=sensitivity_db,
    )


def weaker(value: float, reference: str) -> PriorMeasurement:
    return PriorMeasurement(
        concept("sr", "echo-difference"),
        value,
        "dB",
        f"{value:g}",
        "difference of echoes",
        method=concept("sr", "standardized-a-scan"),
        tissue_sensitivity_db=72.0,
        reference=reference,
    )


def two(one: PriorMeasurement, other: PriorMeasurement) -> Comparison:
    return compare([a_report(0, a_group(one)), a_report(12, a_group(other))])


def test_percents_at_one_tissue_sensitivity_are_compared() -> None:
    (found,) = two(percent(42), percent(60)).differences
    assert found.difference == pytest.approx(18)
    assert found.verdict is Verdict.NO_BAND
    assert found.remarks == ("contact not stated",)


def test_percents_at_different_tissue_sensitivities_are_not_comparable() -> None:
    (found,) = two(percent(42), percent(60, 76.0)).differences
    assert found.verdict is Verdict.NOT_COMPARABLE
    assert found.reasons == ("tissue sensitivities differ: 72 dB and 76 dB",)


def test_a_tissue_sensitivity_that_one_report_leaves_out_is_told() -> None:
    (found,) = two(percent(42, None), percent(60)).differences
    assert "tissue sensitivity stated at the later visit only" in found.remarks


def test_decibels_against_another_structure_are_another_quantity() -> None:
    assert [row.quantity for row in two(weaker(14, "sclera"), weaker(12, "sclera")).differences] == [
        "difference of echoes, against sclera"
    ]
    assert two(weaker(14, "sclera"), weaker(12, "cornea")).differences == ()
