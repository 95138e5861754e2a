"""Measurements as stated by the source, and what the measure step makes of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.biometry import BiometryValue, Gate, Implant, LengthFormula
from gateway.model.calibration import Point
from gateway.model.people import PersonName
from gateway.model.uncertainty import Uncertainty


class MeasurementKind(StrEnum):
    """What is measured. The number of points each needs stands in `acoustics.quantities`."""

    DISTANCE = "distance"
    HEIGHT = "height"
    THICKNESS = "thickness"
    BASE = "base"
    WIDTH = "width"
    DEPTH = "depth"
    AXIAL_LENGTH = "axial-length"
    PATH_LENGTH = "path-length"
    ANGLE = "angle"
    AREA = "area"

    @property
    def words(self) -> str:
        """The kind as a person reads it."""
        return self.value.replace("-", " ")


class Unit(StrEnum):
    """Units as UCUM writes them (PS3.16 CID 82)."""

    MM = "mm"
    CM = "cm"
    UM = "um"
    MM2 = "mm2"
    CM2 = "cm2"
    DEG = "deg"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, exactly as it was displayed; `text` keeps the digits that stood there."""

    value: float
    unit: Unit
    text: str = ""

    @property
    def words(self) -> str:
        """Number and unit as displayed, e.g. ``6.00 mm``."""
        return f"{self.text or format(self.value, 'g')} {self.unit.value}"


@dataclass(frozen=True, slots=True)
class TissueSpeed:
    """The speed of sound to be used for a measurement, and who says so.

    Parameters
    ----------
    speed_m_per_s : float
    tissue : str
        Name in the site's table of speeds, empty where the source gave a bare number.
    source : str
        Citation of the table row, or the place in the exam document.
    tolerance_m_per_s : float or None
        How far the real speed may lie from it either way, where somebody states that.
    """

    speed_m_per_s: float
    tissue: str
    source: str
    tolerance_m_per_s: float | None = None


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement as the source states it."""

    id: str
    capture_id: str
    kind: MeasurementKind
    frame: int | None = None
    """1-based frame of the *stored* loop (after the kept range); None on a still."""
    points: tuple[Point, ...] = ()
    """CORNER convention, in order; empty where the number came without its calipers."""
    displayed: Quantity | None = None
    tissue_speed: TissueSpeed | None = None
    structure: str = ""
    """Word of the structure measured (`standard.concepts` group ``structure``), e.g. ``vitreous``."""
    finding_id: str = ""
    measured_by: PersonName | None = None
    repeats: tuple[Quantity, ...] = ()
    comment: str = ""
    refraction_tolerance_mm: float | None = None
    """How far refraction may have moved the result either way, where somebody states that."""
    gates: tuple[Gate, ...] = ()
    """Of an A-scan, front to back."""
    formula: LengthFormula | None = None
    implant: Implant | None = None
    reading_m_per_s: float | None = None
    """Speed of sound at which the displayed number was read, where it is stated with the number itself."""


class ValueOrigin(StrEnum):
    """How the displayed value of a measurement came to be."""

    TRANSCRIBED = "transcribed"
    """The number travels as it was written down; no calipers, so nothing can be recomputed."""
    RECOMPUTED = "recomputed"
    """Displayed by the source and recomputed from its calipers within 1 %."""
    COMPUTED = "computed"
    """Calipers without a displayed number: computed here from points and scale."""
    FROM_GATES = "from-gates"
    """Gates of an A-scan without a displayed number: the sum of their segments, each at its own speed."""


@dataclass(frozen=True, slots=True)
class CorrectedValue:
    """A second value for another speed of sound; the first is never altered.

    Parameters
    ----------
    quantity : Quantity
    speed : TissueSpeed
        The speed corrected to.
    assumed_speed_m_per_s : float
        The device's speed corrected from.
    formula : str
        How, in one line that a person can follow.
    uncertainty : Uncertainty or None
    """

    quantity: Quantity
    speed: TissueSpeed
    assumed_speed_m_per_s: float
    formula: str
    uncertainty: Uncertainty | None = None


@dataclass(frozen=True, slots=True)
class MeasuredValue:
    """A measurement after the measure step.

    Parameters
    ----------
    measurement : Measurement
    value : Quantity
        The displayed value where the source gave one, else the computed one.
    recomputed : Quantity or None
        From points and scale, at the device's assumed speed, full precision.
    origin : ValueOrigin
    corrected : CorrectedValue or None
    not_corrected_because : str
        Empty where a corrected value exists or none was asked for.
    uncertainty : Uncertainty or None
        Of `value`; None where none was worked out.
    biometry : tuple of BiometryValue
        Lengths by named methods beside the displayed one, each for itself.
    """

    measurement: Measurement
    value: Quantity
    origin: ValueOrigin
    recomputed: Quantity | None = None
    corrected: CorrectedValue | None = None
    not_corrected_because: str = ""
    uncertainty: Uncertainty | None = None
    biometry: tuple[BiometryValue, ...] = ()
