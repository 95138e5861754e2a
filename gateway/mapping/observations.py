"""From the fields of measurements, annotations and findings to the model, with the rules between parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches

from gateway.acoustics.quantities import measures, quantity_rule
from gateway.errors.document import (
    ContradictingFieldsError,
    DuplicateIdError,
    EyeContradictionError,
    FieldMissingError,
    FieldNotApplicableError,
    FrameError,
    NothingMeasuredError,
    PointOutsidePictureError,
    TissueNotKnownError,
    UnitNotFittingError,
)
from gateway.errors.measurement import NoScaleError, PointCountError, ToleranceNotApplicableError
from gateway.mapping.a_scans import check_beside_strip
from gateway.mapping.biometry import check_against_capture, check_biometry, gates_of
from gateway.mapping.captures import clock_hour_of
from gateway.mapping.document.base import FindingWords
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.observations import (
    AnnotationFields,
    FindingFields,
    MeasurementFields,
    QuantityFields,
)
from gateway.mapping.frames_and_points import corner_point, frame_count, stored_frame
from gateway.mapping.measuring_fields import check_borders, check_drawing, check_media, drawing_of, media_of
from gateway.mapping.parts import Part, PartIndex
from gateway.model.calibration import Point
from gateway.model.capture import CaptureKind
from gateway.model.coded import TextOrCode
from gateway.model.finding import Annotation, AnnotationKind, Finding, Presence
from gateway.model.measurement import Measurement, TissueSpeed, Unit
from gateway.standard.codes import find_concept

MeasurementPart = Part[MeasurementFields]
AnnotationPart = Part[AnnotationFields]
FindingPart = Part[FindingFields]


Captures = PartIndex[CaptureFields]
Findings = PartIndex[FindingFields]


# ---------------------------------------------------------------- findings


def check_finding(part: FindingPart, captures: Captures) -> None:
    """Refuse a finding that names captures of the other eye, or none that is there and good."""
    fields = part.fields
    if fields is None:
        return
    stated = {name: captures.good(name) for name in fields.captures or []}
    has_good_one = any(stated.values())
    for name, capture in stated.items():
        if capture is None:
            # A finding stays as long as one of its captures does; only unknown ids are refused beside good ones.
            if name not in captures or not has_good_one:
                captures.find(part, name, "captures")
        elif capture.eye is not fields.eye:
            was = f"{fields.eye.value}, but {capture.eye.value} at {captures.place(name, 'eye')}"
            what = "the finding and its capture name different eyes"
            part.refuse(EyeContradictionError, what, "eye", was=was, fix="mend one of them")


def check_tracking(parts: Sequence[FindingPart]) -> None:
    """Refuse findings that share a tracking UID: it names one finding, which a visit describes once."""
    followed: dict[str, list[FindingPart]] = {}
    for part in parts:
        if part.fields is not None and part.fields.tracking_uid:
            followed.setdefault(part.fields.tracking_uid, []).append(part)
    for sharing in followed.values():
        for part in sharing if len(sharing) > 1 else ():
            other = sharing[1] if part is sharing[0] else sharing[0]
            was = f"also at {other.document.place((*other.path, 'tracking_uid'))}"
            what = "two findings of one visit have the same tracking UID"
            part.refuse(DuplicateIdError, what, "tracking_uid", was=was, fix="leave it at the finding it belongs to")


def finding_of(fields: FindingFields, captures: Captures) -> Finding:
    """Return the model's finding; captures that are held are left out of it."""
    return Finding(
        id=fields.id,
        eye=fields.eye,
        what=_what(fields.what),
        presence=fields.presence or Presence.PRESENT,
        structure=fields.structure or "",
        clock_hour=clock_hour_of(fields.clock_hour),
        zone=fields.zone,
        capture_ids=tuple(name for name in dict.fromkeys(fields.captures or []) if captures.good(name)),
        comment=fields.comment or "",
        tracking_uid=fields.tracking_uid or "",
    )


def _what(words: FindingWords) -> TextOrCode:
    text, code = words.text or "", words.code.to_model() if words.code else None
    known = find_concept("finding", text) if text and code is None else None
    return TextOrCode(text.replace("-", " "), known) if known else TextOrCode(text, code)


# ---------------------------------------------------------------- frames and points


