"""How a capture counts frames and pixels."""

from __future__ import annotations

from gateway.errors.document import ValueOutOfRangeError
from gateway.mapping.document.captures import CalibrationFields, CaptureFields
from gateway.mapping.document.geometry import RegionFields
from gateway.mapping.parts import Part
from gateway.model.calibration import PixelConvention, Point
from gateway.model.capture import CaptureKind


def frame_count(fields: CaptureFields) -> int | None:
    """Return the number of recorded frames where the document tells it."""
    if fields.kind is CaptureKind.STILL:
        return 1
    stated = fields.files or fields.frame_times_ms
    return len(stated) if stated is not None else None


def corner_point(pair: tuple[float, float], calibration: CalibrationFields | None) -> Point:
    """Return a point in corner convention: half a pixel is added where the capture counts from pixel centres."""
    is_centre = calibration is not None and calibration.pixel_convention is PixelConvention.CENTRE
    shift = 0.5 if is_centre else 0.0
    return Point(pair[0] + shift, pair[1] + shift)


def stored_frame(frame: int | None, capture: CaptureFields) -> int | None:
    """Return the frame's number in the stored loop."""
    if frame is None or capture.keep is None:
        return frame
    return frame - capture.keep.first + 1


def refuse_turned_region(part: Part[CaptureFields], region: RegionFields, *steps: str | int) -> None:
    """Refuse a rectangle whose corners are not in their order."""
    if region.x0 > region.x1 or region.y0 > region.y1:
        was = f"{region.x0},{region.y0} to {region.x1},{region.y1}"
        fix = "x0,y0 is top left, x1,y1 bottom right"
        part.refuse(ValueOutOfRangeError, "the region ends before it begins", *steps, was=was, fix=fix)
