"""Uncertainty in the measurement report (PS3.16 TID 310)."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pydicom
import pytest
from pydicom.dataset import Dataset
from pydicom.sr.codedict import codes

from gateway.acoustics.measure import measure
from gateway.builders.sr.report import build_measurement_report
from gateway.mapping.repeatability import load_repeatability
from gateway.model.exam import MeasuredExam
from gateway.model.measurement import Measurement
from gateway.model.session import Probe
from gateway.model.uncertainty import Uncertainty, UncertaintyComponent
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, an_exam, built_images

UPPER, LOWER = codes.SCT.RangeOfUpperMeasurementUncertainty, codes.SCT.RangeOfLowerMeasurementUncertainty


def exam_with_uncertainties(**changes: object) -> MeasuredExam:
    """The invented exam, measured by the measure step itself."""
    measurements = tuple(value.measurement for value in a_measured_exam().values)
    exam = an_exam(measurements=measurements, **changes)
    session = dataclasses.replace(exam.session, probe=Probe("SECTOR_MECH", 10.0, 2.0))
    measured = measure(dataclasses.replace(exam, session=session), load_repeatability())
    assert measured.values
    return measured


def report(measured: MeasuredExam, folder: Path) -> Dataset:
    return pydicom.dcmread(build_measurement_report(measured, built_images(measured.exam), a_context(folder)).path)


def numbers(item: Dataset) -> list[Dataset]:
    """Every NUM directly below a group."""
    found = []
    for child in item.get("ContentSequence", []):
        if child.ValueType == "NUM" and child.RelationshipType == "CONTAINS":
            found.append(child)
        found.extend(numbers(child) if child.ValueType == "CONTAINER" else [])
    return found


def named(item: Dataset, code: object) -> list[Dataset]:
    return [
        child
        for child in item.get("ContentSequence", [])
        if "ConceptNameCodeSequence" in child and child.ConceptNameCodeSequence[0].CodeValue == code.value  # type: ignore[attr-defined]
    ]


def unit_of(item: Dataset) -> str:
    return str(item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue)


def value_of(item: Dataset) -> float:
    measured = item.MeasuredValueSequence[0]
    return float(measured.get("FloatingPointValue", measured.NumericValue))


def test_each_range_stands_below_its_number_in_the_same_unit(tmp_path: Path) -> None:
    measured = exam_with_uncertainties()
    wanted = []
    for value in measured.values:
        for uncertainty in (value.uncertainty, value.corrected.uncertainty if value.corrected else None):
            if uncertainty is not None and uncertainty.is_stated:
                wanted.append(uncertainty.expanded)
    seen = []
    for number in numbers(report(measured, tmp_path)):
        for upper, lower in zip(named(number, UPPER), named(number, LOWER), strict=True):
            assert upper.RelationshipType == lower.RelationshipType == "HAS PROPERTIES"
            assert unit_of(upper) == unit_of(lower) == unit_of(number)
            assert value_of(upper) == value_of(lower)
            seen.append(value_of(upper))
    assert sorted(seen) == pytest.approx(sorted(wanted))
    assert len(wanted) >= 3


def test_the_budget_says_what_is_included_and_what_is_not(tmp_path: Path) -> None:
    texts = [
        item.TextValue
        for number in numbers(report(exam_with_uncertainties(), tmp_path))
        for item in named(number, codes.DCM.Comment)
        if item.TextValue.startswith("expanded uncertainty")
    ]
    assert texts
    for text in texts:
        assert "k = 2, about 95 %" in text
        assert "calipers to the pixel: standard uncertainty" in text or "repeats: standard uncertainty" in text
        assert "not included: refraction" in text or "came without its calipers" in text


def test_a_number_of_which_nothing_is_known_says_so_and_has_no_range(tmp_path: Path) -> None:
    transcribed = next(v.measurement for v in a_measured_exam().values if not v.measurement.points)
    bare = dataclasses.replace(transcribed, repeats=())
    exam = an_exam(measurements=(bare,))
    (number,) = numbers(report(measure(exam), tmp_path))
    assert named(number, UPPER) == []
    (comment,) = [c for c in named(number, codes.DCM.Comment) if "uncertainty" in c.TextValue]
    assert comment.TextValue.startswith("uncertainty not stated")


def test_the_displayed_digits_and_the_full_corrected_value_are_kept(tmp_path: Path) -> None:
    measured = exam_with_uncertainties()
    corrected = [v for v in measured.values if v.corrected]
    assert corrected
    by_value = {round(value_of(n), 9) for n in numbers(report(measured, tmp_path))}
    for value in corrected:
        assert round(value.corrected.quantity.value, 9) in by_value  # type: ignore[union-attr]
        assert value.value.text == _stated(value.measurement)


def _stated(measurement: Measurement) -> str:
    assert measurement.displayed is not None
    return measurement.displayed.text


def test_a_range_is_written_with_the_digits_that_the_report_shows(tmp_path: Path) -> None:
    """An uncertainty is rounded up (JCGM 100:2008 7.2.6), so its digits are not always the nearest ones."""
    uncertainty = Uncertainty((UncertaintyComponent("spread", 0.0615, "by hand"),), standard=0.0615, text="0.13")
    value = dataclasses.replace(a_measured_exam().values[0], uncertainty=uncertainty, corrected=None, biometry=())
    exam = an_exam(measurements=(value.measurement,))
    number = numbers(report(MeasuredExam(exam, (value,)), tmp_path))[0]
    (upper,) = named(number, UPPER)
    measured = upper.MeasuredValueSequence[0]
    assert str(measured.NumericValue) == "0.13"
    assert measured.FloatingPointValue == pytest.approx(0.123)
