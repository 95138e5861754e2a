"""What a pixel measures: US Region Calibration, and Pixel Spacing or Pixel Aspect Ratio beside it.

Region calibration is the calibration of ultrasound images (PS3.3 C.8.5.5), in centimetres. Some readers know Pixel
Spacing alone, so it is written as a second witness (a standard-extended attribute, PS3.2 3.11.3), but only where one
region covers the whole picture: elsewhere it would lend the scale to pixels that do not have it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from gateway.builders.attributes import AttributeWriter
from gateway.errors.media import RegionOutsidePictureError
from gateway.model.a_scan import AScanStrip
from gateway.model.calibration import Calibration, DepthAxis, PixelRegion, Point, ScaleSource
from gateway.model.capture import Capture
from gateway.model.position import Scan

_NO_UNIT: Final = 0
_PERCENT: Final = 1
_CENTIMETRES: Final = 3
_TWO_DIMENSIONAL, _WAVEFORM = 1, 4
_TISSUE, _OTHER_AMPLITUDE = 0x1, 0x12
_SCALE_PROTECTED: Final = 0x2
"""Bit 1 of Region Flags: the scale was set by the device itself (PS3.3 C.8.5.5.1.3)."""
_LARGEST_RATIO_TERM: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class PictureSize:
    """Rows and columns of a picture."""

    rows: int
    columns: int

    @property
    def whole(self) -> PixelRegion:
        """The region that covers all of it."""
        return PixelRegion(0, 0, self.columns - 1, self.rows - 1)


def write_calibration(
    w: AttributeWriter, capture: Capture, size: PictureSize, frequency_mhz: float | None, path: str
) -> None:
    """Write what is known of the size of a pixel; nothing where the capture states no scale.

    An A-scan has a length along its depth axis only; the other axis is an amplitude, in percent where the device's
    scale is stated and of unknown unit elsewhere. Where its depth axis is not stated, nothing is written. A strip with
    an A-scan is a region of its own after the picture's; on a capture that is nothing but an A-scan it stands alone.

    Parameters
    ----------
    frequency_mhz : float or None
        Nominal frequency of the probe.
    path : str
        Field path of the capture, e.g. ``captures[2]``.

    Raises
    ------
    RegionOutsidePictureError
        If the stated region, or the strip, does not lie inside the picture.
    """
    calibration = capture.calibration
    if calibration is None:
        return
    is_a_scan, strip = capture.position.scan is Scan.A_SCAN, calibration.a_scan_strip
    path = f"{path}.calibration"
    items = []
    if is_a_scan and strip is None:
        items += _trace_region(calibration, size, path)
    elif not is_a_scan or calibration.region is not None:
        items.append(_picture_region(w, calibration, size, path))
    if strip is not None:
        items.append(_strip_region(calibration, strip, size, path))
    for item in items:
        if frequency_mhz is not None:
            # kHz, a whole number (PS3.3 C.8.5.5)
            item.set("TransducerFrequency", round(frequency_mhz * 1000), "session.probe.nominal_frequency_mhz")
    if items:
        w.sequence("SequenceOfUltrasoundRegions", items, path)


def _picture_region(w: AttributeWriter, calibration: Calibration, size: PictureSize, path: str) -> AttributeWriter:
    """Return the region of a B-scan and write its scale a second time where that may be done."""
    region = calibration.region or size.whole
    _require_inside(region, size, f"{path}.region")
    item = AttributeWriter()
    _write_location(item, calibration, region, _location_origin(calibration, path), path)
    _write_picture_scale(item, calibration, region, path)
    _write_second_witness(w, calibration, region == size.whole, f"{path}.mm_per_pixel")
    return item


def _trace_region(calibration: Calibration, size: PictureSize, path: str) -> list[AttributeWriter]:
    """Return the region of a picture that is nothing but an A-scan; none where the depth axis is not stated."""
    depth_axis = calibration.depth_axis
    if depth_axis is None:
        return []
    region = calibration.region or size.whole
    _require_inside(region, size, f"{path}.region")
    item = AttributeWriter()
    _write_location(item, calibration, region, _location_origin(calibration, path), path)
    is_depth_x = depth_axis is DepthAxis.LEFT_TO_RIGHT
    mm_per_pixel = calibration.mm_per_pixel_x if is_depth_x else calibration.mm_per_pixel_y
    axes = {"depth_axis": f"{path}.depth_axis", "mm_per_pixel": f"{path}.mm_per_pixel.{'x' if is_depth_x else 'y'}"}
    _write_trace_scale(item, AScanStrip(region, mm_per_pixel, depth_axis), axes)
    return [item]


def _strip_region(calibration: Calibration, strip: AScanStrip, size: PictureSize, path: str) -> AttributeWriter:
    """Return the region of a strip in which the device drew an A-scan."""
    path = f"{path}.a_scan_strip"
    _require_inside(strip.region, size, f"{path}.region")
    item = AttributeWriter()
    _write_location(item, calibration, strip.region, f"{path}.region", path.rpartition(".")[0])
    names = ("depth_axis", "mm_per_pixel", "percent_per_pixel")
    _write_trace_scale(item, strip, {name: f"{path}.{name}" for name in names})
    if strip.zero is not None:
        _write_zero(item, strip, strip.zero, f"{path}.zero")
    return item


def _write_second_witness(w: AttributeWriter, calibration: Calibration, is_whole: bool, origin: str) -> None:
    if is_whole:
        w.set("PixelSpacing", [calibration.mm_per_pixel_y, calibration.mm_per_pixel_x], origin)
    elif calibration.mm_per_pixel_x != calibration.mm_per_pixel_y:
        # Vertical over horizontal, whole numbers (PS3.3 C.7.6.3.1.7)
        w.set("PixelAspectRatio", aspect_ratio(calibration.mm_per_pixel_y, calibration.mm_per_pixel_x), origin)


def aspect_ratio(vertical_mm: float, horizontal_mm: float) -> tuple[int, int]:
    """Return two whole numbers in the ratio of a pixel's height to its width."""
    ratio = (Fraction(repr(vertical_mm)) / Fraction(repr(horizontal_mm))).limit_denominator(_LARGEST_RATIO_TERM)
    return ratio.numerator, ratio.denominator