def _check_frame(
    part: Part[MeasurementFields] | Part[AnnotationFields], frame: int | None, capture: CaptureFields
) -> None:
    if frame is None:
        return
    if capture.kind is CaptureKind.STILL:
        part.refuse(FieldNotApplicableError, "a still has no frames", "frame", fix="leave frame out")
        return
    count, keep = frame_count(capture), capture.keep
    if count is not None and frame > count:
        part.refuse(
            FrameError, "the loop has fewer frames", "frame", was=f"{frame} of {count}", fix=f"write at most {count}"
        )
    elif keep and not keep.first <= frame <= keep.last:
        was = f"{frame}, kept are {keep.first} to {keep.last}"
        part.refuse(FrameError, "this frame is not kept", "frame", was=was, fix="keep it, or use another frame")


def _check_points(part: Part[MeasurementFields] | Part[AnnotationFields], points: Sequence[Point], field: str) -> None:
    for point in points:
        if point.x < 0 or point.y < 0:
            was = f"[{point.x:g}, {point.y:g}] from the corner"
            part.refuse(PointOutsidePictureError, "a point outside the picture", field, was=was, fix="check the point")
            return


# ---------------------------------------------------------------- measurements


def check_measurement(
    part: MeasurementPart,
    captures: Captures,
    findings: Findings,
    speeds: Mapping[str, TissueSpeed],
) -> None:
    """Refuse a measurement that contradicts itself, its capture or its finding."""
    fields = part.fields
    if fields is None:
        return
    _check_speed(part, fields, speeds)
    _check_quantities(part, fields)
    _check_tolerances(part, fields)
    check_media(part, fields, speeds)
    check_drawing(part, fields)
    check_biometry(part, fields, speeds)
    finding = findings.find(part, fields.finding, "finding") if fields.finding is not None else None
    capture = captures.find(part, fields.capture, "capture")
    if capture is None:
        return
    _check_frame(part, fields.frame, capture)
    check_against_capture(part, fields, capture)
    if fields.points is not None:
        _check_calipers(part, fields, capture)
    if finding is not None and finding.eye is not capture.eye:
        place = findings.place(finding.id, "eye")
        was = f"{capture.eye.value} by its capture, but {finding.eye.value} at {place}"
        what = "the measurement and its finding belong to different eyes"
        part.refuse(EyeContradictionError, what, "finding", was=was, fix="mend one of them")


def _check_speed(part: MeasurementPart, fields: MeasurementFields, speeds: Mapping[str, TissueSpeed]) -> None:
    if fields.tissue is not None and fields.speed_m_per_s is not None:
        part.refuse(
            ContradictingFieldsError,
            "tissue and speed_m_per_s both stand here",
            "speed_m_per_s",
            fix="leave one of them out",
        )
    if fields.tissue is not None and fields.tissue not in speeds:
        near = get_close_matches(fields.tissue, list(speeds), n=1)
        fix = (f"did you mean {near[0]}? " if near else "") + "the table has " + ", ".join(speeds)
        part.refuse(TissueNotKnownError, "the table of speeds has no such tissue", "tissue", was=fields.tissue, fix=fix)


def _check_quantities(part: MeasurementPart, fields: MeasurementFields) -> None:
    if fields.points is None and fields.displayed is None and fields.gates is None and fields.of is None:
        part.refuse(
            NothingMeasuredError, "neither points nor a displayed number", fix="write points, displayed, or both"
        )
    stated: list[tuple[str, QuantityFields]] = [("displayed", fields.displayed)] if fields.displayed else []
    stated += [("repeats", repeat) for repeat in fields.repeats or []]
    for name, quantity in stated:
        if not measures(fields.kind, quantity.unit):
            what = f"{quantity.unit.value} is not a unit of this kind"
            part.refuse(UnitNotFittingError, what, name, was=fields.kind.value, fix="mend kind or unit")


def _check_tolerances(part: MeasurementPart, fields: MeasurementFields) -> None:
    if fields.speed_tolerance_m_per_s is not None and fields.tissue is None and fields.speed_m_per_s is None:
        part.refuse(
            ToleranceNotApplicableError,
            "a tolerance of a speed of sound that is not stated",
            "speed_tolerance_m_per_s",
            fix="state tissue or speed_m_per_s, or leave the tolerance out",
        )
    if fields.refraction_tolerance_mm is not None and not measures(fields.kind, Unit.MM):
        what = "refraction is given in mm for lengths alone"
        part.refuse(
            ToleranceNotApplicableError, what, "refraction_tolerance_mm", was=fields.kind.value, fix="leave it out"
        )


