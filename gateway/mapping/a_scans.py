"""A-scan lines, strips and settings of a capture, with the rules between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from gateway.acoustics.reflectivity import reflectivity
from gateway.errors import GatewayError
from gateway.errors.document import (
    ContradictingFieldsError,
    DuplicateIdError,
    FieldMissingError,
    FieldNotApplicableError,
    FrameError,
    PointOutsidePictureError,
    TissueNotKnownError,
    ValueOutOfRangeError,
)
from gateway.errors.measurement import MeasurementError, NoScaleError, StripOverlapsPictureError
from gateway.mapping.document.a_scans import AScanLineFields, AScanSettingsFields, AScanStripFields
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.geometry import RegionFields
from gateway.mapping.frames_and_points import corner_point, frame_count, stored_frame
from gateway.mapping.parts import Part
from gateway.model.a_scan import AScanLine, AScanSettings, AScanStrip, SpikeHeight
from gateway.model.calibration import PixelRegion
from gateway.model.capture import CaptureKind
from gateway.model.measurement import TissueSpeed

CapturePart = Part[CaptureFields]
Speeds = Mapping[str, TissueSpeed]
Problem = tuple[type[GatewayError], str, str, str]
"""Error, what is wrong, what it was, what to do."""


def check_a_scans(part: CapturePart, fields: CaptureFields, speeds: Speeds) -> None:
    """Refuse what A-scan lines, strip and settings of a capture contradict."""
    for line in fields.a_scan_lines or []:
        _check_line(part, fields, line, speeds)
    ids = [line.id for line in fields.a_scan_lines or []]
    for shared in {name for name in ids if ids.count(name) > 1}:
        what = "two A-scan lines of one capture have the same id"
        part.refuse(DuplicateIdError, what, "a_scan_lines", was=shared, fix="rename one of them")
    if fields.calibration is not None and fields.calibration.a_scan_strip is not None:
        _check_strip(part, fields.calibration.a_scan_strip, fields.calibration.region)
    if fields.a_scan is not None:
        _check_spikes(part, fields.a_scan)


def _check_line(part: CapturePart, fields: CaptureFields, line: AScanLineFields, speeds: Speeds) -> None:
    for error, what, was, fix in (*_wrong_ends(fields, line), *_wrong_speed(line, speeds), *_wrong_frame(fields, line)):
        part.refuse(error, f"A-scan line {line.id}: {what}", "a_scan_lines", was=was, fix=fix)


def _wrong_ends(fields: CaptureFields, line: AScanLineFields) -> Iterator[Problem]:
    if not fields.has_scale:
        fix = "state calibration for this capture, or leave the line out"
        yield NoScaleError, "a capture without a scale", "", fix
    if line.start == line.end:
        yield PointOutsidePictureError, "both ends lie on the same spot", "", "give two different points"
    ends = [corner_point(pair, fields.calibration) for pair in (line.start, line.end)]
    if any(point.x < 0 or point.y < 0 for point in ends):
        yield PointOutsidePictureError, "a point outside the picture", "", "check the points"


def _wrong_speed(line: AScanLineFields, speeds: Speeds) -> Iterator[Problem]:
    if line.tissue is not None and line.speed_m_per_s is not None:
        yield ContradictingFieldsError, "tissue and speed_m_per_s both stand here", "", "leave one of them out"
    if line.tissue is not None and line.tissue not in speeds:
        fix = "the table has " + ", ".join(speeds)
        yield TissueNotKnownError, "the table of speeds has no such tissue", line.tissue, fix


def _wrong_frame(fields: CaptureFields, line: AScanLineFields) -> Iterator[Problem]:
    if fields.kind is CaptureKind.STILL:
        if line.frame is not None:
            yield FieldNotApplicableError, "a still has no frames", "", "leave frame out"
        return
    if line.frame is None:
        yield FieldMissingError, "a line on a loop without its frame", "", "write frame: and its number"
        return
    count, keep = frame_count(fields), fields.keep
    if count is not None and line.frame > count:
        yield FrameError, "the loop has fewer frames", f"{line.frame} of {count}", f"write at most {count}"
    elif keep is not None and not keep.first <= line.frame <= keep.last:
        was = f"{line.frame}, kept are {keep.first} to {keep.last}"
        yield FrameError, "this frame is not kept", was, "keep it, or use another frame"


def _check_strip(part: CapturePart, strip: AScanStripFields, picture: RegionFields | None) -> None:
    steps = ("calibration", "a_scan_strip")
    region = strip.region
    if region.x0 > region.x1 or region.y0 > region.y1:
        was = f"{region.x0},{region.y0} to {region.x1},{region.y1}"
        fix = "x0,y0 is top left, x1,y1 bottom right"
        part.refuse(ValueOutOfRangeError, "the strip ends before it begins", *steps, was=was, fix=fix)
    if picture is None:
        what = "a strip beside a picture whose own region is not stated"
        part.refuse(StripOverlapsPictureError, what, *steps, fix="write calibration.region: for the picture itself")
    elif _overlap(region, picture):
        was = f"strip {_corners(region)}, picture {_corners(picture)}"
        fix = "mend the one that reaches into the other"
        part.refuse(StripOverlapsPictureError, "strip and picture share pixels", *steps, was=was, fix=fix)
    if strip.percent_per_pixel == 0:
        what = "an amplitude scale of nothing"
        part.refuse(
            ValueOutOfRangeError, what, *steps, was="0", fix="leave percent_per_pixel out where it is not known"
        )


def _overlap(one: RegionFields, other: RegionFields) -> bool:
    return one.x0 <= other.x1 and other.x0 <= one.x1 and one.y0 <= other.y1 and other.y0 <= one.y1


def _corners(region: RegionFields) -> str:
    return f"{region.x0},{region.y0} to {region.x1},{region.y1}"


def _check_spikes(part: CapturePart, fields: AScanSettingsFields) -> None:
    settings = settings_of(fields)
    for spike in settings.spikes:
        try:
            reflectivity(spike.percent, settings)
        except MeasurementError as error:
            part.refuse(type(error), error.what, "a_scan", was=error.was, fix=error.fix)
            return


# ---------------------------------------------------------------- to the model


def lines_of(part: CapturePart, fields: CaptureFields, speeds: Speeds) -> tuple[AScanLine, ...]:
    """Return the model's lines; they have been checked."""
    return tuple(
        AScanLine(
            line.id,
            corner_point(line.start, fields.calibration),
            corner_point(line.end, fields.calibration),
            stored_frame(line.frame, fields),
            _speed(part, line, number, speeds),
            line.band_mm or 0.0,
        )
        for number, line in enumerate(fields.a_scan_lines or [])
    )


def _speed(part: CapturePart, line: AScanLineFields, number: int, speeds: Speeds) -> TissueSpeed | None:
    if line.tissue is not None:
        return speeds[line.tissue]
    if line.speed_m_per_s is not None:
        source = str(part.document.place((*part.path, "a_scan_lines", number, "speed_m_per_s")))
        return TissueSpeed(line.speed_m_per_s, "", source)
    return None


def strip_of(fields: AScanStripFields) -> AScanStrip:
    """Return the model's strip."""
    region = PixelRegion(fields.region.x0, fields.region.y0, fields.region.x1, fields.region.y1)
    return AScanStrip(region, fields.mm_per_pixel, fields.depth_axis, fields.percent_per_pixel)


def settings_of(fields: AScanSettingsFields) -> AScanSettings:
    """Return the model's settings of an A-scan."""
    spikes = tuple(SpikeHeight(s.structure, float(s.percent), s.percent) for s in fields.spikes or [])
    return AScanSettings(bool(fields.standardized), fields.tissue_sensitivity_db, spikes)