def _require_inside(region: PixelRegion, size: PictureSize, where: str) -> None:
    if not (0 <= region.x0 <= region.x1 < size.columns and 0 <= region.y0 <= region.y1 < size.rows):
        raise RegionOutsidePictureError(
            "the calibrated region does not lie inside the picture",
            where=where,
            was=f"x {region.x0} to {region.x1}, y {region.y0} to {region.y1} in {size.columns} x {size.rows} pixels",
            fix="give the region in pixels of this picture, from 0, both ends inclusive",
        )


def _location_origin(calibration: Calibration, path: str) -> str:
    return f"{path}.region" if calibration.region else "rule: the scale holds for the whole picture"


def _write_location(
    item: AttributeWriter, calibration: Calibration, region: PixelRegion, origin: str, path: str
) -> None:
    flags = _SCALE_PROTECTED if calibration.scale_source is ScaleSource.DEVICE else 0
    item.set("RegionFlags", flags, f"{path}.scale_source")
    item.set("RegionLocationMinX0", region.x0, origin)
    item.set("RegionLocationMinY0", region.y0, origin)
    item.set("RegionLocationMaxX1", region.x1, origin)
    item.set("RegionLocationMaxY1", region.y1, origin)


def _write_trace_scale(item: AttributeWriter, trace: AScanStrip, origins: Mapping[str, str]) -> None:
    """Write depth in centimetres along one axis, and the amplitude along the other."""
    rule = "rule: PS3.3 C.8.5.5"
    item.set("RegionSpatialFormat", _WAVEFORM, rule)
    item.set("RegionDataType", _OTHER_AMPLITUDE, rule)
    depth, amplitude = _depth_and_amplitude(trace)
    percent = trace.percent_per_pixel
    item.set(f"PhysicalUnits{depth}Direction", _CENTIMETRES, origins["depth_axis"])
    item.set(f"PhysicalDelta{depth}", millimetres_as_centimetres(trace.mm_per_pixel), origins["mm_per_pixel"])
    if percent is None:
        item.set(f"PhysicalUnits{amplitude}Direction", _NO_UNIT, rule)
        item.set(f"PhysicalDelta{amplitude}", 1.0, rule)
    else:
        item.set(f"PhysicalUnits{amplitude}Direction", _PERCENT, origins["percent_per_pixel"])
        item.set(f"PhysicalDelta{amplitude}", percent, origins["percent_per_pixel"])


