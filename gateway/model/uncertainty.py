"""How far a measured value may be from what was to be measured, and what that statement rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

NOT_STATED = "uncertainty not stated"


@dataclass(frozen=True, slots=True)
class UncertaintyComponent:
    """One contribution to an uncertainty.

    Parameters
    ----------
    name : str
        What it comes from, e.g. ``calipers to the pixel``.
    standard : float
        Standard uncertainty of the measured value by it, in the value's unit.
    how : str
        How the number came about, with its source where it was published.
    is_published : bool
        Whether it is somebody else's figure rather than this measurement's or this site's.
    """

    name: str
    standard: float
    how: str
    is_published: bool = False


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """An uncertainty budget (JCGM 100:2008).

    Parameters
    ----------
    components : tuple of UncertaintyComponent
        What is included; empty where nothing is known.
    not_included : tuple of str
        What is left out, each with its reason.
    standard : float
        Combined standard uncertainty in the value's unit, full precision.
    text : str
        Digits of the expanded uncertainty as they are shown, rounded up; empty where nothing is known.
    remark : str
        What limits the statement, e.g. that it rests on few repeats.
    """

    COVERAGE_FACTOR: ClassVar[float] = 2.0
    """k = 2: about 95 % where the combined value is near to normally distributed (JCGM 100:2008 6.3.3)."""

    components: tuple[UncertaintyComponent, ...]
    not_included: tuple[str, ...] = ()
    standard: float = 0.0
    text: str = ""
    remark: str = ""

    @property
    def is_stated(self) -> bool:
        """Whether anything is known."""
        return bool(self.components)

    @property
    def expanded(self) -> float:
        """Expanded uncertainty, full precision."""
        return self.COVERAGE_FACTOR * self.standard

    def plus_minus(self, unit: str) -> str:
        """Return what stands beside the value, ``± 0.06 mm``, or ``± 0.06 mm or more`` where something is left out."""
        if not self.is_stated:
            return NOT_STATED
        or_more = " or more" if self.not_included else ""
        return f"± {self.text} {unit}".rstrip() + or_more
