"""Numbers with units: lengths in mm, speeds in m/s, frequencies in MHz or Hz. Units are changed exactly."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Context, Decimal
from typing import Annotated, Any, ClassVar

from pydantic import Field

from gateway.errors.mapping import ConversionUnclearError
from gateway.mapping.conversions.base import ParameterText, contradiction
from gateway.mapping.conversions.numbers import NumericFields, exactly
from gateway.mapping.scalars import matching
from gateway.model.laterality import Eye

_ENOUGH = Context(prec=60)


class QuantityFields(NumericFields):
    """How a source writes numbers with units."""

    factors: ClassVar[Mapping[str, Decimal]]
    """Units, each with what one of it is in the unit of the exam document."""

    unit: ParameterText = Field("", description="Unit of the numbers, where it does not stand behind them.")

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse a unit that is not known."""
        if self.unit and _plain(self.unit) not in self.factors:
            raise contradiction(
                f"{self.name}: a unit that is not known", repr(self.unit), f"use {', '.join(self.factors)}"
            )

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the number in the unit of the exam document."""
        found = re.fullmatch(r"(.*[0-9])\s*([^0-9]*)", text.strip(), re.DOTALL)
        if not found:
            raise self.refused("this is not a number", text, "mend the text, or state its form")
        number = self.number(found[1], text)
        stated, written = _plain(self.unit), _plain(found[2])
        if written and written not in self.factors:
            raise self.refused("a unit that is not known", text, f"use {', '.join(self.factors)}")
        if stated and written and self.factors[stated] != self.factors[written]:
            raise self.refused(
                f"the unit is not {self.unit}, which is stated", text, "mend one of them", ConversionUnclearError
            )
        if not (stated or written):
            raise self.refused("the unit is neither written nor stated", text, "state unit", ConversionUnclearError)
        factor = self.factor(stated or written)
        return number if factor == 1 else exactly(_ENOUGH.multiply(Decimal(number), factor))

    def factor(self, unit: str) -> Decimal:
        """Return what one unit is in the unit of the exam document."""
        return self.factors[unit]


def _plain(unit: str) -> str:
    # Two code points for one sign: micro sign and Greek mu.
    return "".join(unit.split()).replace("\u00b5", "u").replace("\u03bc", "u")


class LengthFields(QuantityFields):
    """Read a length in mm, cm, m, um (also µm) or in and write it in mm, exactly."""

    name: ClassVar[str] = "length"
    # One inch is 25.4 mm exactly (NIST Special Publication 811, B.6).
    factors: ClassVar[Mapping[str, Decimal]] = {
        "mm": Decimal(1),
        "cm": Decimal("1E1"),
        "m": Decimal("1E3"),
        "um": Decimal("1E-3"),
        "in": Decimal("25.4"),
    }


class SpeedFields(QuantityFields):
    """Read a speed of sound in m/s, km/s, mm/us (also mm/µs) or cm/s and write it in m/s, exactly."""

    name: ClassVar[str] = "speed"
    factors: ClassVar[Mapping[str, Decimal]] = {
        "m/s": Decimal(1),
        "km/s": Decimal("1E3"),
        "mm/us": Decimal("1E3"),
        "cm/s": Decimal("1E-2"),
    }


class FrequencyFields(QuantityFields):
    """Read a frequency in Hz, kHz, MHz, 1/s or fps and write it in MHz, or in Hz where that is stated, exactly."""

    name: ClassVar[str] = "frequency"
    factors: ClassVar[Mapping[str, Decimal]] = {
        "MHz": Decimal(1),
        "kHz": Decimal("1E-3"),
        "Hz": Decimal("1E-6"),
        "1/s": Decimal("1E-6"),
        "fps": Decimal("1E-6"),
    }

    to: Annotated[str, matching("MHz|Hz", "neither MHz nor Hz", "write one of them")] = Field(
        "MHz", description="MHz for a probe, Hz for a frame rate."
    )

    def factor(self, unit: str) -> Decimal:
        """Return what one unit is in the stated one."""
        return self.factors[unit] if self.to == "MHz" else self.factors[unit].scaleb(6)
