"""Numbers as a site writes them; their digits are never changed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from gateway.errors.mapping import ConversionUnclearError
from gateway.mapping.conversions.base import ConversionFields, ParameterText, contradiction
from gateway.mapping.scalars import matching
from gateway.model.laterality import Eye

_DECIMALS = {"point": ".", "comma": ","}
_THOUSANDS = {"": "", "point": r"\.", "comma": ",", "apostrophe": "['’]", "space": "[ \u00a0\u2009\u202f]"}
_MOST_DIGITS = 24


class NumericFields(ConversionFields):
    """How a source writes numbers."""

    decimal: Annotated[str, matching("point|comma", "a decimal sign of another kind", "write point or comma")] = Field(
        "point", description="Its decimal sign: point or comma."
    )
    thousands: Annotated[
        str,
        matching("point|comma|apostrophe|space", "a thousands sign of another kind", "point, comma, apostrophe, space"),
    ] = Field("", description="Its thousands sign: point, comma, apostrophe or space; left out where it has none.")

    @model_validator(mode="after")
    def _two_signs(self) -> NumericFields:
        if self.decimal == self.thousands:
            raise contradiction(f"{self.name}: one sign for decimals and thousands", self.decimal)
        return self

    def number(self, written: str, text: str) -> str:
        """Return a number with a decimal point, its digits as written.

        Raises
        ------
        ConversionUnclearError, ConversionError
        """
        number = written.strip().replace("\u2212", "-")
        separator = _THOUSANDS[self.thousands]
        whole = f"[0-9]{{1,3}}(?:{separator}[0-9]{{3}})+|[0-9]*" if separator else "[0-9]*"
        found = re.fullmatch(rf"([+-]?)({whole})(?:{re.escape(_DECIMALS[self.decimal])}([0-9]+))?", number)
        if not found or not (found[2] or found[3]):
            if re.fullmatch(r"[+-]?[0-9.,'’\s]*[0-9]", number):
                raise self.refused(
                    "a sign that may be a decimal or a thousands sign",
                    text,
                    "state decimal and thousands as the source writes them",
                    ConversionUnclearError,
                )
            raise self.refused("this is not a number", text, "mend the text, or state its form")
        digits = re.sub("[^0-9]", "", found[2])
        if len(digits) + len(found[3] or "") > _MOST_DIGITS:
            raise self.refused("a number with too many digits", text, f"at most {_MOST_DIGITS}")
        return f"{found[1]}{digits or '0'}" + (f".{found[3]}" if found[3] else "")


class NumberFields(NumericFields):
    """Read a number and write it with a decimal point, every digit as it stands; a comma only where it is stated."""

    name: ClassVar[str] = "number"

    unit: ParameterText = Field("", description="Unit that stands behind each number and is left out.", examples=["dB"])

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the number."""
        written = text.strip()
        if self.unit:
            if not written.endswith(self.unit):
                raise self.refused("the stated unit is not there", text, f"write {self.unit} behind the number")
            written = written[: -len(self.unit)]
        return self.number(written, text)


class PercentFields(NumericFields):
    """Read a percentage, with or without its sign, as the number of percent or as a fraction of one."""

    name: ClassVar[str] = "percent"

    to: Annotated[str, matching("percent|fraction", "neither percent nor fraction", "write one of them")] = Field(
        "percent", description="percent gives 85 for 85 %, fraction gives 0.85."
    )

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the number of percent, or the fraction."""
        number = self.number(text.strip().removesuffix("%"), text)
        return number if self.to == "percent" else exactly(Decimal(number).scaleb(-2))


def exactly(number: Decimal) -> str:
    """Write a number without exponent, with every digit that it has."""
    return format(number, "f")
