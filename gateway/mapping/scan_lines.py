"""Scan lines of a capture: what a document may say of them, and how it becomes the model's."""

from __future__ import annotations

from gateway.acoustics.pulse_echo import distance_mm
from gateway.errors.document import (
    ContradictingFieldsError,
    FieldMissingError,
    FieldNotApplicableError,
    ValueOutOfRangeError,
)
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.scan_lines import ScanLinesFields, SectorLinesFields
from gateway.mapping.parts import Part
from gateway.model.scan_lines import ChosenScanLine, LinearLines, LineLayout, ScanLines, SectorLines


def check_scan_lines(part: Part[CaptureFields], fields: CaptureFields) -> None:
    """Refuse scan lines whose geometry is not stated in exactly one way, or beside another scale."""
    lines = fields.scan_lines
    if lines is None:
        return
    if fields.calibration is not None:
        what = "scan lines bring their own scale"
        fix = "leave calibration out; the picture's scale follows from scan_lines"
        part.refuse(ContradictingFieldsError, what, "calibration", fix=fix)
    if fields.files is not None:
        what = "scan lines come in one file"
        part.refuse(
            FieldNotApplicableError, what, "files", fix="write file: and one .npy with frames as its first axis"
        )
    _require_one(part, lines, "sector", "linear")
    _require_one(part, lines, "sample_interval_mm", "sampling_rate_mhz")
    if lines.sector is not None:
        _check_angles(part, lines.sector)
    if lines.window is not None and lines.window.low >= lines.window.high:
        what = "the window ends before it begins"
        part.refuse(ValueOutOfRangeError, what, "scan_lines", "window", fix="write low: below high:")


def _require_one(part: Part[CaptureFields], lines: ScanLinesFields, one: str, other: str) -> None:
    stated = [name for name in (one, other) if getattr(lines, name) is not None]
    if len(stated) == 2:
        what = f"{one} and {other} both stand here"
        part.refuse(ContradictingFieldsError, what, "scan_lines", other, fix="leave one of them out")
    elif not stated:
        part.refuse(FieldMissingError, f"neither {one} nor {other} is stated", "scan_lines", fix="write one of them")


def _check_angles(part: Part[CaptureFields], sector: SectorLinesFields) -> None:
    ends = [sector.first_angle_deg is not None, sector.last_angle_deg is not None]
    if sector.angles_deg is not None and any(ends):
        what = "angles are stated twice"
        fix = "leave angles_deg out, or first_angle_deg and last_angle_deg"
        part.refuse(ContradictingFieldsError, what, "scan_lines", "sector", "angles_deg", fix=fix)
    elif sector.angles_deg is None and not all(ends):
        what = "the angles of the lines are not stated"
        fix = "write first_angle_deg and last_angle_deg, or angles_deg"
        part.refuse(FieldMissingError, what, "scan_lines", "sector", fix=fix)


def scan_lines_of(fields: ScanLinesFields, chosen: tuple[ChosenScanLine, ...]) -> ScanLines:
    """Return the model's scan lines; the fields have been checked.

    Parameters
    ----------
    chosen : tuple of ChosenScanLine
        Lines that the report shows.
    """
    speed = fields.assumed_speed_m_per_s
    interval_mm = fields.sample_interval_mm
    if interval_mm is None:
        interval_mm = float(distance_mm(1.0 / (fields.sampling_rate_mhz or 1.0), speed))
    return ScanLines(
        lines=_lines_of(fields),
        depth_axis=fields.depth_axis,
        assumed_speed_m_per_s=speed,
        sample_interval_mm=interval_mm,
        start_depth_mm=fields.start_depth_mm or 0.0,
        mm_per_pixel=fields.mm_per_pixel,
        layout=fields.layout or LineLayout.LINES_ARE_ROWS,
        window=(fields.window.low, fields.window.high) if fields.window else None,
        chosen=chosen,
    )


def _lines_of(fields: ScanLinesFields) -> SectorLines | LinearLines:
    sector = fields.sector
    if sector is None:
        return LinearLines(fields.linear.pitch_mm if fields.linear else 0.0)
    if sector.angles_deg is not None:
        return SectorLines(sector.pivot_to_face_mm, tuple(sector.angles_deg), is_even=False)
    return SectorLines(
        sector.pivot_to_face_mm, (sector.first_angle_deg or 0.0, sector.last_angle_deg or 0.0), is_even=True
    )
