"""Axial length: layer by layer, and by published corrections of a reading taken at one speed of sound.

Every correction is a rule of its own with the reading, lens and filling for which it was published. None is chosen
here, and none is applied where what is stated contradicts it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from gateway.acoustics.pulse_echo import checked_speed, distance_mm, for_other_speed
from gateway.errors.measurement import FormulaNotApplicableError, GateOrderError
from gateway.model.biometry import Gate, Implant, LengthFormula, Material, Segment
from gateway.model.capture import LensStatus, VitreousStatus

_HOFFER_1994: Final = "Hoffer KJ, J Cataract Refract Surg 1994;20:554-62"
_HOFFER_2003: Final = "Hoffer KJ, J Cataract Refract Surg 2003;29:961-5"
_MURRAY_1999: Final = "Murray DC et al., Eye 1999, part I (7 phakic eyes, oil of 1300 cSt)"
_CONVENTIONAL_M_PER_S: Final = (1532.0, 1555.0)
"""Average speeds for which biometers are set, from the slowest phakic convention to the fastest (common practice)."""
_HOFFER_PHAKIC_MM: Final = 0.35
_HOFFER_PSEUDOPHAKIC_MM: Final = 0.04
_MURRAY_FACTOR: Final = 0.71
_MURRAY_SPREAD: Final = 0.01


# ---------------------------------------------------------------- layers


def require_order(gates: Sequence[Gate]) -> None:
    """Refuse gates that run backwards, begin before the pulse or overlap.

    Raises
    ------
    GateOrderError
    """
    for gate in gates:
        if gate.start_us < 0 or gate.end_us <= gate.start_us:
            raise GateOrderError(
                f"the gate of {gate.segment.replace('-', ' ')} does not run forwards from the pulse",
                was=f"{gate.start_us:g} to {gate.end_us:g} us",
                fix="write the time of the nearer echo as start_us and of the farther one as end_us",
            )
    for nearer, farther in pairwise(gates):
        if farther.start_us < nearer.end_us:
            raise GateOrderError(
                f"the gates of {nearer.segment.replace('-', ' ')} and {farther.segment.replace('-', ' ')} overlap",
                was=f"{nearer.end_us:g} us, then {farther.start_us:g} us",
                fix="write the gates from front to back, each beginning where the one before it ends",
            )


def segments_of(gates: Sequence[Gate]) -> tuple[Segment, ...]:
    """Return the length of each segment at its own speed: ``v t / 2``.

    Raises
    ------
    GateOrderError, SpeedNotPhysicalError
    """
    require_order(gates)
    return tuple(Segment(gate, float(distance_mm(gate.time_us, gate.speed.speed_m_per_s))) for gate in gates)


def ungated_us(gates: Sequence[Gate]) -> float:
    """Return the time between gates that belongs to no segment, in microseconds."""
    return sum(farther.start_us - nearer.end_us for nearer, farther in pairwise(gates))


def layer_correction_mm(thickness_mm: float, speed_m_per_s: float, reading_m_per_s: float) -> float:
    """Return by how much a reading at one speed is short because one layer has another: ``T (1 - v_reading/v)``."""
    return thickness_mm * (1 - checked_speed(reading_m_per_s) / checked_speed(speed_m_per_s))


# ---------------------------------------------------------------- published corrections


@dataclass(frozen=True, slots=True)
class LengthRule:
    """One published correction and what it was published for.

    Parameters
    ----------
    reference : str
    lenses : frozenset of LensStatus
        Lenses for which it holds.
    fillings : frozenset of VitreousStatus
    reading_m_per_s : tuple of float or None
        Slowest and fastest speed of the reading that goes in; None for any.
    factors : mapping of Material to float
        For each mm of the implant's thickness; empty where no implant goes in.
    whole_eye_m_per_s : float or None
        The average speed that it is, where it is one.
    material : Material or None
        The one material of an implant for which it holds, where it names one.
    spread : float or None
        Standard deviation between eyes of the factor that it is, where one was published.
    """

    reference: str
    lenses: frozenset[LensStatus]
    fillings: frozenset[VitreousStatus]
    reading_m_per_s: tuple[float, float] | None = None
    factors: MappingProxyType[Material, float] = field(default_factory=lambda: MappingProxyType({}))
    whole_eye_m_per_s: float | None = None
    material: Material | None = None
    spread: float | None = None


_WATERY: Final = frozenset({VitreousStatus.VITREOUS, VitreousStatus.POST_VITRECTOMY})
_OIL: Final = frozenset({VitreousStatus.SILICONE_OIL})
_GAS: Final = frozenset({VitreousStatus.GAS})
_CRYSTALLINE: Final = frozenset({LensStatus.CRYSTALLINE})
_APHAKIC: Final = frozenset({LensStatus.APHAKIC})
_PSEUDOPHAKIC: Final = frozenset({LensStatus.PSEUDOPHAKIC})
_PHAKIC_IMPLANT: Final = frozenset({LensStatus.PHAKIC_IMPLANT})
_AT_1532: Final = (1532.0, 1532.0)
_AT_1555: Final = (1555.0, 1555.0)


def _average(
    speed_m_per_s: float,
    lenses: frozenset[LensStatus],
    fillings: frozenset[VitreousStatus],
    material: Material | None = None,
) -> LengthRule:
    return LengthRule(_HOFFER_1994, lenses, fillings, whole_eye_m_per_s=speed_m_per_s, material=material)


_RULES: Final = MappingProxyType(
    {
        LengthFormula.HOFFER_1994_PHAKIC: LengthRule(_HOFFER_1994, _CRYSTALLINE, _WATERY, _AT_1532),
        LengthFormula.HOFFER_1994_PSEUDOPHAKIC: LengthRule(
            _HOFFER_1994,
            _PSEUDOPHAKIC,
            _WATERY,
            _AT_1532,
            MappingProxyType({Material.PMMA: 0.44, Material.SILICONE: -0.56, Material.GLASS: 0.75}),
        ),
        LengthFormula.HOFFER_2003_PHAKIC_IMPLANT: LengthRule(
            _HOFFER_2003,
            _PHAKIC_IMPLANT,
            _WATERY,
            _AT_1555,
            MappingProxyType(
                {
                    Material.PMMA: 0.42,
                    Material.SILICONE: -0.59,
                    Material.COLLAGEN_COPOLYMER: 0.11,
                    Material.ACRYLIC: 0.23,
                }
            ),
        ),
        LengthFormula.MURRAY_1999_OIL_1300: LengthRule(
            _MURRAY_1999, _CRYSTALLINE, _OIL, _CONVENTIONAL_M_PER_S, spread=_MURRAY_SPREAD
        ),
        LengthFormula.HOFFER_1994_PHAKIC_AVERAGE: _average(1555, _CRYSTALLINE, _WATERY),
        LengthFormula.HOFFER_1994_APHAKIC: _average(1534, _APHAKIC, _WATERY),
        LengthFormula.HOFFER_1994_PHAKIC_OIL: _average(1139, _CRYSTALLINE, _OIL),
        LengthFormula.HOFFER_1994_APHAKIC_OIL: _average(1052, _APHAKIC, _OIL),
        LengthFormula.HOFFER_1994_PHAKIC_GAS: _average(534, _CRYSTALLINE, _GAS),
        LengthFormula.HOFFER_1994_SILICONE_IMPLANT: _average(1476, _PSEUDOPHAKIC, _WATERY, Material.SILICONE),
        LengthFormula.HOFFER_1994_GLASS_IMPLANT: _average(1549, _PSEUDOPHAKIC, _WATERY, Material.GLASS),
    }
)


def length_rule(formula: LengthFormula) -> LengthRule:
    """Return what a published correction is for."""
    return _RULES[formula]


@dataclass(frozen=True, slots=True)
class EyeState:
    """What is stated of the eye and of the reading; None is not stated.

    Parameters
    ----------
    reading_m_per_s : float or None
        Speed of sound at which the reading was taken.
    """

    reading_m_per_s: float | None = None
    lens: LensStatus | None = None
    vitreous: VitreousStatus | None = None
    implant: Implant | None = None


def require_applicable(formula: LengthFormula, state: EyeState) -> None:
    """Refuse a correction whose conditions are contradicted by what is stated, or that lacks a number it needs.

    Raises
    ------
    FormulaNotApplicableError
    """
    rule = _RULES[formula]
    _require_reading(formula, rule, state.reading_m_per_s)
    for what, stated, allowed in (
        ("lens", state.lens, {lens.value for lens in rule.lenses}),
        ("filling", state.vitreous, {filling.value for filling in rule.fillings}),
    ):
        if stated is not None and stated.value not in allowed:
            raise _refused(
                formula, f"is for another {what}", stated.value, f"it holds for {', '.join(sorted(allowed))}"
            )
    _require_implant(formula, rule, state.implant)


def _require_reading(formula: LengthFormula, rule: LengthRule, reading_m_per_s: float | None) -> None:
    if reading_m_per_s is None:
        raise _refused(
            formula,
            "needs the speed at which the reading was taken",
            "not stated",
            "write reading_speed_m_per_s, or assumed_speed_m_per_s in the capture's calibration",
        )
    checked_speed(reading_m_per_s)
    if rule.reading_m_per_s is not None and not rule.reading_m_per_s[0] <= reading_m_per_s <= rule.reading_m_per_s[1]:
        slowest, fastest = rule.reading_m_per_s
        wanted = f"{slowest:g}" if slowest == fastest else f"{slowest:g} to {fastest:g}"
        raise _refused(
            formula,
            f"is for readings at {wanted} m/s",
            f"{reading_m_per_s:g} m/s",
            "choose the formula published for this reading; no reading is turned into another on the way",
        )


def _require_implant(formula: LengthFormula, rule: LengthRule, implant: Implant | None) -> None:
    if rule.factors:
        known = ", ".join(material.value for material in rule.factors)
        if implant is None or implant.thickness_mm is None:
            what = "needs the implant's material and centre thickness"
            raise _refused(formula, what, "not stated", f"write implant: with material ({known}) and thickness_mm")
        if implant.material not in rule.factors:
            raise _refused(formula, "has no factor for this implant", implant.material.value, f"it has {known}")
    elif implant is not None and implant.material is not rule.material:
        wanted = f"it holds for {rule.material.value}" if rule.material else "leave implant out, or mend the formula"
        raise _refused(formula, "is for another eye than one with this implant", implant.material.value, wanted)


def _refused(formula: LengthFormula, what: str, was: str, fix: str) -> FormulaNotApplicableError:
    return FormulaNotApplicableError(f"{formula.value} {what}", was=was, fix=fix)


@dataclass(frozen=True, slots=True)
class CorrectedLength:
    """An axial length by one published correction.

    Parameters
    ----------
    length_mm : float
    equation : str
        With R for the reading, so that it is the same whenever the method is.
    worked : str
        The same with the reading in it.
    """

    length_mm: float
    equation: str
    worked: str


def corrected_length(formula: LengthFormula, reading_mm: float, state: EyeState) -> CorrectedLength:
    """Return the axial length by one published correction.

    Parameters
    ----------
    reading_mm : float
        As displayed, at `state.reading_m_per_s`.

    Raises
    ------
    FormulaNotApplicableError
        If the correction was published for something else than what is stated.
    """
    require_applicable(formula, state)
    rule, reading = _RULES[formula], f"{reading_mm:.10g}"
    if rule.whole_eye_m_per_s is not None and state.reading_m_per_s is not None:
        length_mm = float(for_other_speed(reading_mm, state.reading_m_per_s, rule.whole_eye_m_per_s))
        ratio = f"{rule.whole_eye_m_per_s:g}/{state.reading_m_per_s:g}"
        return CorrectedLength(length_mm, f"R x {ratio}", f"{reading} x {ratio}")
    if rule.factors:
        return _with_implant(formula, reading_mm, state)
    return _DIRECT[formula](reading_mm, reading)


def _phakic_1994(reading_mm: float, reading: str) -> CorrectedLength:
    if reading_mm <= 2 * _HOFFER_PHAKIC_MM:
        # Below this the quotient turns back and grows again: no eye, and no length.
        raise _refused(LengthFormula.HOFFER_1994_PHAKIC, "is for whole eyes", f"{reading} mm", "look at value and unit")
    length_mm = reading_mm**2 / (reading_mm - _HOFFER_PHAKIC_MM)
    short_mm = f"{_HOFFER_PHAKIC_MM:g}"
    return CorrectedLength(length_mm, f"R^2 / (R - {short_mm})", f"{reading}^2 / ({reading} - {short_mm})")


def _murray_1999(reading_mm: float, reading: str) -> CorrectedLength:
    return CorrectedLength(_MURRAY_FACTOR * reading_mm, f"{_MURRAY_FACTOR:g} x R", f"{_MURRAY_FACTOR:g} x {reading}")


_DIRECT: Final[MappingProxyType[LengthFormula, Callable[[float, str], CorrectedLength]]] = MappingProxyType(
    {
        LengthFormula.HOFFER_1994_PHAKIC: _phakic_1994,
        LengthFormula.MURRAY_1999_OIL_1300: _murray_1999,
    }
)


def _with_implant(formula: LengthFormula, reading_mm: float, state: EyeState) -> CorrectedLength:
    implant = state.implant
    if implant is None or implant.thickness_mm is None:  # pragma: no cover  (require_applicable refused it)
        raise _refused(formula, "needs the implant's centre thickness", "not stated", "write implant:")
    factor = _RULES[formula].factors[implant.material]
    aphakic_mm = _HOFFER_PSEUDOPHAKIC_MM if formula is LengthFormula.HOFFER_1994_PSEUDOPHAKIC else 0.0
    fixed = f" + {aphakic_mm:g}" if aphakic_mm else ""
    length_mm = reading_mm + aphakic_mm + factor * implant.thickness_mm
    added = f"{fixed} {'+' if factor > 0 else '-'} {abs(factor):g} x {implant.thickness_mm:g}"
    return CorrectedLength(length_mm, f"R{added}", f"{reading_mm:.10g}{added}")


def unstated(formula: LengthFormula, state: EyeState) -> tuple[str, ...]:
    """Return what the correction was published for and nobody stated of this eye."""
    rule = _RULES[formula]
    lenses = " or ".join(sorted(lens.value.replace("-", " ") for lens in rule.lenses))
    fillings = " or ".join(sorted(filling.value.replace("-", " ") for filling in rule.fillings))
    remarks = []
    if state.lens is None:
        remarks.append(f"published for lens {lenses}; lens not stated")
    if state.vitreous is None:
        remarks.append(f"published for vitreous cavity {fillings}; filling not stated")
    if rule.material is not None and state.implant is None:
        remarks.append(f"published for an implant of {rule.material.value}; material not stated")
    return tuple(remarks)


def one_speed_mm(gates: Sequence[Gate], speed_m_per_s: float) -> float:
    """Return the length that one speed for all gates would show."""
    return float(distance_mm(sum(gate.time_us for gate in gates), speed_m_per_s))
