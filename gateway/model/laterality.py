"""Which eye: the one enumeration that everything about laterality goes through."""

from __future__ import annotations

from enum import StrEnum


class Eye(StrEnum):
    """One eye of one patient. There is no 'both' and no 'unknown': a capture without a known eye is held."""

    RIGHT = "right"
    LEFT = "left"

    @property
    def letter(self) -> str:
        """``R`` or ``L``, the values of Image Laterality (PS3.3 C.7.6.1.1.1)."""
        return "R" if self is Eye.RIGHT else "L"

    @property
    def abbreviation(self) -> str:
        """``OD`` or ``OS``, as the trade writes it (common practice)."""
        return "OD" if self is Eye.RIGHT else "OS"
