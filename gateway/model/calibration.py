"""What a pixel means in millimetres, and at which speed of sound that is true."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.a_scan import AScanStrip


class DepthAxis(StrEnum):
    """Direction in which depth grows on the picture; stated, never assumed."""

    LEFT_TO_RIGHT = "left-to-right"
    TOP_DOWN = "top-down"


class Geometry(StrEnum):
    """How the beams of a picture lie; stated, never assumed."""

    LINEAR = "linear"
    """Side by side along the depth axis; the lateral pitch does not depend on the speed of sound."""
    SECTOR = "sector"
    """Fanned out from a pivot."""


class PixelConvention(StrEnum):
    """What the source means by a whole-numbered pixel coordinate."""

    CORNER = "corner"
    """0,0 is the top-left corner of the top-left pixel, as in SCOORD and presentation states (PS3.3 C.10.5)."""
    CENTRE = "centre"
    """0,0 is the middle of the top-left pixel; half a pixel is added on the way to DICOM."""


class ScaleSource(StrEnum):
    """Who says how large a pixel is (region flags bit 1, PS3.3 C.8.5.5.1.3)."""

    DEVICE = "device"
    DERIVED = "derived"


@dataclass(frozen=True, slots=True)
class Point:
    """A point on the picture in pixels, sub-pixel allowed: x to the right, y down, CORNER convention."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class PixelRegion:
    """A rectangle of whole pixels, 0-based, both ends inclusive (PS3.3 C.8.5.5)."""

    x0: int
    y0: int
    x1: int
    y1: int


@dataclass(frozen=True, slots=True)
class SectorGeometry:
    """Beams that fan out from a pivot behind the probe face.

    Parameters
    ----------
    pivot : Point
        Where the beams meet, in pixels (CORNER convention); may lie outside the picture.
    pivot_to_face_mm : float
        Distance from pivot to probe face along each beam; 0 where the pivot lies on the face.
    opening_angle_deg : float or None
        Whole angle of the fan.
    """

    pivot: Point
    pivot_to_face_mm: float
    opening_angle_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Calibration:
    """Scale of one capture. It belongs to that capture alone and is never borrowed.

    Parameters
    ----------
    mm_per_pixel_x, mm_per_pixel_y : float
        At `assumed_speed_m_per_s`.
    depth_axis : DepthAxis or None
    sector : SectorGeometry or None
        None for a linear picture, or a sector whose pivot is not stated.
    assumed_speed_m_per_s : float or None
        Speed of sound by which the device turned time into depth.
    scale_source : ScaleSource
    region : PixelRegion or None
        Where the scale holds; None for the whole picture.
    scale_tolerance_percent : float or None
        How far the real scale may lie from the stated one either way, where somebody states that.
    a_scan_strip : AScanStrip or None
        Strip of the stored picture with an A-scan, outside `region`.
    geometry : Geometry or None
        None where nobody states it; a stated `sector` says it too.
    """

    mm_per_pixel_x: float
    mm_per_pixel_y: float
    depth_axis: DepthAxis | None = None
    sector: SectorGeometry | None = None
    assumed_speed_m_per_s: float | None = None
    scale_source: ScaleSource = ScaleSource.DEVICE
    region: PixelRegion | None = None
    scale_tolerance_percent: float | None = None
    a_scan_strip: AScanStrip | None = None
    geometry: Geometry | None = None

    @property
    def face_px(self) -> float:
        """Where a linear array's face lies along the depth axis: at the edge of the region, else of the picture."""
        if self.region is None:
            return 0.0
        return float(self.region.x0 if self.depth_axis is DepthAxis.LEFT_TO_RIGHT else self.region.y0)
