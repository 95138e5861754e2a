"""Amplitude over depth: lines on a picture, strips beside a picture, and standardized A-scans."""

from __future__ import annotations

from dataclasses import dataclass
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
    """

    id: str
    start: Point
    end: Point
    frame: int | None = None
    speed: TissueSpeed | None = None
    band_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class AScanStrip:
    """A strip of the stored picture in which the device drew an A-scan.

    Parameters
    ----------
    mm_per_pixel : float
        Along depth.
    percent_per_pixel : float or None
        Of the device's own amplitude scale, across depth; negative where it grows towards smaller pixel numbers.
    """

    region: PixelRegion
    mm_per_pixel: float
    depth_axis: DepthAxis
    percent_per_pixel: float | None = None


@dataclass(frozen=True, slots=True)
class SpikeHeight:
    """Height of a spike as percent of the initial spike, as displayed; `text` keeps the digits."""

    structure: str
    percent: float
    text: str = ""


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
    """

    standardized: bool = False
    tissue_sensitivity_db: float | None = None
    spikes: tuple[SpikeHeight, ...] = ()
