"""What a measurement says beyond its points: media along the beams, shape, sphere, and what it is computed from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches

from gateway.acoustics.derived import require_derivation
from gateway.acoustics.quantities import DERIVED_ALONE, ON_SPHERE, OUTLINED, Drawing
from gateway.errors.document import (
    ContradictingFieldsError,
    EyeContradictionError,
    FieldMissingError,
    FieldNotApplicableError,
    PointOutsidePictureError,
    TissueNotKnownError,
)
from gateway.errors.measurement import DerivationError, MediaOrderError, MixedDimensionsError
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.observations import MeasurementFields, MediumFields
from gateway.mapping.frames_and_points import corner_point
from gateway.mapping.parts import Part, PartIndex
from gateway.model.calibration import Geometry
from gateway.model.measurement import Medium, Shape, TissueSpeed

MeasurementPart = Part[MeasurementFields]
Speeds = Mapping[str, TissueSpeed]


def drawing_of(fields: MeasurementFields) -> Drawing:
    """Return how the points are to be read."""
    return Drawing(fields.shape or Shape.POLYGON, fields.sphere_diameter_mm)


def check_geometry(part: Part[CaptureFields], fields: CaptureFields) -> None:
    """Refuse a geometry that contradicts the sector beside it, or a linear one without its depth axis."""
    calibration = fields.calibration
    if calibration is None or calibration.geometry is not Geometry.LINEAR:
        return
    if calibration.sector is not None:
        what = "a linear picture has no pivot"
        fix = "leave sector out, or write geometry: sector"
        part.refuse(ContradictingFieldsError, what, "calibration", "sector", fix=fix)
    if calibration.depth_axis is None:
        what = "a linear picture without the direction of its beams"
        fix = "write depth_axis: left-to-right or top-down"
        part.refuse(FieldMissingError, what, "calibration", "geometry", fix=fix)


# ---------------------------------------------------------------- media


def check_media(part: MeasurementPart, fields: MeasurementFields, speeds: Speeds) -> None:
    """Refuse media that contradict the measurement's other fields, or that begin nowhere."""
    if fields.media is None:
        return
    for name in ("tissue", "speed_m_per_s"):
        if getattr(fields, name) is not None:
            what = f"media and {name} both stand here"
            part.refuse(ContradictingFieldsError, what, name, fix="leave one of them out")
    if fields.points is None:
        what = "media along beams without points"
        part.refuse(FieldMissingError, what, "media", fix="write points, or leave media out")
    for number, medium in enumerate(fields.media):
        _check_medium(part, medium, number, speeds)


def _check_medium(part: MeasurementPart, medium: MediumFields, number: int, speeds: Speeds) -> None:
    where = f"medium {number + 1}"
    if (medium.tissue is None) is (medium.speed_m_per_s is None):
        what = f"{where} has " + ("no speed of sound" if medium.tissue is None else "both tissue and speed_m_per_s")
        part.refuse(FieldMissingError, what, "media", fix="write tissue or speed_m_per_s, one of them")
    elif medium.tissue is not None and medium.tissue not in speeds:
        near = get_close_matches(medium.tissue, list(speeds), n=1)
        fix = (f"did you mean {near[0]}? " if near else "") + "the table has " + ", ".join(speeds)
        part.refuse(
            TissueNotKnownError, f"the table of speeds has no tissue of {where}", "media", was=medium.tissue, fix=fix
        )
    if number == 0 and medium.begins is not None:
        what = "the first medium begins at the probe face"
        part.refuse(MediaOrderError, what, "media", fix="leave its from out, or name the medium in front of it first")
    elif number > 0 and medium.begins is None:
        part.refuse(
            MediaOrderError, f"where {where} begins is not stated", "media", fix="write from: and a line of points"
        )


def check_borders(part: MeasurementPart, fields: MeasurementFields, capture: CaptureFields) -> None:
    """Refuse borders of media that leave the picture at its top or left."""
    for number, medium in enumerate(fields.media or []):
        for pair in medium.begins or []:
            point = corner_point(pair, capture.calibration)
            if point.x < 0 or point.y < 0:
                what = f"medium {number + 1} begins outside the picture"
                was = f"[{point.x:g}, {point.y:g}] from the corner"
                part.refuse(PointOutsidePictureError, what, "media", was=was, fix="check the point")
                return


