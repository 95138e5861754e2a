"""How much readings of one thing differ: published figures, or a site's own."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.capture import Contact
from gateway.model.measurement import MeasurementKind, Unit
from gateway.model.position import Scan


class Operators(StrEnum):
    """Whose readings differ: one person's (repeatability) or several persons' (reproducibility)."""

    SAME = "same-operator"
    SEVERAL = "several-operators"
    NOT_STATED = "not-stated"

    @property
    def words(self) -> str:
        """In words, with the name that the trade gives it."""
        return {
            Operators.SAME: "same operator: repeatability",
            Operators.SEVERAL: "several operators: reproducibility",
            Operators.NOT_STATED: "operators not stated",
        }[self]


class Whose(StrEnum):
    """Who found a figure."""

    PUBLISHED = "published"
    OWN = "own"


@dataclass(frozen=True, slots=True)
class RepeatabilityFigure:
    """The spread of single readings of one kind of measurement.

    Parameters
    ----------
    kind : MeasurementKind
    standard_deviation : float or None
        Of one reading, in `unit`; None where the source gives a figure that is no standard deviation.
    unit : Unit
    statistic_words : str
        The figure as its source gives it, e.g. ``standard deviation 0.18 mm``.
    operators : Operators
    whose : Whose
    condition, source : str
    structure : str
        Word of the structure that it holds for; empty: any.
    scans : tuple of Scan
        Scans that it holds for; empty: any.
    contact : Contact or None
        Contact that it holds for; None: any.
    """

    kind: MeasurementKind
    standard_deviation: float | None
    unit: Unit
    statistic_words: str
    operators: Operators
    whose: Whose
    condition: str
    source: str
    structure: str = ""
    scans: tuple[Scan, ...] = ()
    contact: Contact | None = None

    @property
    def words(self) -> str:
        """The figure with what it holds for and who says so."""
        whose = "published, not yours" if self.whose is Whose.PUBLISHED else "the site's own"
        return f"{whose}: {self.statistic_words}, {self.operators.words}; {self.condition}; {self.source}"
