"""The uncertainty below its number (PS3.16 TID 310): its range either way, and the budget in words."""

from __future__ import annotations

from gateway.builders.sr.content import Child, has_property, num
from gateway.builders.sr.scope import ReportScope
from gateway.builders.sr.values import Num
from gateway.model.measurement import Unit
from gateway.model.uncertainty import NOT_STATED, Uncertainty
from gateway.standard.codes import concept


def uncertainty_items(uncertainty: Uncertainty | None, unit: Unit, scope: ReportScope) -> tuple[Child, ...]:
    """Return the expanded uncertainty as range up and down in the unit of the number, and what it rests on.

    Where nothing is known there is no number, and the words say so.
    """
    if uncertainty is None:
        return ()
    words = has_property(scope.own_words(concept("sr", "comment"), budget_words(uncertainty, unit)))
    if not uncertainty.is_stated:
        return (words,)
    expanded = Num(uncertainty.expanded, concept("unit", unit.value), uncertainty.text, is_limit=True)
    ranges = (has_property(num(concept("sr", name), expanded)) for name in ("upper-uncertainty", "lower-uncertainty"))
    return (*ranges, words)


def budget_words(uncertainty: Uncertainty, unit: Unit) -> str:
    """Say the whole budget, a line for each component and for each thing left out."""
    left_out = [f"not included: {words}" for words in uncertainty.not_included]
    if not uncertainty.is_stated:
        return "\n".join([NOT_STATED, *left_out])
    head = (
        f"expanded uncertainty {_with(uncertainty.text, unit)}, k = {uncertainty.COVERAGE_FACTOR:g}, about 95 %; "
        f"combined standard uncertainty {_with(f'{uncertainty.standard:.2g}', unit)} (JCGM 100:2008)"
    )
    included = [
        f"{component.name}: standard uncertainty {_with(f'{component.standard:.2g}', unit)}, {component.how}"
        for component in uncertainty.components
    ]
    remark = [uncertainty.remark] if uncertainty.remark else []
    return "\n".join([head, *included, *left_out, *remark])


def _with(digits: str, unit: Unit) -> str:
    return f"{digits} {unit.words}".rstrip()
