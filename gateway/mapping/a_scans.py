"""A-scan lines, strips and settings of a capture, with the rules between them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from gateway.acoustics.reflectivity import reflectivity, required_sensitivity_db
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
from gateway.errors.measurement import (
    LineNotMeasurableError,
    MeasurementError,
    NoScaleError,
    PointInStripError,
    ReflectivityNotStandardizedError,
    StripOverlapsPictureError,
)
from gateway.mapping.document.a_scans import (
    AScanLineFields,
    AScanSamplesFields,
    AScanSettingsFields,
    AScanStripFields,
)
from gateway.mapping.document.captures import CalibrationFields, CaptureFields
from gateway.mapping.document.geometry import RegionFields
from gateway.mapping.document.observations import MeasurementFields
from gateway.mapping.frames_and_points import corner_point, frame_count, stored_frame
from gateway.mapping.parts import Part
from gateway.model.a_scan import AScanLine, AScanSamples, AScanSettings, AScanStrip, EchoDifference, SpikeHeight
from gateway.model.calibration import PixelRegion, Point
from gateway.model.capture import CaptureKind
from gateway.model.measurement import TissueSpeed
from gateway.model.position import Scan
from gateway.model.scan_lines import ChosenScanLine

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
        _check_strip(part, fields, fields.calibration, fields.calibration.a_scan_strip)
    if fields.a_scan is not None:
        _check_settings(part, fields, fields.a_scan)
        if fields.a_scan.samples is not None:
            _check_samples(part, fields.a_scan.samples, speeds)


def _check_line(part: CapturePart, fields: CaptureFields, line: AScanLineFields, speeds: Speeds) -> None:
    for error, what, was, fix in (*_wrong_ends(fields, line), *_wrong_speed(line, speeds), *_wrong_frame(fields, line)):
        part.refuse(error, f"A-scan line {line.id}: {what}", "a_scan_lines", was=was, fix=fix)


def _wrong_ends(fields: CaptureFields, line: AScanLineFields) -> Iterator[Problem]:
    if line.scan_line is not None:
        yield from _wrong_scan_line(fields, line)
        return
    if line.start is None or line.end is None:
        yield FieldMissingError, "the line's ends are not stated", "", "write from: and to:, or scan_line:"
        return
    if not fields.has_scale:
        fix = "state calibration for this capture, or leave the line out"
        yield NoScaleError, "a capture without a scale", "", fix
    if line.start == line.end:
        yield PointOutsidePictureError, "both ends lie on the same spot", "", "give two different points"
    ends = [corner_point(pair, fields.calibration) for pair in (line.start, line.end)]
    if any(point.x < 0 or point.y < 0 for point in ends):
        yield PointOutsidePictureError, "a point outside the picture", "", "check the points"
    if any(_lies_in_strip(point, fields) for point in ends):
        fix = "draw the line on the picture beside the strip"
        yield LineNotMeasurableError, "a line on the strip in which the device drew an A-scan of its own", "", fix


def _wrong_scan_line(fields: CaptureFields, line: AScanLineFields) -> Iterator[Problem]:
    if fields.scan_lines is None:
        yield FieldNotApplicableError, "a capture that is not made of scan lines", "", "write from: and to: instead"
    if line.start is not None or line.end is not None:
        yield ContradictingFieldsError, "a scan line and ends of a line both stand here", "", "leave one of them out"
    if line.band_mm:
        yield FieldNotApplicableError, "a scan line has no width", "", "leave band_mm out"


def _wrong_speed(line: AScanLineFields | AScanSamplesFields, speeds: Speeds) -> Iterator[Problem]:
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


def check_beside_strip(part: Part[MeasurementFields], points: Sequence[Point], capture: CaptureFields) -> None:
    """Refuse calipers on a strip with an A-scan: the picture's scale does not hold there."""
    if any(_lies_in_strip(point, capture) for point in points):
        what = "a caliper on the strip with an A-scan, where the scale of the picture does not hold"
        fix = "give the displayed number or gates, without points"
        part.refuse(PointInStripError, what, "points", was=capture.id, fix=fix)


def _lies_in_strip(point: Point, capture: CaptureFields) -> bool:
    strip = capture.calibration.a_scan_strip if capture.calibration else None
    if strip is None:
        return False
    region = strip.region
    return region.x0 <= point.x <= region.x1 + 1 and region.y0 <= point.y <= region.y1 + 1


def _check_strip(
    part: CapturePart, fields: CaptureFields, calibration: CalibrationFields, strip: AScanStripFields
) -> None:
    steps = ("calibration", "a_scan_strip")
    region, picture = strip.region, calibration.region
    if region.x0 > region.x1 or region.y0 > region.y1:
        was = f"{region.x0},{region.y0} to {region.x1},{region.y1}"
        fix = "x0,y0 is top left, x1,y1 bottom right"
        part.refuse(ValueOutOfRangeError, "the strip ends before it begins", *steps, was=was, fix=fix)
    if picture is None and fields.scan is not Scan.A_SCAN:
        what = "a strip beside a picture whose own region is not stated"
        part.refuse(StripOverlapsPictureError, what, *steps, fix="write calibration.region: for the picture itself")
    elif picture is not None and _overlap(region, picture):
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


