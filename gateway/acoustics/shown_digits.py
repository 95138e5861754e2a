"""How many digits a value is shown with, and whether a displayed number and a computed one are the same."""

from __future__ import annotations

import math
from dataclasses import replace

from gateway.acoustics.uncertainty import shown
from gateway.errors.measurement import DisplayedValueDisagreesError
from gateway.model.measurement import Quantity, Unit
from gateway.model.uncertainty import Uncertainty

AGREEMENT = 0.01
"""Displayed and recomputed value may differ by this share of the displayed one."""

_DECIMALS = {
    Unit.MM: 2,
    Unit.CM: 3,
    Unit.UM: 0,
    Unit.MM2: 1,
    Unit.CM2: 3,
    Unit.MM3: 1,
    Unit.CM3: 3,
    Unit.DEG: 1,
    Unit.ONE: 2,
}
"""Digits shown where the source displayed none: a hundredth of a millimetre, finer than any 10 MHz probe resolves."""
_RATIO_DECIMALS = 6
"""Most that a ratio is shown with: how many it needs depends on how small it is."""


def with_digits(uncertainty: Uncertainty, unit: Unit, displayed: Quantity | None) -> Uncertainty:
    """Return an uncertainty with its digits, never more of them than its value has."""
    if not uncertainty.is_stated:
        return uncertainty
    is_free = unit is Unit.ONE and displayed is None
    most = _RATIO_DECIMALS if is_free else decimals_of(unit, displayed)
    return replace(uncertainty, text=shown(uncertainty.expanded, most))


def following(quantity: Quantity, uncertainty: Uncertainty) -> Quantity:
    """Show a computed value to the last digit of its uncertainty (JCGM 100:2008 7.2.6); the value itself stays.

    Where no uncertainty is known the value is shown with the digits of its unit.
    """
    decimals = len(uncertainty.text.partition(".")[2]) if uncertainty.is_stated else decimals_of(quantity.unit, None)
    if not uncertainty.is_stated and quantity.unit is Unit.ONE and 0 < quantity.value < 1:
        decimals = min(_RATIO_DECIMALS, 1 - math.floor(math.log10(quantity.value)))
    return replace(quantity, text=f"{quantity.value:.{decimals}f}")


def decimals_of(unit: Unit, displayed: Quantity | None) -> int:
    """Return the number of decimals: as the source showed them, where it showed any."""
    if displayed is not None and displayed.text:
        return len(displayed.text.partition(".")[2])
    return _DECIMALS[unit]


def quantity_shown(value: float, unit: Unit, displayed: Quantity | None) -> Quantity:
    """Return a computed value with as many digits as the displayed one."""
    return Quantity(value, unit, f"{value:.{decimals_of(unit, displayed)}f}")


def require_agreement(
    displayed: Quantity, recomputed: Quantity, by_rounding: float = 0.0, *, basis: str = "calipers"
) -> None:
    """Refuse a displayed number that differs by more than `AGREEMENT` from the computed one.

    Parameters
    ----------
    by_rounding : float
        How much further apart they may be because what the value is computed from was rounded.
    basis : str
        What the computed one rests on, in words.

    Raises
    ------
    DisplayedValueDisagreesError
    """
    difference = abs(recomputed.value - displayed.value)
    # The tiny allowance is for the binary representation of decimal digits, not for the measurement.
    if difference > AGREEMENT * abs(displayed.value) + by_rounding + 1e-12:
        raise DisplayedValueDisagreesError(
            f"displayed value and {basis} differ by more than 1 %",
            was=f"{displayed.words} displayed, {recomputed.value:.4g} {recomputed.unit.words}".rstrip()
            + f" from the {basis}",
            fix=f"look at the capture's scale and at the {basis}",
        )
