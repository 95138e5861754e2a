"""Lengths along the axis of an eye: gates of an A-scan, published corrections, and the values that they give."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from gateway.model.measurement import Quantity, TissueSpeed
    from gateway.model.uncertainty import Uncertainty

LENS_POWER_CAUTION: Final = "not for lens-power calculation unless biometry with method, speed and quality came with it"


class Material(StrEnum):
    """What an implanted lens is made of, as the published corrections name it."""

    PMMA = "pmma"
    SILICONE = "silicone"
    GLASS = "glass"
    ACRYLIC = "acrylic"
    COLLAGEN_COPOLYMER = "collagen-copolymer"


class LengthFormula(StrEnum):
    """Published ways to the axial length from a reading at one speed of sound; each stands for itself alone."""

    HOFFER_1994_PHAKIC = "hoffer-1994-phakic"
    HOFFER_1994_PSEUDOPHAKIC = "hoffer-1994-pseudophakic"
    HOFFER_2003_PHAKIC_IMPLANT = "hoffer-2003-phakic-implant"
    MURRAY_1999_OIL_1300 = "murray-1999-silicone-oil-1300"
    HOFFER_1994_PHAKIC_AVERAGE = "hoffer-1994-phakic-average"
    HOFFER_1994_APHAKIC = "hoffer-1994-aphakic"
    HOFFER_1994_PHAKIC_OIL = "hoffer-1994-phakic-oil"
    HOFFER_1994_APHAKIC_OIL = "hoffer-1994-aphakic-oil"
    HOFFER_1994_PHAKIC_GAS = "hoffer-1994-phakic-gas"
    HOFFER_1994_SILICONE_IMPLANT = "hoffer-1994-silicone-implant"
    HOFFER_1994_GLASS_IMPLANT = "hoffer-1994-glass-implant"


@dataclass(frozen=True, slots=True)
class Implant:
    """An implanted lens.

    Parameters
    ----------
    material : Material
    thickness_mm : float or None
        In its centre.
    """

    material: Material
    thickness_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Gate:
    """One segment between two echoes of an A-scan.

    Parameters
    ----------
    segment : str
        Word of concepts group ``structure``, e.g. ``anterior-chamber``.
    start_us, end_us : float
        Round-trip times of its two echoes, in microseconds.
    speed : TissueSpeed
    """

    segment: str
    start_us: float
    end_us: float
    speed: TissueSpeed

    @property
    def time_us(self) -> float:
        """Round-trip time through the segment."""
        return self.end_us - self.start_us


@dataclass(frozen=True, slots=True)
class Segment:
    """A gate with the length that its own speed gives."""

    gate: Gate
    length_mm: float


@dataclass(frozen=True, slots=True)
class BiometryValue:
    """A length by a named method, beside the displayed one; the method never leaves it.

    Parameters
    ----------
    quantity : Quantity
    formula : LengthFormula or None
        None for the sum of segments, each at its own speed.
    equation : str
        The same whenever the method is: R stands for the reading.
    worked : str
        The equation with this measurement's numbers, in one line that a person can follow.
    reference : str
        The publication.
    reading_m_per_s : float or None
        Speed at which the reading was taken that went in.
    whole_eye_m_per_s : float or None
        The one average speed used instead, where the method is one.
    segments : tuple of Segment
    remarks : tuple of str
        What the method asks for and nobody stated.
    uncertainty : Uncertainty or None
        Of `quantity`, in its unit.
    """

    quantity: Quantity
    formula: LengthFormula | None
    equation: str
    worked: str
    reference: str
    reading_m_per_s: float | None = None
    whole_eye_m_per_s: float | None = None
    segments: tuple[Segment, ...] = ()
    remarks: tuple[str, ...] = ()
    uncertainty: Uncertainty | None = None

    @property
    def method(self) -> str:
        """Word of concepts group ``length_method``."""
        return self.formula.value if self.formula else "layers"
