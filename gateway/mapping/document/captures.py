"""Captures and what belongs to them."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.errors.document import EyeNotSingleError, MediaPathError
from gateway.mapping.document.a_scans import AScanLineFields, AScanSettingsFields, AScanStripFields
from gateway.mapping.document.base import Fields
from gateway.mapping.document.geometry import MOST_FRAMES, Pair, RegionFields
from gateway.mapping.moments import Moment
from gateway.mapping.scalars import (
    Comment,
    HalfHours,
    PartId,
    Rule,
    Switch,
    Text64,
    number,
    refusal,
    text_of,
    whole_number,
    word_of,
)
from gateway.model.calibration import DepthAxis, Geometry, PixelConvention, ScaleSource
from gateway.model.capture import CaptureKind, Contact, LensStatus, ThermalIndexKind, VitreousStatus
from gateway.model.laterality import Eye
from gateway.model.position import Gaze, MarkerDirection, Scan, Zone


def _eye(value: object) -> Eye:
    if isinstance(value, list):
        raise refusal(EyeNotSingleError, "a list where one eye belongs", fix="write right or left")
    text = text_of(value, "right or left")
    if text not in {"right", "left"}:
        raise refusal(EyeNotSingleError, "this is not one eye", was=text[:40], fix="write right or left")
    return Eye(text)


EyeWord = Annotated[Eye, Rule(_eye, {"enum": ["right", "left"]})]


def _media_path(value: object) -> str:
    text = text_of(value, "a file name")
    steps = text.split("/")
    is_inside = text and all(step not in {"", ".", ".."} for step in steps)
    if not is_inside or re.search(r'[\\:*?"<>|\x00-\x1f]', text) or len(text) > 400 or text != text.strip():
        raise refusal(
            MediaPathError,
            "this is not a file in the exam folder",
            fix="write it relative to the folder with forward slashes, e.g. media/od-t3.png",
        )
    return text


_MEDIA_PATTERN = r'^(?!\.{1,2}(?:/|$))[^\\:*?"<>|/]+(?:/(?!\.{1,2}(?:/|$))[^\\:*?"<>|/]+)*$'
MediaPath = Annotated[str, Rule(_media_path, {"type": "string", "pattern": _MEDIA_PATTERN, "maxLength": 400})]


class ScaleFields(Fields):
    """Size of a pixel."""

    x: Annotated[float, number(above=0, below=10)] = Field(description="Width of a pixel in mm.", examples=[0.0625])
    y: Annotated[float, number(above=0, below=10)] = Field(description="Height of a pixel in mm.", examples=[0.0625])


class SectorFields(Fields):
    """Beams that fan out from one pivot; needed for a corrected length that does not lie along a beam."""

    pivot: Pair = Field(description="Where the beams meet, in pixels; may lie outside.", examples=[[-120.5, 239.5]])
    pivot_to_face_mm: Annotated[float, number(low=0, high=200)] = Field(
        description="Distance from the pivot to the probe face in mm.", examples=[8]
    )
    opening_angle_deg: Annotated[float, number(above=0, high=180)] | None = Field(
        None, description="Whole angle of the fan in degrees, at most 180.", examples=[52]
    )


class CalibrationFields(Fields):
    """Scale of this capture alone. Without it there are no millimetres; a scale is never borrowed."""

    mm_per_pixel: ScaleFields = Field(description="Size of a pixel at the assumed speed of sound.")
    depth_axis: Annotated[DepthAxis, word_of(DepthAxis)] | None = Field(
        None, description="In which direction depth grows on the picture; never assumed."
    )
    pixel_convention: Annotated[PixelConvention, word_of(PixelConvention)] | None = Field(
        None,
        description="Whether 0,0 is the outer corner (the default) or the centre of the top-left pixel, for every "
        "coordinate given for this capture.",
    )
    scale_source: Annotated[ScaleSource, word_of(ScaleSource)] | None = Field(
        None, description="Whether the device stated the scale (the default) or somebody derived it."
    )
    assumed_speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound by which the device turned time into depth.", examples=[1550]
    )
    scale_tolerance_percent: Annotated[float, number(above=0, high=50)] | None = Field(
        None,
        description="How far the real scale may lie from this one either way, in percent, where somebody checked it.",
        examples=[1],
    )
    geometry: Annotated[Geometry, word_of(Geometry)] | None = Field(
        None,
        description="How the beams lie: side by side along depth_axis, which must then be stated, or in a sector; "
        "stated, never assumed.",
        examples=["linear"],
    )
    sector: SectorFields | None = Field(None, description="Pivot and face of a sector.")
    region: RegionFields | None = Field(None, description="Where the scale holds; left out for the whole picture.")
    a_scan_strip: AScanStripFields | None = Field(
        None, description="Strip of the picture with an A-scan; the picture itself then needs its own region."
    )


class ThermalIndexFields(Fields):
    """A displayed thermal index."""

    kind: Annotated[ThermalIndexKind, word_of(ThermalIndexKind)] = Field(
        description="TIS soft tissue, TIB bone, TIC cranial.", examples=["TIS"]
    )
    value: Annotated[float, number(low=0, high=100)] = Field(description="Its value.", examples=[0.2])


class KeepFields(Fields):
    """Frames that are sent; those before and after stay behind."""

    first: Annotated[int, whole_number(1, MOST_FRAMES)] = Field(description="First kept frame, from 1.", examples=[3])
    last: Annotated[int, whole_number(1, MOST_FRAMES)] = Field(description="Last kept frame.", examples=[38])


def _scans(names: list[str]) -> dict[str, Any]:
    return {"properties": {"scan": {"enum": names}}}


_BETWEEN_FIELDS: dict[str, Any] = {
    "oneOf": [{"required": ["file"]}, {"required": ["files"]}],
    "not": {"required": ["frame_rate_hz", "frame_times_ms"]},
    "allOf": [
        {"if": _scans([s for s in Scan if s.requires_clock_hour]), "then": {"required": ["clock_hour"]}},
        {
            "if": _scans([s for s in Scan if s.forbids_clock_hour]),
            "then": {"properties": {"clock_hour": {"type": "null"}}},
        },
        {"if": _scans([Scan.OTHER]), "then": {"required": ["scan_words"]}},
    ],
}


class CaptureFields(Fields):
    """One still or loop of one eye at one place."""

    model_config = ConfigDict(json_schema_extra=_BETWEEN_FIELDS)

    id: PartId = Field(description="Name of the capture, unique in the document.", examples=["od-t3-eq"])
    kind: Annotated[CaptureKind, word_of(CaptureKind)] = Field(description="A still or a loop.", examples=["still"])
    file: MediaPath | None = Field(
        None, description="The media file, relative to the exam folder.", examples=["media/od-t3-eq.png"]
    )
    files: list[MediaPath] | None = Field(
        None, min_length=1, description="Numbered frames of a loop, in order.", examples=[["f001.png", "f002.png"]]
    )
    acquired: Moment | None = Field(
        None, description="When it was acquired, with offset from UTC.", examples=["2026-03-02T09:34:10+01:00"]
    )
    eye: EyeWord = Field(description="The patient's eye; never guessed from anything else.", examples=["right"])
    scan: Annotated[Scan, word_of(Scan)] = Field(
        description="Direction of the scan plane relative to limbus and visual axis.", examples=["transverse"]
    )
    scan_words: Text64 | None = Field(None, description="The examiner's own words; needed where scan is other.")
    clock_hour: HalfHours | None = Field(
        None,
        description="Clock hour shown, as the examiner faces the patient, in half hours: 3, 3.5 or 3:30. For an "
        "oblique axial scan its meridian.",
        examples=[3.5],
    )
    zone: Annotated[Zone, word_of(Zone)] | None = Field(None, description="Part of the globe shown, front to back.")
    marker: Annotated[MarkerDirection, word_of(MarkerDirection)] | None = Field(
        None, description="Where the probe's marker pointed, as stated; never inferred."
    )
    gaze: Annotated[Gaze, word_of(Gaze)] | None = Field(
        None, description="Where the patient was asked to look; left and right are the patient's."
    )
    contact: Annotated[Contact, word_of(Contact)] | None = Field(None, description="How the probe met the eye.")
    couplant: Text64 | None = Field(None, description="Coupling medium; gel and water have codes.", examples=["gel"])
    anaesthetic: Text64 | None = Field(None, description="topical, an agent, or none.", examples=["topical"])
    gain_db: Annotated[float, number(low=-200, high=300)] | None = Field(
        None, description="Gain during acquisition in dB.", examples=[84]
    )
    display_gain_db: Annotated[float, number(low=-200, high=200)] | None = Field(
        None, description="Change of gain after freezing in dB; the pixels stay as acquired.", examples=[-3]
    )
    dynamic_range_db: Annotated[float, number(above=0, high=300)] | None = Field(
        None, description="Dynamic range in dB.", examples=[60]
    )
    depth_mm: Annotated[float, number(above=0, high=500)] | None = Field(
        None, description="Depth shown in mm.", examples=[40]
    )
    mechanical_index: Annotated[float, number(low=0, high=100)] | None = Field(
        None, description="Displayed mechanical index.", examples=[0.18]
    )
    thermal_index: ThermalIndexFields | None = Field(None, description="Displayed thermal index.")
    lens: Annotated[LensStatus, word_of(LensStatus)] | None = Field(None, description="Lens of this eye.")
    vitreous: Annotated[VitreousStatus, word_of(VitreousStatus)] | None = Field(
        None, description="What fills the space behind the lens."
    )
    key_image: Switch | None = Field(None, description="Whether readers should see this one first.", examples=["yes"])
    comment: Comment | None = Field(None, description="Anything else, in words.")
    calibration: CalibrationFields | None = Field(None, description="Scale of this capture.")
    frame_rate_hz: Annotated[float, number(above=0, high=10000)] | None = Field(
        None, description="Constant frame rate of a loop.", examples=[20]
    )
    frame_times_ms: list[Annotated[float, number(low=0, high=1e8)]] | None = Field(
        None, min_length=1, description="Time of each frame from the first, in ms.", examples=[[0, 50, 101]]
    )
    keep: KeepFields | None = Field(None, description="Kept frames of a loop, counted from 1; left out for all.")
    a_scan: AScanSettingsFields | None = Field(None, description="How an A-scan was made.")
    a_scan_lines: list[AScanLineFields] | None = Field(
        None, max_length=20, description="Lines on the picture along which the report plots grey levels."
    )
