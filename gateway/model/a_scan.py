"""Amplitude over depth: lines on a picture, strips beside a picture, and standardized A-scans."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gateway.model.calibration import DepthAxis, PixelRegion, Point
    from gateway.model.measurement import TissueSpeed


@dataclass(frozen=True, slots=True)
class AScanLine:
    """A line on a picture along which grey levels are shown.

    Parameters
    ----------
    start, end : Point
        CORNER convention; depth is counted from `start`.
    frame : int or None
        1-based frame of the *stored* loop; None on a still.
    speed : TissueSpeed or None
        For the axis; the device's own where None.
    band_mm : float
        Width across the line over which grey levels are averaged; 0 for the line alone.
    scan_line : int or None
        Number of the raw scan line, from 1, whose samples are shown instead of grey levels; `start` and `end` are where
        it runs on the picture.
    """

    id: str
    start: Point
    end: Point
    frame: int | None = None
    speed: TissueSpeed | None = None
    band_mm: float = 0.0
    scan_line: int | None = None


@dataclass(frozen=True, slots=True)
class AScanStrip:
    """A strip of the stored picture in which the device drew an A-scan.

    Parameters
    ----------
    mm_per_pixel : float
        Along depth.
    percent_per_pixel : float or None
        Of the device's own amplitude scale, across depth; negative where it grows towards smaller pixel numbers.
    zero : Point or None
        Zero depth on the baseline of the amplitude, where that is stated (CORNER convention).
    """

    region: PixelRegion
    mm_per_pixel: float
    depth_axis: DepthAxis
    percent_per_pixel: float | None = None
    zero: Point | None = None


@dataclass(frozen=True, slots=True)
class SpikeHeight:
    """Height of a spike as percent of the initial spike, as displayed; `text` keeps the digits."""

    structure: str
    percent: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class EchoDifference:
    """Gains that lift the echoes of a structure and of a reference to one height, in dB."""

    structure: str
    reference: str
    gain_db: float
    reference_gain_db: float


@dataclass(frozen=True, slots=True)
class AScanSamples:
    """Samples of one scan line as a device exported them: envelope or detected amplitude, in order of time.

    Parameters
    ----------
    interval_us : float
        Between two samples.
    start_mm : float or None
        Depth of the first sample at `speed`, where it is stated.
    """

    values: tuple[float, ...]
    interval_us: float
    speed: TissueSpeed
    start_mm: float | None = None


@dataclass(frozen=True, slots=True)
class AScanSettings:
    """How an A-scan was made.

    Parameters
    ----------
    standardized : bool
        Whether it is stated to be a standardized A-scan.
    tissue_sensitivity_db : float or None
        Gain at which reflectivity is read.
    spikes : tuple of SpikeHeight
    differences : tuple of EchoDifference
    samples : AScanSamples or None
    """

    standardized: bool = False
    tissue_sensitivity_db: float | None = None
    spikes: tuple[SpikeHeight, ...] = ()
    differences: tuple[EchoDifference, ...] = ()
    samples: AScanSamples | None = None


class ReflectivityClass(StrEnum):
    """Classes of internal reflectivity."""

    EXTREMELY_LOW = "extremely-low"
    LOW = "low"
    MEDIUM = "medium"
    MEDIUM_HIGH = "medium-high"
    HIGH = "high"

    @property
    def words(self) -> str:
        """The class as a person reads it."""
        return self.value.replace("-", " ") if self is ReflectivityClass.EXTREMELY_LOW else self.value


@dataclass(frozen=True, slots=True)
class Reflectivity:
    """Height of a spike on a standardized A-scan with everything that it rests on.

    Parameters
    ----------
    percent : float
        Of the initial spike.
    scheme : str
        The scheme of classes in words; a class means nothing without it.
    text : str
        Digits of the percent as displayed.
    """

    percent: float
    tissue_sensitivity_db: float
    reflectivity_class: ReflectivityClass
    scheme: str
    text: str = ""

    @property
    def percent_words(self) -> str:
        """The percent as displayed."""
        return f"{self.text or format(self.percent, 'g')} %"

    @property
    def words(self) -> str:
        """Percent, class and the setting behind them."""
        return (
            f"{self.percent_words} of the initial spike: {self.reflectivity_class.words}, "
            f"at tissue sensitivity {self.tissue_sensitivity_db:g} dB"
        )


@dataclass(frozen=True, slots=True)
class StructureEcho:
    """What a standardized A-scan tells of the echo of one structure on one capture.

    Parameters
    ----------
    reflectivity : Reflectivity or None
        Where the height of a spike was read.
    weaker_by_db : float or None
        How much weaker the echo is than that of `reference`, where both were brought to one height; negative where it
        is stronger.
    reference : str
        Structure that was compared with, e.g. ``sclera``.
    """

    capture_id: str
    structure: str
    tissue_sensitivity_db: float
    reflectivity: Reflectivity | None = None
    weaker_by_db: float | None = None
    reference: str = ""
    gain_db: float | None = None
    reference_gain_db: float | None = None

    @property
    def difference_words(self) -> str:
        """The difference and the gains behind it."""
        return (
            f"{self.weaker_by_db:g} dB weaker than {self.reference.replace('-', ' ')} "
            f"(same height at {self.gain_db:g} dB and {self.reference_gain_db:g} dB)"
        )
