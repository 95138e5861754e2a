"""Axial lengths against published corrections; each expected figure can be redone by hand from the formula named.

Hoffer 1994: J Cataract Refract Surg 20:554-62. Hoffer 2003: J Cataract Refract Surg 29:961-5. Murray 1999: Eye, part I.
Segment speeds: Waldron and Aaberg, A-Scan Biometry, 2008; oil: Basic and Clinical Science Course, Clinical Optics.
"""

from __future__ import annotations

import pytest

from gateway.acoustics.biometry import (
    EyeState,
    corrected_length,
    layer_correction_mm,
    length_rule,
    one_speed_mm,
    segments_of,
    ungated_us,
    unstated,
)
from gateway.acoustics.pulse_echo import distance_mm, for_other_speed, round_trip_time_us
from gateway.errors.measurement import FormulaNotApplicableError, GateOrderError
from gateway.model.biometry import Gate, Implant, LengthFormula, Material
from gateway.model.capture import LensStatus, VitreousStatus
from gateway.model.measurement import TissueSpeed

F = LengthFormula


def gate(segment: str, start_us: float, end_us: float, speed_m_per_s: float) -> Gate:
    return Gate(segment, start_us, end_us, TissueSpeed(speed_m_per_s, "", "test"))


def gates_of_layers(*layers: tuple[str, float, float]) -> list[Gate]:
    """Gates one after the other through layers of (segment, mm, m/s)."""
    gates, at_us = [], 0.0
    for segment, thickness_mm, speed in layers:
        after_us = at_us + float(round_trip_time_us(thickness_mm, speed))
        gates.append(gate(segment, at_us, after_us, speed))
        at_us = after_us
    return gates


PHAKIC = (("cornea", 0.55, 1641), ("anterior-chamber", 3.00, 1532), ("lens", 4.60, 1641), ("vitreous", 15.35, 1532))
GATES = [gate("anterior-chamber", 0, 4.6, 1532), gate("lens", 4.6, 10.3, 1641), gate("vitreous", 10.3, 30.7, 1532)]


# ---------------------------------------------------------------- worked examples


@pytest.mark.parametrize(("speed", "expected_mm"), [(1532, 22.980), (1550, 23.250), (1555, 23.325)])
def test_thirty_microseconds_through_one_gate(speed: float, expected_mm: float) -> None:
    assert segments_of([gate("eye", 0, 30, speed)])[0].length_mm == pytest.approx(expected_mm, abs=5e-5)


@pytest.mark.parametrize(
    ("reading_mm", "expected_mm"), [(20.00, 20.3562), (23.00, 23.3554), (26.00, 26.3548), (30.00, 30.3541)]
)
def test_phakic_eye_read_at_1532(reading_mm: float, expected_mm: float) -> None:
    corrected = corrected_length(F.HOFFER_1994_PHAKIC, reading_mm, EyeState(1532))
    assert corrected.length_mm == pytest.approx(expected_mm, abs=5e-5)


@pytest.mark.parametrize(("lens_m_per_s", "expected_mm"), [(1641, 0.3122), (1629, 0.2799)])
def test_one_layer_of_lens_in_a_reading_at_1532(lens_m_per_s: float, expected_mm: float) -> None:
    assert layer_correction_mm(4.70, lens_m_per_s, 1532) == pytest.approx(expected_mm, abs=5e-5)


@pytest.mark.parametrize(
    ("material", "thickness_mm", "expected_mm"),
    [(Material.PMMA, 0.70, 23.348), (Material.GLASS, 0.30, 23.265), (Material.SILICONE, 1.00, 22.480)],
)
def test_pseudophakic_eye_read_at_1532(material: Material, thickness_mm: float, expected_mm: float) -> None:
    state = EyeState(1532, LensStatus.PSEUDOPHAKIC, VitreousStatus.VITREOUS, Implant(material, thickness_mm))
    corrected = corrected_length(F.HOFFER_1994_PSEUDOPHAKIC, 23.00, state)
    assert corrected.length_mm == pytest.approx(expected_mm, abs=5e-7)


