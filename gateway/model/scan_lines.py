"""Raw scan lines of a capture: amplitude over depth, one line after the other, before any picture was made of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.model.calibration import DepthAxis
from gateway.model.measurement import TissueSpeed


class LineLayout(StrEnum):
    """How lines lie in the file."""

    LINES_ARE_ROWS = "lines-are-rows"
    LINES_ARE_COLUMNS = "lines-are-columns"


@dataclass(frozen=True, slots=True)
class SectorLines:
    """Lines that fan out from a pivot behind the probe face.

    Parameters
    ----------
    pivot_to_face_mm : float
    angles_deg : tuple of float
        Of each line from the middle of the fan, or of the first and the last where `is_even`; they grow towards larger
        pixel numbers: downwards where depth runs left to right, to the right where it runs top down.
    is_even : bool
        Whether only the first and last angle are given, the others evenly between.
    """

    pivot_to_face_mm: float
    angles_deg: tuple[float, ...]
    is_even: bool


@dataclass(frozen=True, slots=True)
class LinearLines:
    """Parallel lines, `pitch_mm` apart."""

    pitch_mm: float


@dataclass(frozen=True, slots=True)
class ChosenScanLine:
    """A raw line that is to be shown as an A-scan.

    Parameters
    ----------
    number : int
        Counted from 1 in the file.
    frame : int or None
        1-based frame of the *stored* loop; None on a still.
    speed : TissueSpeed or None
        For the axis; the assumed speed where None.
    """

    id: str
    number: int
    frame: int | None = None
    speed: TissueSpeed | None = None


@dataclass(frozen=True, slots=True)
class ScanLines:
    """What is stated of a capture's scan lines.

    Parameters
    ----------
    lines : SectorLines or LinearLines
    depth_axis : DepthAxis
        Of the picture that is made of them.
    assumed_speed_m_per_s : float
        Turns time into depth; the picture's millimetres hold at it.
    sample_interval_mm : float
        Depth between two samples at that speed.
    start_depth_mm : float
        Depth of the first sample from the probe face at that speed.
    mm_per_pixel : float
        Of the picture, both ways.
    window : tuple of float or None
        Sample values that become black and white; the full range of 8-bit samples, the lowest and highest sample found
        of 16-bit ones, where None.
    chosen : tuple of ChosenScanLine
        Lines that the report shows.
    """

    lines: SectorLines | LinearLines
    depth_axis: DepthAxis
    assumed_speed_m_per_s: float
    sample_interval_mm: float
    start_depth_mm: float
    mm_per_pixel: float
    layout: LineLayout = LineLayout.LINES_ARE_ROWS
    window: tuple[float, float] | None = None
    chosen: tuple[ChosenScanLine, ...] = ()
