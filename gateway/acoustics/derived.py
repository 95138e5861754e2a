"""Quantities computed from other measurements of the same exam: volumes, ratios, bases along the wall.

The third dimension of a volume is always named: it was measured, or it is said how it is taken. Each source enters with
the value that was displayed; where all sources have a value for another speed of sound, a second value is computed from
those. Uncertainties are propagated after JCGM 100:2008 5.1.2; what all lengths of one exam share (scale, speeds of
sound) is taken as fully correlated in volumes (5.2.2), as independent in ratios.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gateway.acoustics.quantities import (
    DERIVABLE,
    ON_SPHERE,
    SPHERE_EQUATIONS,
    VOLUMES,
    arc_mm,
    assumptions_of,
    between_units,
    dimension_of,
    in_unit,
    quantity_rule,
    third_words,
    two_chords_mm,
)
from gateway.acoustics.shown_digits import following, quantity_shown, require_agreement, with_digits
from gateway.acoustics.uncertainty import WHOLE_WIDTH, combined
from gateway.errors.measurement import DerivationError, MixedDimensionsError
from gateway.model.measurement import (
    CorrectedValue,
    MeasuredValue,
    Measurement,
    MeasurementKind,
    Quantity,
    ThirdDimension,
    Unit,
    ValueOrigin,
)
from gateway.model.uncertainty import Uncertainty, UncertaintyComponent

Numbers = Sequence[float]

HEIGHTS = frozenset({MeasurementKind.HEIGHT, MeasurementKind.PERPENDICULAR_HEIGHT})
"""Measured above a base: never a diameter of an ellipsoid."""
_COULD_BE_HEIGHT = HEIGHTS | {MeasurementKind.THICKNESS}

_ELLIPSOID = "pi/6 a b c, a, b and c diameters of an ellipsoid"
_HALF_ELLIPSOID = "pi/6 a b h, a and b diameters of the base, h the height of half an ellipsoid"
_STEP = 1e-6


def require_derivation(
    kind: MeasurementKind,
    sources: Sequence[MeasurementKind],
    third: ThirdDimension | None = None,
    sphere_diameter_mm: float | None = None,
) -> None:
    """Refuse sources that do not fit the formula of a kind.

    Parameters
    ----------
    sources : sequence of MeasurementKind
        What the named measurements are, in their order.

    Raises
    ------
    DerivationError, MixedDimensionsError
    """
    if kind not in DERIVABLE:
        raise DerivationError(f"{kind.words} is not computed from other measurements", fix="leave of out, or mend kind")
    if kind is MeasurementKind.RATIO:
        _require_ratio(sources)
        return
    for source in sources:
        if dimension_of(quantity_rule(source).unit) != "length":
            raise DerivationError(
                f"{kind.words} is computed from lengths", was=source.value, fix="name lengths with of"
            )
    if kind in VOLUMES:
        _require_volume(kind, sources, third)
    elif kind is MeasurementKind.CIRCUMFERENCE:
        _require_count(kind, sources, 1)
    else:
        _require_count(kind, sources, 1 if sphere_diameter_mm is not None else 2)


def _require_ratio(sources: Sequence[MeasurementKind]) -> None:
    _require_count(MeasurementKind.RATIO, sources, 2)
    units = [quantity_rule(source).unit for source in sources]
    if dimension_of(units[0]) != dimension_of(units[1]):
        raise DerivationError(
            "a ratio of different dimensions",
            was=f"{sources[0].value} and {sources[1].value}",
            fix="name two lengths, two areas or two angles",
        )


def _require_count(kind: MeasurementKind, sources: Sequence[MeasurementKind], count: int) -> None:
    if len(sources) != count:
        fix = "name the chord and the diameter of the sphere, or the chord with sphere_diameter_mm"
        raise DerivationError(
            f"{kind.words} is computed from {count} of these",
            was=f"{len(sources)} named",
            fix=fix if kind in ON_SPHERE else "mend of",
        )


def _require_volume(kind: MeasurementKind, sources: Sequence[MeasurementKind], third: ThirdDimension | None) -> None:
    if len(sources) not in {2, 3} or (len(sources) == 3) is (third is not None):
        raise DerivationError(
            "a volume has three dimensions, each named once",
            was=f"{len(sources)} named, third_dimension {third.value if third else 'not stated'}",
            fix="name three measurements, or two and third_dimension",
        )
    if kind is MeasurementKind.ELLIPSOID_VOLUME:
        if HEIGHTS.intersection(sources):
            raise MixedDimensionsError(
                "a height among the diameters of an ellipsoid", fix="write kind: half-ellipsoid-volume, height last"
            )
        return
    *bases, height = sources
    if height not in _COULD_BE_HEIGHT or HEIGHTS.intersection(bases):
        raise MixedDimensionsError(
            "half an ellipsoid has its height last, after the diameters of its base",
            was=", ".join(source.value for source in sources),
            fix="name the height last, or write kind: ellipsoid-volume",
        )
    if third not in {None, ThirdDimension.LIKE_THE_FIRST}:
        raise MixedDimensionsError(
            "the second diameter of the base cannot be taken from its height",
            fix="write third_dimension: like-the-first",
        )


def derived_value(measurement: Measurement, sources: Sequence[MeasuredValue]) -> MeasuredValue:
    """Compute a measurement from those that it names.

    Parameters
    ----------
    sources : sequence of MeasuredValue
        In the order in which `measurement.of` names them.

    Raises
    ------
    DerivationError, MixedDimensionsError, SphereDiameterError, DisplayedValueDisagreesError
    """
    kinds = [source.measurement.kind for source in sources]
    if len(set(measurement.of)) < len(measurement.of):
        raise DerivationError("one measurement named twice", fix="name each once; third_dimension says what is assumed")
    if any(source.sources for source in sources):
        raise DerivationError("computed from what is itself computed from others", fix="name what was measured")
    require_derivation(measurement.kind, kinds, measurement.third_dimension, measurement.sphere_diameter_mm)
    rule_unit = quantity_rule(measurement.kind).unit
    displayed = measurement.displayed
    unit = displayed.unit if displayed else rule_unit
    derivation = _Derivation(measurement, tuple(kinds), unit)
    value, uncertainty = derivation.of(
        [source.value for source in sources], [source.uncertainty for source in sources], displayed
    )
    if displayed is not None:
        rounded = derivation.by_rounding([source.value for source in sources])
        require_agreement(displayed, value, rounded, basis="measurements that it is computed from")
    corrected, reason = _corrected(derivation, sources)
    return MeasuredValue(
        measurement,
        displayed or value,
        ValueOrigin.DERIVED_AGAIN if displayed else ValueOrigin.DERIVED,
        value,
        corrected,
        reason,
        uncertainty,
        equation=derivation.equation,
        remarks=_remarks(measurement, sources),
        sources=tuple(sources),
    )


@dataclass(frozen=True, slots=True)
class _Derivation:
    """The formula of one derived measurement.

    Parameters
    ----------
    kinds : tuple of MeasurementKind
        Of the sources.
    unit : Unit
        Of the result.
    """

    measurement: Measurement
    kinds: tuple[MeasurementKind, ...]
    unit: Unit

    @property
    def equation(self) -> str:
        kind, diameter_mm = self.measurement.kind, self.measurement.sphere_diameter_mm
        if kind in ON_SPHERE:
            how = "R half the measured diameter" if diameter_mm is None else f"R = {diameter_mm / 2:g} mm as stated"
            return SPHERE_EQUATIONS[kind].format(how)
        said = {
            MeasurementKind.ELLIPSOID_VOLUME: _ELLIPSOID,
            MeasurementKind.HALF_ELLIPSOID_VOLUME: _HALF_ELLIPSOID,
            MeasurementKind.CIRCUMFERENCE: "pi d, of a sphere with diameter d",
            MeasurementKind.RATIO: "first divided by second",
        }[kind]
        # Volumes with a dimension measured and with one assumed are never compared as if they were the same.
        third = self.measurement.third_dimension
        return said if third is None else f"{said}, {_assumed_letter(kind)} taken {third_words(third)}"

    def formula(self) -> Callable[[Numbers], float]:
        """Return the formula for sources in mm, mm2, mm3 or degrees."""
        kind, third, diameter_mm = (
            self.measurement.kind,
            self.measurement.third_dimension,
            self.measurement.sphere_diameter_mm,
        )
        if kind in VOLUMES:
            return lambda numbers: math.pi / 6 * math.prod(numbers) * _assumed(numbers, third)
        if kind is MeasurementKind.RATIO:
            return _ratio
        if kind is MeasurementKind.CIRCUMFERENCE:
            return lambda numbers: math.pi * numbers[0]
        along = arc_mm if kind is MeasurementKind.ARC_BASE else two_chords_mm
        return lambda numbers: along(numbers[0], diameter_mm if diameter_mm is not None else numbers[1])

    def of(
        self, quantities: Sequence[Quantity], uncertainties: Sequence[Uncertainty | None], displayed: Quantity | None
    ) -> tuple[Quantity, Uncertainty]:
        """Return the value and its uncertainty from those of the sources."""
        value = in_unit(self.formula()(self._numbers(quantities)), self.unit)
        budget = self._budget(quantities, uncertainties, displayed)
        uncertainty = with_digits(budget, self.unit, displayed)
        quantity = quantity_shown(value, self.unit, displayed)
        return quantity if displayed else following(quantity, uncertainty), uncertainty

    def by_rounding(self, quantities: Sequence[Quantity]) -> float:
        """How far the value may lie off because the sources were displayed with few digits."""
        steps = [10.0 ** -len(q.text.partition(".")[2]) / 2 if q.text else 0.0 for q in quantities]
        return sum(slope * step for slope, step in zip(self._slopes(quantities), steps, strict=True))

    def _numbers(self, quantities: Sequence[Quantity]) -> list[float]:
        return [
            between_units(quantity.value, quantity.unit, quantity_rule(kind).unit)
            for quantity, kind in zip(quantities, self.kinds, strict=True)
        ]

    def _slopes(self, quantities: Sequence[Quantity]) -> list[float]:
        """How the result changes with each source, both in their own units, without sign."""
        numbers, formula = self._numbers(quantities), self.formula()
        slopes = []
        for place, (quantity, kind) in enumerate(zip(quantities, self.kinds, strict=True)):
            # Beside nothing a share of it would be no step.
            step = _STEP * (abs(numbers[place]) or 1.0)
            ahead, behind = list(numbers), list(numbers)
            ahead[place] += step
            behind[place] -= step
            slope = (formula(ahead) - formula(behind)) / (2 * step)
            slopes.append(abs(in_unit(slope, self.unit)) * between_units(1.0, quantity.unit, quantity_rule(kind).unit))
        return slopes

    def _budget(
        self, quantities: Sequence[Quantity], uncertainties: Sequence[Uncertainty | None], displayed: Quantity | None
    ) -> Uncertainty:
        parts: dict[str, list[tuple[float, UncertaintyComponent]]] = {}
        left_out: dict[str, None] = {}
        for name, slope, uncertainty in zip(self.measurement.of, self._slopes(quantities), uncertainties, strict=True):
            if uncertainty is None or not uncertainty.is_stated:
                left_out[f"uncertainty of {name} (not stated)"] = None
                continue
            left_out.update(dict.fromkeys(uncertainty.not_included))
            for component in uncertainty.components:
                parts.setdefault(component.name, []).append((slope * component.standard, component))
        left_out.update(dict.fromkeys(assumptions_of(self.measurement)))
        included = [self._component(name, contributions) for name, contributions in parts.items()]
        if included and displayed is not None and displayed.text:
            step = 10.0 ** -len(displayed.text.partition(".")[2])
            how = "half a step either way, rectangular"
            included.append(UncertaintyComponent("last digit of the result", step * WHOLE_WIDTH, how))
        return combined(included, tuple(left_out))

    def _component(
        self, name: str, contributions: Sequence[tuple[float, UncertaintyComponent]]
    ) -> UncertaintyComponent:
        standards = [standard for standard, _component in contributions]
        is_shared = name.startswith(("scale", "speed of sound")) and self.measurement.kind is not MeasurementKind.RATIO
        standard = sum(standards) if is_shared else math.hypot(*standards)
        said = "; ".join(dict.fromkeys(component.how for _standard, component in contributions))
        together = "taken as fully correlated" if is_shared else "taken as independent"
        is_published = any(component.is_published for _standard, component in contributions)
        # Published figures are cited word for word.
        how = said if is_published or len(standards) == 1 else f"{said}; of {len(standards)} sources, {together}"
        return UncertaintyComponent(name, standard, how, is_published)


def _assumed(numbers: Numbers, third: ThirdDimension | None) -> float:
    """Return the dimension that was not measured; 1 where all three were."""
    if third is None:
        return 1.0
    return {
        ThirdDimension.LIKE_THE_FIRST: numbers[0],
        ThirdDimension.LIKE_THE_SECOND: numbers[1],
        ThirdDimension.MEAN_OF_BOTH: (numbers[0] + numbers[1]) / 2,
    }[third]


def _ratio(numbers: Numbers) -> float:
    if numbers[1] == 0:
        raise DerivationError("a ratio to nothing", fix="look at the second measurement")
    return numbers[0] / numbers[1]


def _corrected(derivation: _Derivation, sources: Sequence[MeasuredValue]) -> tuple[CorrectedValue | None, str]:
    """Return the value from corrected sources, or why there is none where one of them was corrected.

    A source that the device already read at the speed of its tissue needs no correction.
    """
    corrected = [source.corrected for source in sources]
    if not any(corrected):
        return None, ""
    without = [
        source.measurement.id for source in sources if source.corrected is None and not source.is_at_its_own_speed
    ]
    if without:
        return None, f"no corrected value of {', '.join(without)}"
    quantities = [source.corrected.quantity if source.corrected else source.value for source in sources]
    uncertainties = [source.corrected.uncertainty if source.corrected else source.uncertainty for source in sources]
    quantity, uncertainty = derivation.of(quantities, uncertainties, None)
    formula = f"{derivation.equation}; with {', '.join(map(_at_its_speed, sources))}, refraction neglected"
    return CorrectedValue(quantity, None, None, formula, uncertainty), ""


def _at_its_speed(source: MeasuredValue) -> str:
    measurement = source.measurement
    speeds = source.corrected.speeds if source.corrected else ()
    if not speeds:
        own = (measurement.tissue_speed, *(medium.speed for medium in measurement.media))
        speeds = tuple(speed for speed in own if speed is not None)
    said = " and ".join(dict.fromkeys(f"{speed.speed_m_per_s:g}" for speed in speeds))
    return f"{measurement.id} at {said} m/s"


_LETTERS = {
    MeasurementKind.ELLIPSOID_VOLUME: "abc",
    MeasurementKind.HALF_ELLIPSOID_VOLUME: "abh",
    MeasurementKind.CIRCUMFERENCE: "d",
}


def _remarks(measurement: Measurement, sources: Sequence[MeasuredValue]) -> tuple[str, ...]:
    """Say which measurement supplied which term, and how a dimension that was not measured is taken."""
    terms = _terms(measurement)
    said = [
        f"{term}: {source.measurement.kind.words} {source.measurement.id}, {source.value.words}"
        for term, source in zip(terms, sources, strict=False)
    ]
    if measurement.third_dimension is not None:
        said.append(f"{_assumed_letter(measurement.kind)}: not measured")
    return ("; ".join(said),)


def _assumed_letter(kind: MeasurementKind) -> str:
    return "b" if kind is MeasurementKind.HALF_ELLIPSOID_VOLUME else "c"


def _terms(measurement: Measurement) -> tuple[str, ...]:
    if measurement.kind is MeasurementKind.RATIO:
        return "first", "second"
    if measurement.kind in ON_SPHERE:
        return "chord c", "diameter 2R"
    letters = _LETTERS[measurement.kind]
    if measurement.kind is MeasurementKind.HALF_ELLIPSOID_VOLUME and measurement.third_dimension is not None:
        return "a", "h"
    return tuple(letters)