@pytest.mark.parametrize(
    ("material", "factor"),
    [(Material.PMMA, 0.42), (Material.SILICONE, -0.59), (Material.COLLAGEN_COPOLYMER, 0.11), (Material.ACRYLIC, 0.23)],
)
def test_phakic_eye_with_an_implant_read_at_1555(material: Material, factor: float) -> None:
    state = EyeState(1555, LensStatus.PHAKIC_IMPLANT, implant=Implant(material, 0.5))
    corrected = corrected_length(F.HOFFER_2003_PHAKIC_IMPLANT, 26.00, state)
    assert corrected.length_mm == pytest.approx(26.00 + factor * 0.5, abs=1e-12)


def test_oil_by_factor_and_by_speed_differ_so_the_method_must_travel() -> None:
    state = EyeState(1555, LensStatus.CRYSTALLINE, VitreousStatus.SILICONE_OIL)
    by_factor = corrected_length(F.MURRAY_1999_OIL_1300, 33.10, state)
    by_speed = corrected_length(F.HOFFER_1994_PHAKIC_OIL, 33.10, state)
    assert by_factor.length_mm == pytest.approx(23.501, abs=5e-4)
    assert by_speed.length_mm == pytest.approx(24.245, abs=5e-4)
    assert by_speed.length_mm - by_factor.length_mm == pytest.approx(0.744, abs=1e-3)
    assert (by_factor.equation, by_speed.equation) == ("0.71 x R", "R x 1139/1555")


@pytest.mark.parametrize(
    ("formula", "speed"),
    [
        (F.HOFFER_1994_PHAKIC_AVERAGE, 1555),
        (F.HOFFER_1994_APHAKIC, 1534),
        (F.HOFFER_1994_PHAKIC_OIL, 1139),
        (F.HOFFER_1994_APHAKIC_OIL, 1052),
        (F.HOFFER_1994_PHAKIC_GAS, 534),
        (F.HOFFER_1994_SILICONE_IMPLANT, 1476),
        (F.HOFFER_1994_GLASS_IMPLANT, 1549),
    ],
)
def test_average_speeds_of_whole_eyes(formula: LengthFormula, speed: float) -> None:
    """The averages of Hoffer 1994."""
    assert length_rule(formula).whole_eye_m_per_s == speed
    assert corrected_length(formula, 20.0, EyeState(1550)).length_mm == pytest.approx(20.0 * speed / 1550)


def test_layers_of_a_phakic_eye() -> None:
    gates = gates_of_layers(*PHAKIC)
    assert sum(segment.length_mm for segment in segments_of(gates)) == pytest.approx(23.50, abs=1e-9)
    assert gates[-1].end_us == pytest.approx(30.2323, abs=5e-5)
    shown = [one_speed_mm(gates, speed) for speed in (1555, 1550, 1532)]
    assert shown == pytest.approx([23.506, 23.430, 23.158], abs=5e-4)


def test_layers_of_an_oil_filled_eye() -> None:
    gates = gates_of_layers(*PHAKIC[:3], ("vitreous", 15.35, 980))
    assert gates[-1].end_us == pytest.approx(41.5196, abs=5e-5)
    assert one_speed_mm(gates, 1550) == pytest.approx(32.178, abs=5e-4)
    assert 23.50 / one_speed_mm(gates, 1550) == pytest.approx(0.7303, abs=5e-5)  # Murray 1999: 0.70 to 0.73


def test_three_gates() -> None:
    segments = segments_of(GATES)
    assert [s.length_mm for s in segments] == pytest.approx([3.5236, 4.67685, 15.6264], abs=5e-5)
    assert sum(s.length_mm for s in segments) == pytest.approx(23.8269, abs=6e-5)
    assert [one_speed_mm(GATES, v) for v in (1555, 1550)] == pytest.approx([23.8693, 23.7925], abs=6e-5)


