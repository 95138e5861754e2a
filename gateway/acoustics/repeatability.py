"""The spread of readings as part of an uncertainty: repeats first, then the site's own figures, then published ones."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gateway.acoustics.quantities import between_units
from gateway.acoustics.repeats import mean_and_deviation
from gateway.errors.measurement import MeasurementError
from gateway.model.capture import Capture
from gateway.model.measurement import Measurement, Unit
from gateway.model.repeatability import Operators, RepeatabilityFigure, Whose
from gateway.model.uncertainty import UncertaintyComponent

BETWEEN_OPERATORS = "differences between operators (not stated)"

_NAMES = {
    Operators.SAME: "repeatability",
    Operators.SEVERAL: "reproducibility",
    Operators.NOT_STATED: "spread of readings",
}


def figures_for(
    measurement: Measurement, capture: Capture, table: Sequence[RepeatabilityFigure]
) -> tuple[RepeatabilityFigure, ...]:
    """Return the figures that hold for a measurement: the site's own first, else in the table's order.

    A figure holds where kind, structure, scan and contact are those it was found for; what it leaves open fits all.
    """
    fitting = [
        figure
        for figure in table
        if figure.kind is measurement.kind
        and figure.structure in {"", measurement.structure}
        and (not figure.scans or capture.position.scan in figure.scans)
        and figure.contact in {None, capture.settings.contact}
    ]
    return tuple(sorted(fitting, key=lambda figure: figure.whose is not Whose.OWN))


def repeatability_components(
    measurement: Measurement, unit: Unit, figures: Sequence[RepeatabilityFigure], *, own_alone: bool = False
) -> tuple[list[UncertaintyComponent], list[str]]:
    """Return the spread of readings as a component, and what is left out of it.

    Parameters
    ----------
    unit : Unit
        Of the component.
    figures : sequence of RepeatabilityFigure
        Those that hold for this measurement, the one to be used first.
    own_alone : bool
        Take no published figure into account.
    """
    repeated = _repeats(measurement, unit)
    usable = [f for f in figures if f.standard_deviation is not None and not (own_alone and f.whose is not Whose.OWN)]
    left_out = [_beside(figure) for figure in figures if repeated or not usable or figure is not usable[0]]
    if repeated is not None:
        return [repeated], left_out or [BETWEEN_OPERATORS]
    if not usable:
        return [], left_out or ["repeatability (not stated)"]
    chosen = usable[0]
    deviation = between_units(chosen.standard_deviation or 0.0, chosen.unit, unit)
    is_published = chosen.whose is Whose.PUBLISHED
    whose = "published, not yours" if is_published else "the site's own"
    if chosen.operators is Operators.SAME:
        left_out.append(BETWEEN_OPERATORS)
    name = f"{_NAMES[chosen.operators]} ({whose})"
    return [UncertaintyComponent(name, deviation, chosen.words, is_published)], left_out


def _beside(figure: RepeatabilityFigure) -> str:
    return f"{_NAMES[figure.operators]} ({figure.words})"


def _repeats(measurement: Measurement, unit: Unit) -> UncertaintyComponent | None:
    """Return the standard deviation of one reading (JCGM 100:2008 4.2.2), where there are repeats to take it from.

    Readings that are all the same differ by less than their last digit, not by nothing (F.2.2.1).
    """
    try:
        _mean, deviation = mean_and_deviation(measurement.repeats)
    except MeasurementError:
        return None
    repeats = measurement.repeats
    step = 10.0 ** -max(len(quantity.text.partition(".")[2]) for quantity in repeats)
    standard = between_units(max(deviation, step / math.sqrt(12.0)), repeats[0].unit, unit)
    return UncertaintyComponent(
        f"{len(repeats)} repeats", standard, f"standard deviation of one reading from {len(repeats)} repeats"
    )