def _check_samples(part: CapturePart, samples: AScanSamplesFields, speeds: Speeds) -> None:
    steps = ("a_scan", "samples")
    for error, what, was, fix in _wrong_speed(samples, speeds):
        part.refuse(error, f"samples of an A-scan: {what}", *steps, was=was, fix=fix)
    if samples.tissue is None and samples.speed_m_per_s is None:
        what = "samples of an A-scan without a speed of sound"
        part.refuse(FieldMissingError, what, *steps, fix="write tissue or speed_m_per_s")
    if (samples.interval_us is None) == (samples.rate_mhz is None):
        what = "samples of an A-scan need an interval or a rate, and one alone"
        part.refuse(ContradictingFieldsError, what, *steps, fix="write interval_us or rate_mhz")


def _check_settings(part: CapturePart, capture: CaptureFields, fields: AScanSettingsFields) -> None:
    settings = settings_of(fields)
    if not settings.spikes and not settings.differences:
        return
    has_strip = capture.calibration is not None and capture.calibration.a_scan_strip is not None
    if capture.scan is not Scan.A_SCAN and not has_strip:
        what = "reflectivity on a picture without an A-scan"
        fix = "write scan: a-scan, or calibration.a_scan_strip: where the picture has one beside it"
        part.refuse(
            ReflectivityNotStandardizedError, what, "a_scan", was=capture.scan.value if capture.scan else "", fix=fix
        )
    try:
        required_sensitivity_db(settings)
        for spike in settings.spikes:
            reflectivity(spike.percent, settings)
    except MeasurementError as error:
        part.refuse(type(error), error.what, "a_scan", was=error.was, fix=error.fix)
    for stated in settings.differences:
        if stated.structure == stated.reference:
            what = "an echo compared with itself"
            fix = "name two structures"
            part.refuse(ContradictingFieldsError, what, "a_scan", was=stated.structure, fix=fix)


# ---------------------------------------------------------------- to the model


def lines_of(part: CapturePart, fields: CaptureFields, speeds: Speeds) -> tuple[AScanLine, ...]:
    """Return the model's lines; they have been checked."""
    return tuple(
        AScanLine(
            line.id,
            corner_point(line.start, fields.calibration),
            corner_point(line.end, fields.calibration),
            stored_frame(line.frame, fields),
            _speed(part, line, ("a_scan_lines", number), speeds),
            line.band_mm or 0.0,
        )
        for number, line in enumerate(fields.a_scan_lines or [])
        if line.start is not None and line.end is not None
    )


def chosen_lines_of(part: CapturePart, fields: CaptureFields, speeds: Speeds) -> tuple[ChosenScanLine, ...]:
    """Return the raw scan lines that are to be shown; they have been checked."""
    return tuple(
        ChosenScanLine(
            line.id,
            line.scan_line,
            stored_frame(line.frame, fields),
            _speed(part, line, ("a_scan_lines", number), speeds),
        )
        for number, line in enumerate(fields.a_scan_lines or [])
        if line.scan_line is not None
    )


def _speed(
    part: CapturePart, line: AScanLineFields | AScanSamplesFields, steps: tuple[str | int, ...], speeds: Speeds
) -> TissueSpeed | None:
    if line.tissue is not None:
        return speeds[line.tissue]
    if line.speed_m_per_s is not None:
        source = str(part.document.place((*part.path, *steps, "speed_m_per_s")))
        return TissueSpeed(line.speed_m_per_s, "", source)
    return None


def strip_of(fields: AScanStripFields, calibration: CalibrationFields) -> AScanStrip:
    """Return the model's strip."""
    region = PixelRegion(fields.region.x0, fields.region.y0, fields.region.x1, fields.region.y1)
    zero = corner_point(fields.zero, calibration) if fields.zero is not None else None
    return AScanStrip(region, fields.mm_per_pixel, fields.depth_axis, fields.percent_per_pixel, zero)


def a_scan_of(part: CapturePart, fields: AScanSettingsFields, speeds: Speeds) -> AScanSettings:
    """Return the model's settings of an A-scan with its samples; they have been checked."""
    samples, settings = fields.samples, settings_of(fields)
    speed = _speed(part, samples, ("a_scan", "samples"), speeds) if samples is not None else None
    if samples is None or speed is None:
        return settings
    interval_us = samples.interval_us if samples.interval_us is not None else 1 / (samples.rate_mhz or math.inf)
    return replace(settings, samples=AScanSamples(tuple(samples.values), interval_us, speed, samples.start_mm))


def settings_of(fields: AScanSettingsFields) -> AScanSettings:
    """Return how an A-scan was made, without its samples."""
    spikes = tuple(SpikeHeight(s.structure, float(s.percent), s.percent) for s in fields.spikes or [])
    differences = tuple(
        EchoDifference(d.structure, d.reference, d.gain_db, d.reference_gain_db) for d in fields.differences or []
    )
    return AScanSettings(bool(fields.standardized), fields.tissue_sensitivity_db, spikes, differences)
