"""Budgets of lengths by layers and by published corrections, against another library and against arithmetic by hand."""

from __future__ import annotations

import math

import pytest
from uncertainties import ufloat

from gateway.acoustics.axial_lengths import from_gates, with_second_lengths
from gateway.acoustics.measure import measured_value
from gateway.model.biometry import Gate, Implant, LengthFormula, Material
from gateway.model.capture import Capture, CaptureKind, LensStatus, VitreousStatus
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, TissueSpeed, Unit
from gateway.model.position import ProbePosition, Scan
from gateway.model.session import Probe

RECTANGLE = 1 / math.sqrt(3)
PULSE = Probe("SECTOR_MECH", 10, cycles=2)


def a_gate(
    segment: str, start_us: float, end_us: float, speed: float, tolerance: float | None = None, tissue: str = ""
):
    return Gate(segment, start_us, end_us, TissueSpeed(speed, tissue, "test", tolerance))


def a_capture(**state) -> Capture:
    return Capture("os-ax", CaptureKind.STILL, ("a.png",), Eye.LEFT, ProbePosition(Scan.A_SCAN), **state)


def by_gates(gates, probe: Probe = Probe("SECTOR_MECH", 10), **stated):  # noqa: B008 - frozen
    measurement = Measurement("m", "os-ax", MeasurementKind.AXIAL_LENGTH, gates=tuple(gates), **stated)
    return with_second_lengths(from_gates(measurement), a_capture(), probe)


def test_tolerances_of_speeds_and_times_are_combined_as_another_library_does():
    """Other library: uncertainties (PyPI), which follows shared variables by itself."""
    value = by_gates(
        [
            a_gate("anterior-chamber", 0.0, 4.6, 1532, 5, "aqueous"),
            a_gate("lens", 4.6, 10.3, 1641, 20, "lens"),
            a_gate("vitreous", 10.3, 30.7, 1532, 5, "aqueous"),
        ],
        gate_tolerance_us=0.02,
    )
    watery, lens = ufloat(1532, 5 * RECTANGLE), ufloat(1641, 20 * RECTANGLE)
    cornea, front, back, wall = (ufloat(time, 0.02 * RECTANGLE) for time in (0.0, 4.6, 10.3, 30.7))
    length = ((front - cornea) * watery + (back - front) * lens + (wall - back) * watery) / 2000
    assert value.value.value == pytest.approx(length.nominal_value)
    assert value.uncertainty.standard == pytest.approx(length.std_dev, rel=1e-9)
    assert value.biometry[0].uncertainty == value.uncertainty


def test_the_pulse_counts_where_its_cycles_are_stated():
    """Two cycles at 10 MHz last 0.2 us; each of the two echoes lies anywhere in it: 0.2 / sqrt(12) us each."""
    value = by_gates([a_gate("vitreous", 0.0, 20.0, 1532)], PULSE)
    (resolution,) = value.uncertainty.components
    assert resolution.name == "axial resolution"
    assert resolution.standard == pytest.approx(math.sqrt(2) * 0.2 / math.sqrt(12) * 1.532 / 2)


def test_an_echo_between_two_gates_of_one_speed_does_not_matter():
    one = by_gates([a_gate("vitreous", 0.0, 20.0, 1532)], gate_tolerance_us=0.05)
    two = by_gates([a_gate("vitreous", 0.0, 7.0, 1532), a_gate("vitreous", 7.0, 20.0, 1532)], gate_tolerance_us=0.05)
    assert two.uncertainty.standard == pytest.approx(one.uncertainty.standard)


def test_what_nobody_stated_is_named_as_left_out():
    value = by_gates([a_gate("lens", 0.0, 5.0, 1641, None, "lens"), a_gate("vitreous", 6.0, 20.0, 1532, 5)])
    assert [part.name for part in value.uncertainty.components] == ["speed of sound in segment vitreous"]
    assert value.uncertainty.not_included == (
        "speed of sound in lens (its tolerance is not stated)",
        "times of the echoes (their tolerance is not stated)",
        "resolution (cycles or bandwidth of the pulse not stated)",
        "repeatability (not stated)",
        "what lies between the gates (it belongs to no segment)",
    )


def test_without_any_statement_there_is_no_number():
    value = by_gates([a_gate("vitreous", 0.0, 20.0, 1532)])
    assert not value.uncertainty.is_stated
    assert value.uncertainty.text == ""


def corrected(formula: LengthFormula, reading: str, speed: float, implant: Implant | None = None, **state):
    repeats = tuple(Quantity(float(reading) + off, Unit.MM, f"{float(reading) + off:.2f}") for off in (-0.1, 0.0, 0.1))
    measurement = Measurement(
        "m", "os-ax", MeasurementKind.AXIAL_LENGTH, displayed=Quantity(float(reading), Unit.MM, reading),
        repeats=repeats, formula=formula, implant=implant, reading_m_per_s=speed,
    )  # fmt: skip
    return with_second_lengths(measured_value(measurement, None), a_capture(**state)).biometry[0]


def test_a_correction_passes_on_the_uncertainty_of_its_reading():
    """Slope of R^2 / (R - 0.35) at 23 mm, worked by hand: 1 - 0.35^2 / 22.65^2."""
    length = corrected(LengthFormula.HOFFER_1994_PHAKIC, "23.00", 1532)
    assert length.uncertainty.standard == pytest.approx(0.1 * (1 - 0.35**2 / 22.65**2), rel=1e-6)
    assert length.uncertainty.components[0].name == "reading: 3 repeats"
    assert any("no spread was published" in words for words in length.uncertainty.not_included)
    assert "rests on 3 repeats" in length.uncertainty.remark


def test_an_average_speed_scales_the_uncertainty_of_its_reading():
    length = corrected(LengthFormula.HOFFER_1994_PHAKIC_OIL, "33.10", 1555, vitreous=VitreousStatus.SILICONE_OIL)
    assert length.uncertainty.standard == pytest.approx(0.1 * 1139 / 1555, rel=1e-6)


def test_the_published_spread_of_a_factor_counts_as_published():
    """Standard deviation 0.01 of the factor 0.71 in seven eyes: Murray DC et al., Eye 1999."""
    length = corrected(LengthFormula.MURRAY_1999_OIL_1300, "33.10", 1550, vitreous=VitreousStatus.SILICONE_OIL)
    assert length.uncertainty.standard == pytest.approx(math.hypot(0.71 * 0.1, 33.10 * 0.01), rel=1e-6)
    assert [part.is_published for part in length.uncertainty.components] == [False, True]


def test_the_implant_is_named_as_left_out():
    length = corrected(
        LengthFormula.HOFFER_1994_PSEUDOPHAKIC, "23.00", 1532, Implant(Material.PMMA, 0.7), lens=LensStatus.PSEUDOPHAKIC
    )
    assert "thickness of the implant (its tolerance is not stated)" in length.uncertainty.not_included