def _check_calipers(part: MeasurementPart, fields: MeasurementFields, capture: CaptureFields) -> None:
    points = fields.points or []
    rule = quantity_rule(fields.kind, drawing_of(fields))
    if not rule.fewest <= len(points) <= rule.most:
        part.refuse(
            PointCountError,
            f"{fields.kind.words} has {rule.points_words} points",
            "points",
            was=str(len(points)),
            fix="check the points",
        )
    if not capture.has_scale:
        fix = "state calibration for this capture, or leave the points out and give the displayed number"
        part.refuse(NoScaleError, "points on a capture without a scale", "points", was=fields.capture, fix=fix)
    if capture.kind is CaptureKind.LOOP and fields.frame is None:
        part.refuse(
            FieldMissingError, "points on a loop without their frame", "points", fix="write frame: and its number"
        )
    corners = [corner_point(pair, capture.calibration) for pair in points]
    _check_points(part, corners, "points")
    check_beside_strip(part, corners, capture)
    check_borders(part, fields, capture)


def measurement_of(
    part: MeasurementPart, fields: MeasurementFields, capture: CaptureFields, speeds: Mapping[str, TissueSpeed]
) -> Measurement:
    """Return the model's measurement; it has been checked."""
    return Measurement(
        id=fields.id,
        capture_id=fields.capture,
        kind=fields.kind,
        frame=stored_frame(fields.frame, capture),
        points=tuple(corner_point(pair, capture.calibration) for pair in fields.points or []),
        displayed=fields.displayed.to_model() if fields.displayed else None,
        tissue_speed=_tissue_speed(part, fields, speeds),
        structure=fields.structure or "",
        finding_id=fields.finding or "",
        measured_by=fields.measured_by.to_model() if fields.measured_by else None,
        repeats=tuple(repeat.to_model() for repeat in fields.repeats or []),
        comment=fields.comment or "",
        refraction_tolerance_mm=fields.refraction_tolerance_mm,
        gates=gates_of(part, fields, speeds),
        gate_tolerance_us=fields.gate_tolerance_us,
        formula=fields.formula,
        implant=fields.implant.to_model() if fields.implant else None,
        reading_m_per_s=fields.reading_speed_m_per_s,
        shape=fields.shape,
        sphere_diameter_mm=fields.sphere_diameter_mm,
        media=media_of(part, fields, capture, speeds),
        of=tuple(fields.of or ()),
        third_dimension=fields.third_dimension,
    )


def _tissue_speed(
    part: MeasurementPart, fields: MeasurementFields, speeds: Mapping[str, TissueSpeed]
) -> TissueSpeed | None:
    tolerance = fields.speed_tolerance_m_per_s
    if fields.tissue is not None:
        speed = speeds[fields.tissue]
        return speed if tolerance is None else replace(speed, tolerance_m_per_s=tolerance)
    if fields.speed_m_per_s is not None:
        source = str(part.document.place((*part.path, "speed_m_per_s")))
        return TissueSpeed(fields.speed_m_per_s, "", source, tolerance)
    return None


# ---------------------------------------------------------------- annotations


def check_annotation(part: AnnotationPart, captures: Captures) -> None:
    """Refuse an annotation without its points or on a capture that is not there."""
    fields = part.fields
    if fields is None:
        return
    needed = {AnnotationKind.ARROW: ("from", "to"), AnnotationKind.TEXT: ("at", "text")}[fields.kind]
    stated = {"from": fields.tail, "to": fields.head, "at": fields.at, "text": fields.text or None}
    for name in needed:
        if stated[name] is None:
            part.refuse(FieldMissingError, "a required field is missing", name, fix=f"write {name}: and its value")
    for name in {"from", "to", "at"} - set(needed):
        if stated[name] is not None:
            part.refuse(FieldNotApplicableError, f"{fields.kind.value} has no such point", name, fix="leave it out")
    capture = captures.find(part, fields.capture, "capture")
    if capture is not None:
        _check_frame(part, fields.frame, capture)
        for name, pair in (("from", fields.tail), ("to", fields.head), ("at", fields.at)):
            if pair is not None:
                _check_points(part, [corner_point(pair, capture.calibration)], name)


def annotation_of(fields: AnnotationFields, capture: CaptureFields) -> Annotation:
    """Return the model's annotation; it has been checked."""
    pairs = [fields.tail, fields.head] if fields.kind is AnnotationKind.ARROW else [fields.at]
    return Annotation(
        capture_id=fields.capture,
        kind=fields.kind,
        points=tuple(corner_point(pair, capture.calibration) for pair in pairs if pair is not None),
        text=fields.text or "",
        frame=stored_frame(fields.frame, capture),
    )