def media_of(
    part: MeasurementPart, fields: MeasurementFields, capture: CaptureFields, speeds: Speeds
) -> tuple[Medium, ...]:
    """Return the model's media; they have been checked."""
    return tuple(
        Medium(
            _speed(part, medium, number, speeds),
            tuple(corner_point(pair, capture.calibration) for pair in medium.begins or []),
        )
        for number, medium in enumerate(fields.media or [])
    )


def _speed(part: MeasurementPart, medium: MediumFields, number: int, speeds: Speeds) -> TissueSpeed:
    tolerance = medium.speed_tolerance_m_per_s
    if medium.tissue is not None:
        speed = speeds[medium.tissue]
        return speed if tolerance is None else replace(speed, tolerance_m_per_s=tolerance)
    source = str(part.document.place((*part.path, "media", number, "speed_m_per_s")))
    return TissueSpeed(medium.speed_m_per_s or 0.0, "", source, tolerance)


# ---------------------------------------------------------------- shape, sphere, sources


def check_drawing(part: MeasurementPart, fields: MeasurementFields) -> None:
    """Refuse a shape, a sphere or sources at a kind that has none, and a kind without what it needs."""
    kind = fields.kind
    if fields.shape is not None and kind not in OUTLINED:
        fix = "shape belongs to area and perimeter; leave it out"
        part.refuse(FieldNotApplicableError, f"{kind.words} has no shape", "shape", fix=fix)
    if fields.sphere_diameter_mm is not None and kind not in ON_SPHERE:
        fix = "it belongs to arc-base and two-chord-base; leave it out"
        part.refuse(FieldNotApplicableError, f"{kind.words} lies on no sphere", "sphere_diameter_mm", fix=fix)
    if fields.third_dimension is not None and fields.of is None:
        what = "a third dimension without the other two"
        part.refuse(FieldNotApplicableError, what, "third_dimension", fix="write of: and the two that were measured")
    if fields.of is not None:
        for name in ("points", "gates", "media", "tissue", "speed_m_per_s", "formula", "refraction_tolerance_mm"):
            if getattr(fields, name) is not None:
                what = f"{name} at a measurement that is computed from others"
                part.refuse(ContradictingFieldsError, what, name, fix=f"leave {name} out, or of")
    elif kind in DERIVED_ALONE and fields.points is not None:
        what = f"{kind.words} has no points of its own"
        part.refuse(FieldNotApplicableError, what, "points", fix="name the measurements it is computed from with of")


def check_sources(
    part: MeasurementPart, measurements: PartIndex[MeasurementFields], captures: PartIndex[CaptureFields]
) -> None:
    """Refuse a measurement computed from what is not there, held, of the other eye, or not fit for its formula."""
    fields = part.fields
    if fields is None or fields.of is None:
        return
    sources = [measurements.find(part, name, "of") for name in fields.of]
    if not part.is_good:
        return
    known = [source for source in sources if source is not None]
    if len(set(fields.of)) < len(fields.of):
        fix = "name each once; third_dimension says what is assumed"
        part.refuse(DerivationError, "one measurement named twice", "of", fix=fix)
    if any(source.of is not None for source in known):
        what = "computed from what is itself computed from others"
        part.refuse(DerivationError, what, "of", fix="name what was measured")
        return
    try:
        require_derivation(
            fields.kind, [source.kind for source in known], fields.third_dimension, fields.sphere_diameter_mm
        )
    except (DerivationError, MixedDimensionsError) as error:
        part.refuse(type(error), error.what, "of", was=error.was, fix=error.fix)
    _check_eye(part, fields, known, captures)


def _check_eye(
    part: MeasurementPart,
    fields: MeasurementFields,
    sources: list[MeasurementFields],
    captures: PartIndex[CaptureFields],
) -> None:
    own = captures.good(fields.capture)
    for source in sources:
        capture = captures.good(source.capture)
        if own is not None and capture is not None and capture.eye is not own.eye:
            part.refuse(
                EyeContradictionError,
                "computed from measurements of different eyes",
                "of",
                was=f"{own.eye.value} by its capture, {capture.eye.value} at {source.id}",
                fix="name measurements of one eye",
            )
