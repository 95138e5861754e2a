"""Measurements as stated by the source, and what the measure step makes of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

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
    PERPENDICULAR_HEIGHT = "perpendicular-height"
    """Of a point above the line through the two ends of a chord."""
    PERIMETER = "perimeter"
    CIRCUMFERENCE = "circumference"
    """Of an ellipse by its axes, or of a sphere by its diameter."""
    ARC_BASE = "arc-base"
    """Base along the wall: from the straight chord, on a sphere of stated diameter."""
    TWO_CHORD_BASE = "two-chord-base"
    """Base as two chords over a point on the wall between the ends."""
    ELLIPSOID_VOLUME = "ellipsoid-volume"
    HALF_ELLIPSOID_VOLUME = "half-ellipsoid-volume"
    RATIO = "ratio"

    @property
    def words(self) -> str:
        """The kind as a person reads it."""
        return self.value.replace("-", " ")


class Shape(StrEnum):
    """What the points of an area or a perimeter are."""

    POLYGON = "polygon"
    """Corners of the outline."""
    ELLIPSE = "ellipse"
    """Four points: the ends of one axis, then those of the other; or three: centre, end of one axis, of the other."""


class ThirdDimension(StrEnum):
    """How the dimension of a volume that was not measured is taken."""

    LIKE_THE_FIRST = "like-the-first"
    LIKE_THE_SECOND = "like-the-second"
    MEAN_OF_BOTH = "mean-of-both"


class Unit(StrEnum):
    """Units as UCUM writes them (PS3.16 CID 82)."""

    MM = "mm"
    CM = "cm"
    UM = "um"
    MM2 = "mm2"
    CM2 = "cm2"
    MM3 = "mm3"
    CM3 = "cm3"
    DEG = "deg"
    ONE = "1"
    """Of a ratio."""

    @property
    def words(self) -> str:
        """The unit as it stands beside a number for people; a ratio has none."""
        return _UNIT_WORDS.get(self, self.value)


_UNIT_WORDS: Final = MappingProxyType(
    {
        Unit.UM: "µm",
        Unit.MM2: "mm²",
        Unit.CM2: "cm²",
        Unit.MM3: "mm³",
        Unit.CM3: "cm³",
        Unit.DEG: "degrees",
        Unit.ONE: "",
    }
)


def unit_words(ucum: str) -> str:
    """Return a unit for people; one that is none of the project's stays as UCUM writes it."""
    return Unit(ucum).words if ucum in set(Unit) else ucum


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, exactly as it was displayed; `text` keeps the digits that stood there."""

    value: float
    unit: Unit
    text: str = ""

    @property
    def words(self) -> str:
        """Number and unit as displayed, e.g. ``6.00 mm``."""
        return f"{self.text or format(self.value, 'g')} {self.unit.words}".rstrip()


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
class Medium:
    """One medium along the beams of a measurement.

    Parameters
    ----------
    speed : TissueSpeed
    begins : tuple of Point
        Line on the picture at which the beams enter it, CORNER convention: two points or more across the beams, or one
        point for the same depth on every beam. Empty for the first medium, which begins at the probe face.
    """

    speed: TissueSpeed
    begins: tuple[Point, ...] = ()


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
    gate_tolerance_us: float | None = None
    """How far the time of each echo that bounds a gate may be off either way, where somebody states that."""
    reading_m_per_s: float | None = None
    """Speed of sound at which the displayed number was read, where it is stated with the number itself."""
    shape: Shape | None = None
    """Of an area or a perimeter; None is a polygon."""
    sphere_diameter_mm: float | None = None
    """Of the sphere on which a base along the wall is taken, as stated."""
    media: tuple[Medium, ...] = ()
    """What the beams pass on their way, from the probe face on; instead of `tissue_speed`."""
    of: tuple[str, ...] = ()
    """Ids of the measurements that this one is computed from, in the order of its formula."""
    third_dimension: ThirdDimension | None = None
    """How a volume's dimension that was not measured is taken."""


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
    DERIVED = "derived"
    """Computed from other measurements of the exam; no number was displayed."""
    DERIVED_AGAIN = "derived-again"
    """Displayed by the source and computed again from the measurements that it names."""


@dataclass(frozen=True, slots=True)
class CorrectedValue:
    """A second value for another speed of sound; the first is never altered.

    Parameters
    ----------
    quantity : Quantity
    speed : TissueSpeed or None
        The speed corrected to; None where the beams pass several media, or the value is derived from others.
    assumed_speed_m_per_s : float or None
        The device's speed corrected from; None for a value derived from others.
    formula : str
        How, in one line that a person can follow.
    uncertainty : Uncertainty or None
    media : tuple of Medium
        What the beams passed, where it was not one medium.
    """

    quantity: Quantity
    speed: TissueSpeed | None
    assumed_speed_m_per_s: float | None
    formula: str
    uncertainty: Uncertainty | None = None
    media: tuple[Medium, ...] = ()

    @property
    def speeds(self) -> tuple[TissueSpeed, ...]:
        """Every speed of sound that the value rests on, from the probe face on."""
        return (self.speed,) if self.speed is not None else tuple(medium.speed for medium in self.media)


ALREADY_USED = "the device already used"
"""How the reason begins where a value needs no correction."""


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
    equation : str
        How the value follows from points or from other measurements, where the kind alone does not say it.
    remarks : tuple of str
        What a reader must know of the value: which measurement supplied which dimension, a foot outside its chord.
    sources : tuple of MeasuredValue
        Measurements that the value was computed from.
    """

    measurement: Measurement
    value: Quantity
    origin: ValueOrigin
    recomputed: Quantity | None = None
    corrected: CorrectedValue | None = None
    not_corrected_because: str = ""
    uncertainty: Uncertainty | None = None
    biometry: tuple[BiometryValue, ...] = ()
    equation: str = ""
    remarks: tuple[str, ...] = ()
    sources: tuple[MeasuredValue, ...] = ()

    @property
    def is_at_its_own_speed(self) -> bool:
        """Whether the device already used the speed of sound that is stated for the measurement."""
        return self.corrected is None and self.not_corrected_because.startswith(ALREADY_USED)
