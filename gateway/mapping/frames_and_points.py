"""How a capture counts frames and pixels."""

from __future__ import annotations

from gateway.mapping.document.captures import CalibrationFields, CaptureFields
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