def test_oil_segment_displayed_at_two_speeds_and_back() -> None:
    time_us = float(round_trip_time_us(16.00, 980))
    assert [float(distance_mm(time_us, v)) for v in (1532, 1550)] == pytest.approx([25.012, 25.306], abs=5e-4)
    assert float(for_other_speed(1.0, 1532, 980)) == pytest.approx(0.63969, abs=5e-6)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    "gates",
    [
        [gate("lens", 5.0, 4.0, 1641)],
        [gate("lens", 5.0, 5.0, 1641)],
        [gate("lens", -1.0, 4.0, 1641)],
        [gate("lens", 4.6, 10.3, 1641), gate("vitreous", 10.2, 30.0, 1532)],
        [gate("vitreous", 10.3, 30.0, 1532), gate("lens", 4.6, 10.3, 1641)],
    ],
    ids=["backwards", "empty", "before the pulse", "overlapping", "back to front"],
)
def test_gates_out_of_order_are_refused(gates: list[Gate]) -> None:
    with pytest.raises(GateOrderError):
        segments_of(gates)


def test_time_between_gates_is_told() -> None:
    assert ungated_us([GATES[0], gate("vitreous", 10.3, 30.7, 1532)]) == pytest.approx(5.7)
    assert ungated_us(GATES) == 0


PMMA = Implant(Material.PMMA, 0.7)


@pytest.mark.parametrize(
    ("formula", "state"),
    [
        (F.HOFFER_1994_PHAKIC, EyeState(1555)),
        (F.HOFFER_1994_PHAKIC, EyeState(None)),
        (F.HOFFER_1994_PHAKIC, EyeState(1532, LensStatus.APHAKIC)),
        (F.HOFFER_1994_PHAKIC, EyeState(1532, vitreous=VitreousStatus.SILICONE_OIL)),
        (F.HOFFER_1994_PHAKIC, EyeState(1532, implant=PMMA)),
        (F.HOFFER_1994_PSEUDOPHAKIC, EyeState(1555, implant=PMMA)),
        (F.HOFFER_1994_PSEUDOPHAKIC, EyeState(1532)),
        (F.HOFFER_1994_PSEUDOPHAKIC, EyeState(1532, implant=Implant(Material.PMMA))),
        (F.HOFFER_1994_PSEUDOPHAKIC, EyeState(1532, implant=Implant(Material.ACRYLIC, 0.7))),
        (F.HOFFER_1994_PSEUDOPHAKIC, EyeState(1532, LensStatus.CRYSTALLINE, implant=PMMA)),
        (F.HOFFER_2003_PHAKIC_IMPLANT, EyeState(1532, implant=PMMA)),
        (F.HOFFER_2003_PHAKIC_IMPLANT, EyeState(1555, implant=Implant(Material.GLASS, 0.7))),
        (F.MURRAY_1999_OIL_1300, EyeState(1139)),
        (F.MURRAY_1999_OIL_1300, EyeState(1550, LensStatus.APHAKIC)),
        (F.MURRAY_1999_OIL_1300, EyeState(1550, vitreous=VitreousStatus.VITREOUS)),
        (F.HOFFER_1994_PHAKIC_GAS, EyeState(1550, vitreous=VitreousStatus.SILICONE_OIL)),
        (F.HOFFER_1994_GLASS_IMPLANT, EyeState(1550, implant=PMMA)),
    ],
)
def test_a_formula_is_refused_where_it_was_not_published_for_it(formula: LengthFormula, state: EyeState) -> None:
    with pytest.raises(FormulaNotApplicableError):
        corrected_length(formula, 23.0, state)


def test_the_phakic_quotient_is_never_taken_below_its_turning_point() -> None:
    with pytest.raises(FormulaNotApplicableError):
        corrected_length(F.HOFFER_1994_PHAKIC, 0.6, EyeState(1532))


def test_what_nobody_stated_is_named() -> None:
    assert unstated(F.MURRAY_1999_OIL_1300, EyeState(1550)) == (
        "published for lens crystalline; lens not stated",
        "published for vitreous cavity silicone oil; filling not stated",
    )
    assert unstated(F.HOFFER_1994_PHAKIC, EyeState(1532, LensStatus.CRYSTALLINE, VitreousStatus.VITREOUS)) == ()


def test_every_formula_has_a_rule_with_its_publication() -> None:
    for formula in LengthFormula:
        assert "19" in length_rule(formula).reference or "2003" in length_rule(formula).reference
