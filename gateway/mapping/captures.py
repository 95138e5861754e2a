"""From the fields of a capture to the model's capture, with the rules between fields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gateway.errors.document import (
    ClockHourError,
    ContradictingFieldsError,
    EyeContradictionError,
    FieldMissingError,
    FieldNotApplicableError,
    FrameError,
    FrameTimingError,
    ValueOutOfRangeError,
)
from gateway.mapping.a_scans import a_scan_of, check_a_scans, chosen_lines_of, lines_of, strip_of
from gateway.mapping.burned_in_text import burned_in_text_of, check_burned_in_text
from gateway.mapping.document.captures import CalibrationFields, CaptureFields
from gateway.mapping.frame_numbers import check_frame_numbers, timing_of
from gateway.mapping.frames_and_points import corner_point, frame_count, refuse_turned_region
from gateway.mapping.measuring_fields import check_geometry
from gateway.mapping.parts import Part
from gateway.mapping.scan_lines import check_scan_lines, scan_lines_of
from gateway.model.calibration import Calibration, PixelRegion, ScaleSource, SectorGeometry
from gateway.model.capture import (
    AcquisitionSettings,
    Capture,
    CaptureKind,
    FrameRange,
    ThermalIndex,
)
from gateway.model.measurement import TissueSpeed
from gateway.model.media import GreyWindow
from gateway.model.position import ClockHour, ProbePosition, Scan

CapturePart = Part[CaptureFields]


def check_captures(parts: Sequence[CapturePart], speeds: Mapping[str, TissueSpeed]) -> None:
    """Refuse captures whose fields contradict one another."""
    for part in parts:
        if part.fields is not None:
            _check_files(part, part.fields)
            _check_position(part, part.fields)
            _check_frames(part, part.fields)
            check_frame_numbers(part, part.fields)
            _check_picture(part, part.fields)
            _check_region(part, part.fields)
            check_burned_in_text(part, part.fields)
            check_scan_lines(part, part.fields)
            check_geometry(part, part.fields)
            check_a_scans(part, part.fields, speeds)
    _check_shared_files(parts)


def _check_files(part: CapturePart, fields: CaptureFields) -> None:
    if fields.file is not None and fields.files is not None:
        part.refuse(ContradictingFieldsError, "file and files both stand here", "files", fix="leave one of them out")
    elif fields.file is None and fields.files is None:
        part.refuse(FieldMissingError, "the media file is not stated", fix="write file: and its name")
    if fields.kind is CaptureKind.STILL:
        for name in ("files", "frame_rate_hz", "frame_times_ms", "keep", "missing_frames"):
            if getattr(fields, name) is not None:
                fix = "leave it out, or write kind: loop"
                part.refuse(FieldNotApplicableError, "a still has no frames", name, fix=fix)


def _check_position(part: CapturePart, fields: CaptureFields) -> None:
    scan = scan_of(fields)
    if scan.requires_clock_hour and fields.clock_hour is None:
        what = f"the scan {scan.value} has no clock hour"
        part.refuse(ClockHourError, what, "scan", fix="write clock_hour: as shown, e.g. 3 or 3:30")
    if scan.forbids_clock_hour and fields.clock_hour is not None:
        what = f"the scan {scan.value} has no clock hour of its own"
        part.refuse(ClockHourError, what, "clock_hour", fix="leave it out, or write scan: axial-oblique")
    if scan is Scan.OTHER and not fields.scan_words:
        part.refuse(FieldMissingError, "the scan is not described", "scan", fix="write scan_words: in your own words")


def _check_frames(part: CapturePart, fields: CaptureFields) -> None:
    times = fields.frame_times_ms
    if times is not None:
        if fields.frame_rate_hz is not None:
            what = "frame_rate_hz and frame_times_ms both stand here"
            part.refuse(FrameTimingError, what, "frame_times_ms", fix="leave one of them out")
        if times[0] != 0:
            part.refuse(
                FrameTimingError,
                "the first frame time is not 0",
                "frame_times_ms",
                was=f"{times[0]:g}",
                fix="count from the first frame",
            )
        late = next((i for i in range(1, len(times)) if times[i] <= times[i - 1]), None)
        if late is not None:
            was = f"{times[late]:g} after {times[late - 1]:g} at frame {late + 1}"
            part.refuse(
                FrameTimingError, "frame times do not increase", "frame_times_ms", was=was, fix="check the list"
            )
        if fields.files is not None and len(times) != len(fields.files):
            was = f"{len(times)} times, {len(fields.files)} files"
            part.refuse(
                FrameTimingError, "not one time for each frame", "frame_times_ms", was=was, fix="check both lists"
            )
    _check_kept(part, fields)


def _check_kept(part: CapturePart, fields: CaptureFields) -> None:
    if fields.keep is None:
        return
    first, last, count = fields.keep.first, fields.keep.last, frame_count(fields)
    if first > last:
        part.refuse(
            FrameError,
            "the first kept frame comes after the last",
            "keep",
            was=f"{first} to {last}",
            fix="swap or mend them",
        )
    elif fields.kind is CaptureKind.LOOP and count is not None and last > count:
        part.refuse(
            FrameError, "the loop has fewer frames", "keep", was=f"{last} of {count}", fix=f"write at most {count}"
        )


def _check_picture(part: CapturePart, fields: CaptureFields) -> None:
    window = fields.grey_window
    if window and window.low >= window.high:
        part.refuse(
            ValueOutOfRangeError,
            "the window ends before it begins",
            "grey_window",
            was=f"{window.low} to {window.high}",
            fix="write the lower level under low",
        )
    if fields.page is not None and fields.kind is CaptureKind.LOOP:
        fix = "leave it out: every picture of the file is a frame"
        part.refuse(FieldNotApplicableError, "a loop has no page", "page", fix=fix)


def _check_region(part: CapturePart, fields: CaptureFields) -> None:
    region = fields.calibration.region if fields.calibration else None
    if region:
        refuse_turned_region(part, region, "calibration", "region")


def _check_shared_files(parts: Sequence[CapturePart]) -> None:
    """One picture cannot show two eyes; two ranges of one loop of the same eye are fine, and so are two pages."""
    users: dict[str, list[CapturePart]] = {}
    for part in parts:
        if part.fields is None:
            continue
        for name in part.fields.files or [part.fields.file or ""]:
            others = users.setdefault(name, [])
            other = next((user for user in others if name and _shows_another_eye(user, part.fields)), None)
            others.append(part)
            if other is not None:
                for one, two in ((part, other), (other, part)):
                    _refuse_shared_file(one, two)
                break


def _shows_another_eye(user: CapturePart, fields: CaptureFields) -> bool:
    other = user.fields
    if other is None or other.eye is fields.eye:
        return False
    return other.page is None or fields.page is None or other.page == fields.page


def _refuse_shared_file(part: CapturePart, other: CapturePart) -> None:
    was = f"also at {other.document.place((*other.path, 'eye'))}"
    part.refuse(
        EyeContradictionError, "one media file named for two eyes", "eye", was=was, fix="mend the file or the eye"
    )


def scan_of(fields: CaptureFields) -> Scan:
    """Return the scan of a capture whose place in the protocol has been taken.

    Raises
    ------
    ValueError
        If it was not.
    """
    if fields.scan is None:
        raise ValueError("the capture's step of the protocol has not been looked up")
    return fields.scan


def capture_of(part: CapturePart, fields: CaptureFields, speeds: Mapping[str, TissueSpeed], number: int = 0) -> Capture:
    """Return the model's capture; its fields have been checked. Witnesses and protocol are added by the caller.

    Parameters
    ----------
    number : int
        Its place in the document, from 1, held captures counted.
    """
    return Capture(
        id=fields.id,
        kind=fields.kind,
        files=tuple(fields.files) if fields.files else (fields.file or "",),
        eye=fields.eye,
        position=ProbePosition(
            scan=scan_of(fields),
            scan_words=fields.scan_words or "",
            clock_hour=clock_hour_of(fields.clock_hour),
            zone=fields.zone,
            marker=fields.marker,
            gaze=fields.gaze,
        ),
        acquired=fields.acquired,
        settings=_settings_of(fields),
        calibration=_calibration_of(fields.calibration) if fields.calibration else None,
        timing=timing_of(fields),
        kept=FrameRange(fields.keep.first, fields.keep.last) if fields.keep else None,
        lens=fields.lens,
        vitreous=fields.vitreous,
        is_key_image=bool(fields.key_image),
        comment=fields.comment or "",
        number=number,
        a_scan=a_scan_of(part, fields.a_scan, speeds) if fields.a_scan else None,
        a_scan_lines=lines_of(part, fields, speeds),
        page=fields.page,
        grey_window=GreyWindow(fields.grey_window.low, fields.grey_window.high) if fields.grey_window else None,
        missing_frames=tuple(sorted(set(fields.missing_frames or ()))),
        protocol_step=fields.protocol_step or "",
        is_swept=bool(fields.swept),
        corrects=tuple(fields.corrects or ()),
        scan_lines=scan_lines_of(fields.scan_lines, chosen_lines_of(part, fields, speeds))
        if fields.scan_lines
        else None,
        burned_in_text=burned_in_text_of(fields.burned_in_text) if fields.burned_in_text else None,
    )


def clock_hour_of(half_hours: int | None) -> ClockHour | None:
    """Return the clock hour, where stated."""
    return ClockHour(half_hours) if half_hours is not None else None


def _settings_of(fields: CaptureFields) -> AcquisitionSettings:
    index = fields.thermal_index
    return AcquisitionSettings(
        contact=fields.contact,
        couplant=fields.couplant or "",
        anaesthetic=fields.anaesthetic or "",
        gain_db=fields.gain_db,
        display_gain_db=fields.display_gain_db,
        dynamic_range_db=fields.dynamic_range_db,
        depth_mm=fields.depth_mm,
        mechanical_index=fields.mechanical_index,
        thermal_index=ThermalIndex(index.kind, index.value) if index else None,
    )


def _calibration_of(fields: CalibrationFields) -> Calibration:
    sector, region = fields.sector, fields.region
    return Calibration(
        mm_per_pixel_x=fields.mm_per_pixel.x,
        mm_per_pixel_y=fields.mm_per_pixel.y,
        depth_axis=fields.depth_axis,
        sector=SectorGeometry(corner_point(sector.pivot, fields), sector.pivot_to_face_mm, sector.opening_angle_deg)
        if sector
        else None,
        assumed_speed_m_per_s=fields.assumed_speed_m_per_s,
        scale_source=fields.scale_source or ScaleSource.DEVICE,
        region=PixelRegion(region.x0, region.y0, region.x1, region.y1) if region else None,
        scale_tolerance_percent=fields.scale_tolerance_percent,
        geometry=fields.geometry,
        a_scan_strip=strip_of(fields.a_scan_strip, fields) if fields.a_scan_strip else None,
    )
