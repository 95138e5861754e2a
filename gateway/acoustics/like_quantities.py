"""Which numbers of two reports are the same quantity, and what keeps like quantities from being compared."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gateway.acoustics.quantities import in_unit, measures
from gateway.model.coded import CodedConcept
from gateway.model.measurement import MeasurementKind, Unit
from gateway.model.prior import PriorGroup, PriorMeasurement
from gateway.standard.codes import concept
from gateway.standard.codes import words as words_of

_ACROSS: Final = frozenset({MeasurementKind.BASE, MeasurementKind.WIDTH})
"""Kinds whose value depends on the direction of the scan, so that one across is never compared with one along."""

_WAYS_HERE: Final = ("transcribed", "computed-from-calipers", "gateway-correction", "derived-here")
"""Codes of how a number reached the report; they say nothing of how it was measured."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """What makes two numbers like: name, structure, direction where it matters, and displayed, corrected or mean.

    A difference of echoes has the structure that was compared with as well.
    """

    name: tuple[str, str]
    structure: str
    direction: str
    role: str
    reference: str
    words: str


def quantity_of(measurement: PriorMeasurement, group: PriorGroup) -> Quantity:
    """Return which quantity of its group a number is."""
    kind = measurement.kind
    name = ("", kind.value) if kind else (measurement.name.scheme, measurement.name.value)
    direction = measurement.direction if kind in _ACROSS else ""
    role = _role(measurement)
    structure = measurement.structure or group.structure
    against = f"against {measurement.reference.replace('-', ' ')}" if measurement.reference else ""
    parts = (measurement.words, against, direction, role if role != "displayed" else "")
    words = ", ".join(part for part in parts if part)
    return Quantity(name, structure, direction, role, measurement.reference, words)


def _role(measurement: PriorMeasurement) -> str:
    for word in words_of("length_method"):
        method = concept("length_method", word)
        if measurement.method == method:
            # Lengths by different methods are different quantities; they are never set against each other.
            return method.meaning.lower()
    if measurement.is_corrected:
        return "corrected"
    derivation = measurement.derivation
    if derivation is None or derivation == concept("sr", "measured"):
        return "displayed"
    return derivation.meaning.lower() or derivation.value


def quantities_of(group: PriorGroup) -> dict[Quantity, list[PriorMeasurement]]:
    """Return the numbers of a group by quantity, in the report's order."""
    found: dict[Quantity, list[PriorMeasurement]] = {}
    for measurement in group.measurements:
        found.setdefault(quantity_of(measurement, group), []).append(measurement)
    return found


def pairs_of(one: PriorGroup, other: PriorGroup) -> list[tuple[Quantity, PriorMeasurement, PriorMeasurement]]:
    """Return what stands in both groups once, or is followed by a tracking UID of its own."""
    before, after = quantities_of(one), quantities_of(other)
    found = []
    for quantity, earlier in before.items():
        later = after.get(quantity, [])
        if len(earlier) == len(later) == 1:
            found.append((quantity, earlier[0], later[0]))
        else:
            found += [(quantity, number, same) for number in earlier for same in _followed(number, earlier, later)]
    return found


def _followed(
    number: PriorMeasurement, earlier: Sequence[PriorMeasurement], later: Sequence[PriorMeasurement]
) -> list[PriorMeasurement]:
    uid = number.tracking_uid
    same = [candidate for candidate in later if uid and candidate.tracking_uid == uid]
    return same if len(same) == 1 and [n.tracking_uid for n in earlier].count(uid) == 1 else []


# ------------------------------------------------------------------ what keeps them apart


def contradictions(one: PriorMeasurement, other: PriorMeasurement) -> tuple[str, ...]:
    """Return why two numbers of one quantity are not comparable; empty where they are."""
    reasons = []
    if in_unit_of(one, other.unit) is None:
        reasons.append(f"units differ: {one.unit} and {other.unit}")
    for what, here, there in (
        ("measurement methods", _method(one), _method(other)),
        ("ways of contact", one.contact.value if one.contact else "", other.contact.value if other.contact else ""),
        ("speeds of sound", _speed_words(one.speed_m_per_s), _speed_words(other.speed_m_per_s)),
        ("formulas", _formula(one), _formula(other)),
        ("tissue sensitivities", _gain_words(one), _gain_words(other)),
    ):
        if here and there and here != there:
            reasons.append(f"{what} differ: {here} and {there}")
    return tuple(reasons)


def unlike_remarks(one: PriorMeasurement, other: PriorMeasurement) -> tuple[str, ...]:
    """Return what the comparison rests on without being stated in both reports."""
    remarks = []
    for what, here, there in (
        ("measurement method", _method(one), _method(other)),
        ("contact", one.contact, other.contact),
        ("speed of sound", one.speed_m_per_s, other.speed_m_per_s),
        ("formula", one.formula, other.formula),
        ("tissue sensitivity", _gain_words(one), _gain_words(other)),
    ):
        if bool(here) is not bool(there):
            remarks.append(f"{what} stated at the {'earlier' if here else 'later'} visit only")
    across = one.kind in _ACROSS
    is_echo = one.tissue_sensitivity_db is not None or other.tissue_sensitivity_db is not None
    for what, here, there in (
        ("contact", one.contact, other.contact),
        *(() if is_echo else (("speed of sound", one.speed_m_per_s, other.speed_m_per_s),)),
        *((("direction of the scan", one.direction, other.direction),) if across else ()),
    ):
        if not here and not there:
            remarks.append(f"{what} not stated")
    return tuple(remarks)


def _method(measurement: PriorMeasurement) -> str:
    method = measurement.method
    return "" if method is None or _is_way_here(method) else method.meaning.lower() or method.value


def _is_way_here(method: CodedConcept) -> bool:
    return any(method == concept("sr", word) for word in _WAYS_HERE)


def _speed_words(speed_m_per_s: float | None) -> str:
    return f"{speed_m_per_s:g} m/s" if speed_m_per_s is not None else ""


def _gain_words(measurement: PriorMeasurement) -> str:
    gain_db = measurement.tissue_sensitivity_db
    return f"{gain_db:g} dB" if gain_db is not None else ""


def _formula(measurement: PriorMeasurement) -> str:
    """Return the formula without the speed that the device assumed, and without the one speed compared by itself.

    The same tissue measured on devices that assume different speeds has the same corrected value. Where the beams pass
    several media their speeds stand in the formula alone, and there they stay.
    """
    kept = r"\1" if measurement.speed_m_per_s is None else "ratio of speeds"
    return re.sub(r"depth x ([\d.]+)/[\d.]+", f"depth x {kept}", measurement.formula).strip().lower()


def in_unit_of(measurement: PriorMeasurement, unit: str) -> float | None:
    """Return the value of a number in another unit; None where the units measure different things."""
    if measurement.unit == unit:
        return measurement.value
    known = set(Unit)
    if measurement.unit not in known or unit not in known:
        return None
    here, there = Unit(measurement.unit), Unit(unit)
    if not any(measures(kind, here) and measures(kind, there) for kind in MeasurementKind):
        return None
    return between(measurement.value, here, there)


def between(value: float, here: Unit, there: Unit) -> float:
    """Express a value in another unit of the same dimension."""
    return value / in_unit(1.0, here) * in_unit(1.0, there)
