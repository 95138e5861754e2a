"""Captures and what belongs to them."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.errors.document import EyeNotSingleError, MediaPathError
from gateway.mapping.document.a_scans import AScanLineFields, AScanSettingsFields, AScanStripFields
from gateway.mapping.document.base import Fields, PersonFields
from gateway.mapping.document.geometry import MOST_FRAMES, Pair, RegionFields
from gateway.mapping.document.scan_lines import ScanLinesFields
from gateway.mapping.moments import Moment
from gateway.mapping.scalars import (
    Comment,
    HalfHours,
    PartId,
    Required64,
    Rule,
    Switch,
    Text64,
    number,
    refusal,
    required_line,
    text_of,
    whole_number,
    word_of,
)
from gateway.model.calibration import DepthAxis, Geometry, PixelConvention, ScaleSource
from gateway.model.capture import (
    CaptureKind,
    Contact,
    CorrectableAttribute,
    LensStatus,
    ThermalIndexKind,
    VitreousStatus,
)
from gateway.model.laterality import Eye
from gateway.model.position import Gaze, MarkerDirection, Scan, Zone
from gateway.model.witness import WitnessSource


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


class BurnedInTextFields(Fields):
    """Text that is part of the picture, as somebody who looked at it states it."""

    model_config = ConfigDict(json_schema_extra={"if": {"required": ["mask"]}, "then": {"required": ["regions"]}})

    identifies_patient: Switch = Field(
        description="Whether the text identifies the patient (name, number, date of birth); it becomes Burned In "
        "Annotation.",
        examples=["yes"],
    )
    regions: list[RegionFields] | None = Field(
        None, min_length=1, max_length=50, description="Areas with text; to be masked they must cover all of it."
    )
    mask: Switch | None = Field(
        None,
        description="Whether a copy with these areas made black goes out instead; the file itself is never changed.",
        examples=["yes"],
    )


class KeepFields(Fields):
    """Frames that are sent; those before and after stay behind."""

    first: Annotated[int, whole_number(1, MOST_FRAMES)] = Field(description="First kept frame, from 1.", examples=[3])
    last: Annotated[int, whole_number(1, MOST_FRAMES)] = Field(description="Last kept frame.", examples=[38])


_GREY_LEVEL = whole_number(0, 65535)


class GreyWindowFields(Fields):
    """Levels of 16-bit grey that become black and white; levels between are spread evenly."""

    low: Annotated[int, _GREY_LEVEL] = Field(description="Level that becomes 0.", examples=[0])
    high: Annotated[int, _GREY_LEVEL] = Field(description="Level that becomes 255; above low.", examples=[4095])


class EyeWitnessFields(Fields):
    """One source beside this document that names the eye of a capture."""

    source: Annotated[WitnessSource, word_of(WitnessSource, but={WitnessSource.PERSON})] = Field(
        description="What kind of source it is; a person goes into eye_stated_by.", examples=["file-name"]
    )
    eye: EyeWord = Field(description="The eye that it names.", examples=["right"])
    words: Required64 = Field(description="How it says so, as written there.", examples=["OD"])
    at: Annotated[str, required_line(400)] | None = Field(
        None, description="Where it says so: a file, a file and line, an order.", examples=["od-t3.png", "exam.csv:3"]
    )


def _scans(names: list[str]) -> dict[str, Any]:
    return {"properties": {"scan": {"enum": names}}, "required": ["scan"]}


_BETWEEN_FIELDS: dict[str, Any] = {
    "oneOf": [{"required": ["file"]}, {"required": ["files"]}],
    "anyOf": [{"required": ["scan"]}, {"required": ["protocol_step"]}],
    "not": {"required": ["frame_rate_hz", "frame_times_ms"]},
    "allOf": [
        {
            "if": _scans([s for s in Scan if s.requires_clock_hour]),
            "then": {"anyOf": [{"required": ["clock_hour"]}, {"required": ["protocol_step"]}]},
        },
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
    eye_witnesses: list[EyeWitnessFields] | None = Field(
        None, max_length=20, description="Sources beside this document that name the eye."
    )
    eye_stated_by: PersonFields | None = Field(
        None, description="Who says that it is this eye; then no second source is needed.", examples=["Holm^Maija"]
    )
    protocol_step: PartId | None = Field(
        None,
        description="Step of the session's protocol; what of the position is not stated is taken from it.",
        examples=["T12"],
    )
    swept: Switch | None = Field(
        None,
        description="yes where the operator says that this loop sweeps from the posterior pole to the ora serrata.",
        examples=["yes"],
    )
    scan: Annotated[Scan, word_of(Scan)] | None = Field(
        None,
        description="Direction of the scan plane relative to limbus and visual axis; needed unless a protocol step "
        "gives it.",
        examples=["transverse"],
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
    missing_frames: list[Annotated[int, whole_number(0, 1_000_000)]] | None = Field(
        None,
        min_length=1,
        max_length=10_000,
        description="Numbers of frames that no file has; times by frame_rate_hz keep the gap.",
        examples=[[3]],
    )
    page: Annotated[int, whole_number(1, 100_000)] | None = Field(
        None, description="Which picture of a file with several this still is, from 1.", examples=[2]
    )
    grey_window: GreyWindowFields | None = Field(
        None, description="How 16-bit grey becomes 8-bit; left out for the least and greatest level."
    )
    scan_lines: ScanLinesFields | None = Field(
        None, description="Where the media file holds scan lines: how a picture with a scale is made of them."
    )
    burned_in_text: BurnedInTextFields | None = Field(None, description="Text in the picture; left out if unknown.")
    a_scan: AScanSettingsFields | None = Field(None, description="How an A-scan was made.")
    a_scan_lines: list[AScanLineFields] | None = Field(
        None, max_length=20, description="Lines on the picture along which the report plots grey levels."
    )
    corrects: list[Annotated[CorrectableAttribute, word_of(CorrectableAttribute)]] | None = Field(
        None,
        max_length=len(CorrectableAttribute),
        description="Attributes that the capture's DICOM object states wrongly and this exam corrects; without it a "
        "contradiction holds the capture.",
        examples=[["ImageLaterality"]],
    )

    @property
    def has_scale(self) -> bool:
        """Whether pixels of the picture have a size in mm: by a calibration, or by the scan lines it is made of."""
        return self.calibration is not None or self.scan_lines is not None

    @property
    def stated_speed_m_per_s(self) -> float | None:
        """The speed of sound at which that scale holds, where stated."""
        stated = self.calibration or self.scan_lines
        return stated.assumed_speed_m_per_s if stated else None