def _depth_and_amplitude(trace: AScanStrip) -> tuple[str, str]:
    return ("X", "Y") if trace.depth_axis is DepthAxis.LEFT_TO_RIGHT else ("Y", "X")


def _write_zero(item: AttributeWriter, strip: AScanStrip, zero: Point, origin: str) -> None:
    """Write the pixel of zero depth on the baseline; its physical value is where the pixel's middle lies from it.

    Without a scale of the amplitude its number would have no unit, so it is left out.
    """
    depth, amplitude = _depth_and_amplitude(strip)
    at = {"X": (zero.x, strip.region.x0), "Y": (zero.y, strip.region.y0)}
    per_pixel = {depth: strip.mm_per_pixel / 10, amplitude: strip.percent_per_pixel}
    for axis in "XY":
        place, corner = at[axis]
        pixel, scale = math.floor(place), per_pixel[axis]
        item.set(f"ReferencePixel{axis}0", pixel - corner, origin)
        if scale is not None:
            item.set(f"ReferencePixelPhysicalValue{axis}", (pixel + 0.5 - place) * scale, origin)


def _write_picture_scale(item: AttributeWriter, calibration: Calibration, region: PixelRegion, path: str) -> None:
    rule = "rule: PS3.3 C.8.5.5"
    item.set("RegionSpatialFormat", _TWO_DIMENSIONAL, rule)
    item.set("RegionDataType", _TISSUE, rule)
    item.set("PhysicalUnitsXDirection", _CENTIMETRES, rule)
    item.set("PhysicalUnitsYDirection", _CENTIMETRES, rule)
    item.set("PhysicalDeltaX", millimetres_as_centimetres(calibration.mm_per_pixel_x), f"{path}.mm_per_pixel.x")
    item.set("PhysicalDeltaY", millimetres_as_centimetres(calibration.mm_per_pixel_y), f"{path}.mm_per_pixel.y")
    face = face_centre(calibration)
    if face:
        _write_reference_pixel(item, face, calibration, region, f"{path}.sector")


def millimetres_as_centimetres(length_mm: float) -> float:
    """Return millimetres as centimetres, rounded once: 0.07 becomes 0.007 and not 0.007000000000000001."""
    return float(Fraction(repr(length_mm)) / 10)


def face_centre(calibration: Calibration) -> Point | None:
    """Return the middle of the transducer face in pixels, or None where the geometry is not stated.

    It lies on the middle beam, `pivot_to_face_mm` from the pivot along the depth axis.
    """
    sector = calibration.sector
    if sector is None or calibration.depth_axis is None:
        return None
    if calibration.depth_axis is DepthAxis.LEFT_TO_RIGHT:
        return Point(sector.pivot.x + sector.pivot_to_face_mm / calibration.mm_per_pixel_x, sector.pivot.y)
    return Point(sector.pivot.x, sector.pivot.y + sector.pivot_to_face_mm / calibration.mm_per_pixel_y)


def _write_reference_pixel(
    item: AttributeWriter, face: Point, calibration: Calibration, region: PixelRegion, origin: str
) -> None:
    """Write the pixel that holds the middle of the face, counted from the region's corner (PS3.3 C.8.5.5.1.16).

    Its physical value is where the middle of that pixel lies from the middle of the face, so that the origin of the
    physical coordinates is the face itself and not a rounded pixel.
    """
    x, y = math.floor(face.x), math.floor(face.y)
    item.set("ReferencePixelX0", x - region.x0, origin)
    item.set("ReferencePixelY0", y - region.y0, origin)
    item.set("ReferencePixelPhysicalValueX", (x + 0.5 - face.x) * calibration.mm_per_pixel_x / 10, origin)
    item.set("ReferencePixelPhysicalValueY", (y + 0.5 - face.y) * calibration.mm_per_pixel_y / 10, origin)
