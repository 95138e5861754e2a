"""Measurements, annotations, findings, and the document as a whole."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.errors.document import DocumentFormatError
from gateway.mapping.document.base import Fields, FindingWords, PersonFields
from gateway.mapping.document.captures import CaptureFields, EyeWord
from gateway.mapping.document.geometry import MOST_FRAMES, Pair
from gateway.mapping.document.who_and_why import OrderFields, PatientFields, SessionFields
from gateway.mapping.scalars import (
    Comment,
    DisplayedNumber,
    HalfHours,
    Label,
    PartId,
    Rule,
    Switch,
    Text64,
    Uid,
    concept_word,
    matching,
    number,
    refusal,
    text_of,
    whole_number,
    word_of,
)
from gateway.model.biometry import Implant, LengthFormula, Material
from gateway.model.exam import Caution
from gateway.model.finding import AnnotationKind, Presence
from gateway.model.measurement import MeasurementKind, Quantity, Shape, ThirdDimension, Unit
from gateway.model.position import Zone

FORMAT = "eye-ultrasound-exam/1"


class QuantityFields(Fields):
    """A number with its unit, as displayed."""

    value: DisplayedNumber = Field(description="The digits as displayed.", examples=[5.96, "6.00"])
    unit: Annotated[Unit, word_of(Unit)] = Field(
        description='Unit as UCUM writes it; "1" for a ratio.', examples=["mm", "mm3", "1"]
    )

    def to_model(self) -> Quantity:
        """Return the quantity with its digits."""
        return Quantity(float(self.value), self.unit, self.value)


class GateFields(Fields):
    """One segment between two echoes of an A-scan, with its own speed of sound."""

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": ["tissue"]}, {"required": ["speed_m_per_s"]}]})

    segment: Annotated[str, concept_word("structure")] = Field(
        description="What lies between the two echoes.", examples=["anterior-chamber"]
    )
    start_us: Annotated[float, number(low=0, high=1000)] = Field(
        description="Round-trip time of the nearer echo in microseconds.", examples=[0]
    )
    end_us: Annotated[float, number(low=0, high=1000)] = Field(
        description="Round-trip time of the farther echo in microseconds.", examples=[4.6]
    )
    tissue: Text64 | None = Field(
        None, description="Word of the site's table of speeds of sound.", examples=["aqueous"]
    )
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound itself, instead of a tissue.", examples=[1532]
    )
    speed_tolerance_m_per_s: Annotated[float, number(above=0, high=1000)] | None = Field(
        None, description="How far the real speed may lie from it either way, where somebody states that.", examples=[5]
    )


class MediumFields(Fields):
    """One medium that the beams of a measurement pass, listed from the probe face on."""

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": ["tissue"]}, {"required": ["speed_m_per_s"]}]})

    tissue: Text64 | None = Field(
        None, description="Word of the site's table of speeds of sound.", examples=["vitreous", "tumour"]
    )
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound itself, instead of a tissue.", examples=[1532]
    )
    speed_tolerance_m_per_s: Annotated[float, number(above=0, high=1000)] | None = Field(
        None, description="How far the real speed of sound may lie from it either way.", examples=[10]
    )
    begins: list[Pair] | None = Field(
        None,
        alias="from",
        min_length=1,
        max_length=1000,
        description="Line on the picture at which the beams enter it, drawn across the beams, in pixels; one point "
        "alone means the same depth on every beam. The first medium begins at the probe face and has none.",
        examples=[[[200, 100], [212.5, 240], [201, 380]]],
    )


class ImplantFields(Fields):
    """An implanted lens."""

    material: Annotated[Material, word_of(Material)] = Field(description="What it is made of.", examples=["pmma"])
    thickness_mm: Annotated[float, number(above=0, high=5)] | None = Field(
        None, description="Thickness in its centre, in mm.", examples=[0.7]
    )

    def to_model(self) -> Implant:
        """Return the implant."""
        return Implant(self.material, self.thickness_mm)


_MEASUREMENT_RULES: dict[str, Any] = {
    "anyOf": [
        {"required": ["points"]},
        {"required": ["displayed"]},
        {"required": ["gates"]},
        {"required": ["of"]},
    ],
    "not": {
        "anyOf": [
            {"required": ["tissue", "speed_m_per_s"]},
            {"required": ["media", "tissue"]},
            {"required": ["media", "speed_m_per_s"]},
            {"required": ["of", "points"]},
            {"required": ["of", "gates"]},
            {"required": ["of", "media"]},
        ]
    },
    "dependentSchemas": {
        "shape": {"properties": {"kind": {"enum": ["area", "perimeter"]}}},
        "sphere_diameter_mm": {"properties": {"kind": {"enum": ["arc-base", "two-chord-base"]}}},
        "third_dimension": {"required": ["of"]},
        "implant": {"required": ["formula"]},
        "formula": {"properties": {"kind": {"const": "axial-length"}}},
    },
}

Frame = Annotated[int, whole_number(1, MOST_FRAMES)]


class MeasurementFields(Fields):
    """One measurement on one capture; its eye is the capture's."""

    model_config = ConfigDict(json_schema_extra=_MEASUREMENT_RULES)

    id: PartId = Field(description="Name of the measurement, unique in the document.", examples=["m1"])
    capture: PartId = Field(description="Id of the capture it was made on.", examples=["od-l9"])
    frame: Frame | None = Field(
        None, description="Frame of the recorded loop, from 1; needed where a loop has points.", examples=[12]
    )
    kind: Annotated[MeasurementKind, word_of(MeasurementKind)] = Field(
        description="What is measured. perpendicular-height: the two ends of a chord, then the top. perimeter: as "
        "area. circumference: the axes of an ellipse, or the two ends of a sphere's diameter. arc-base: the two ends "
        "of the chord, with sphere_diameter_mm. two-chord-base: end, point on the wall between, end; or two ends with "
        "sphere_diameter_mm. ellipsoid-volume, half-ellipsoid-volume, ratio: of other measurements.",
        examples=["height", "perpendicular-height", "arc-base", "half-ellipsoid-volume"],
    )
    points: list[Pair] | None = Field(
        None,
        min_length=1,
        max_length=10_000,
        description="Caliper points in pixels of the capture, in order; an angle's vertex in the middle. An ellipse "
        "has the ends of one axis and then those of the other, or its centre and one end of each axis.",
        examples=[[[212.5, 240.0], [308.2, 241.1]], [[100, 80], [220, 80], [160, 50], [160, 110]]],
    )
    displayed: QuantityFields | None = Field(None, description="The number that the device displayed.")
    tissue: Text64 | None = Field(
        None, description="Word of the site's table of speeds of sound.", examples=["tumour", "vitreous"]
    )
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound itself, instead of a tissue.", examples=[1550]
    )
    speed_tolerance_m_per_s: Annotated[float, number(above=0, high=1000)] | None = Field(
        None,
        description="How far the real speed of sound may lie from the stated one either way; goes before the table's.",
        examples=[10],
    )
    refraction_tolerance_mm: Annotated[float, number(above=0, high=10)] | None = Field(
        None,
        description="How far refraction may have moved a length either way, where somebody worked it out.",
        examples=[0.1],
    )
    shape: Annotated[Shape, word_of(Shape)] | None = Field(
        None, description="What the points of an area or perimeter are; polygon where left out.", examples=["ellipse"]
    )
    sphere_diameter_mm: Annotated[float, number(low=5, high=50)] | None = Field(
        None,
        description="Diameter of the sphere on which a base along the wall is taken, usually the eye's own, in mm.",
        examples=[24.0],
    )
    media: list[MediumFields] | None = Field(
        None,
        min_length=1,
        max_length=20,
        description="Media that the beams pass, from the probe face on, instead of one tissue: each piece of a beam is "
        "converted with its own speed of sound. Needs sector, or geometry: linear.",
        examples=[[{"tissue": "vitreous"}, {"from": [[200, 100], [212.5, 240], [201, 380]], "tissue": "tumour"}]],
    )
    of: list[PartId] | None = Field(
        None,
        min_length=1,
        max_length=3,
        description="Ids of the measurements that this one is computed from, in the order of its formula: diameters of "
        "an ellipsoid; diameters of the base, then the height, of half an ellipsoid; numerator and denominator of a "
        "ratio; chord, then the sphere's diameter, of an arc-base.",
        examples=[["base-l", "base-t", "height-1"], ["height-1", "base-l"]],
    )
    third_dimension: Annotated[ThirdDimension, word_of(ThirdDimension)] | None = Field(
        None,
        description="How a volume's dimension that was not measured is taken, where of names two.",
        examples=["like-the-first"],
    )
    gates: list[GateFields] | None = Field(
        None, min_length=1, max_length=100, description="Gates of an A-scan from front to back; a length of its own."
    )
    gate_tolerance_us: Annotated[float, number(above=0, high=10)] | None = Field(
        None, description="How far each echo's time may lie from the stated one either way.", examples=[0.02]
    )
    formula: Annotated[LengthFormula, word_of(LengthFormula)] | None = Field(
        None,
        description="Published correction of an axial length read at one speed; given beside the reading.",
        examples=["hoffer-1994-phakic"],
    )
    implant: ImplantFields | None = Field(None, description="Implanted lens, where the formula asks for it.")
    reading_speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None,
        description="Speed of sound at which the displayed number was read, where no calibration states it.",
        examples=[1532],
    )
    structure: Annotated[str, concept_word("structure")] | None = Field(None, description="What was measured.")
    finding: PartId | None = Field(None, description="Id of the finding it belongs to.", examples=["f1"])
    measured_by: PersonFields | None = Field(None, description="Who set the calipers.")
    repeats: list[QuantityFields] | None = Field(
        None, max_length=1000, description="Single readings, where it was taken several times."
    )
    comment: Comment | None = Field(None, description="Anything else, in words.")


_ANNOTATION_RULES: dict[str, Any] = {
    "oneOf": [
        {"properties": {"kind": {"const": "arrow"}}, "required": ["from", "to"], "not": {"required": ["at"]}},
        {
            "properties": {"kind": {"const": "text"}},
            "required": ["at", "text"],
            "not": {"anyOf": [{"required": ["from"]}, {"required": ["to"]}]},
        },
    ]
}


class AnnotationFields(Fields):
    """An arrow or a text that a person put on a capture; kept beside the pixels."""

    model_config = ConfigDict(json_schema_extra=_ANNOTATION_RULES)

    capture: PartId = Field(description="Id of the capture.", examples=["od-l9"])
    frame: Frame | None = Field(
        None, description="Frame of the recorded loop, from 1; left out for all frames.", examples=[12]
    )
    kind: Annotated[AnnotationKind, word_of(AnnotationKind)] = Field(description="arrow or text.", examples=["arrow"])
    tail: Pair | None = Field(None, alias="from", description="Tail of an arrow, in pixels.", examples=[[100, 90]])
    head: Pair | None = Field(None, alias="to", description="Head of an arrow, in pixels.", examples=[[212.5, 240]])
    at: Pair | None = Field(None, description="Where a text stands, in pixels.", examples=[[20, 30]])
    text: Label | None = Field(None, description="The text; an arrow may go without.", examples=["apex"])


class FindingFields(Fields):
    """One finding of one eye."""

    id: PartId = Field(description="Name of the finding, unique in the document.", examples=["f1"])
    eye: EyeWord = Field(description="The patient's eye; never guessed.", examples=["right"])
    what: FindingWords = Field(description="What was found; a known word is sent with its code.", examples=["mass"])
    presence: Annotated[Presence, word_of(Presence)] | None = Field(
        None, description="present (the default), absent, undetermined, or not-shown; not-shown is never absent."
    )
    structure: Annotated[str, concept_word("structure")] | None = Field(None, description="Where in the eye.")
    clock_hour: HalfHours | None = Field(None, description="At which clock hour, in half hours.", examples=[9])
    zone: Annotated[Zone, word_of(Zone)] | None = Field(None, description="How far back in the globe.")
    captures: list[PartId] | None = Field(
        None, description="Ids of the captures that show it.", examples=[["od-l9", "od-t9"]]
    )
    tracking_uid: Uid | None = Field(
        None,
        description="UID under which this same finding is followed from visit to visit.",
        examples=["2.25.81920733551040011277"],
    )
    comment: Comment | None = Field(None, description="Anything else, in words.")


def _format(value: object) -> str:
    text = text_of(value, FORMAT)
    if text != FORMAT:
        raise refusal(DocumentFormatError, "not a format known here", was=text[:60], fix=f"write {FORMAT}")
    return text


class ExamHeadFields(Fields):
    """The document without its parts, which are read one by one so that each can be held alone."""

    format: Annotated[str, Rule(_format, {"const": FORMAT})] = Field(description="Name and version of this format.")
    synthetic: Switch | None = Field(
        None, description="yes for invented data; every object then says so.", examples=["yes"]
    )
    language: (
        Annotated[
            str,
            matching(
                "[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8}){0,3}",
                "this is not a language tag",
                "write an RFC 5646 tag, e.g. en or sr-Latn",
            ),
        ]
        | None
    ) = Field(None, description="Language of the document's own words (RFC 5646); en where left out.", examples=["en"])
    patient: PatientFields = Field(description="The person examined.")
    order: OrderFields | None = Field(None, description="The order that asked for the exam.")
    session: SessionFields = Field(description="When, where, by whom, with which device.")
    eyes_stated_by: PersonFields | None = Field(
        None,
        description="Who says which eye every capture of this exam shows, as eye_stated_by of each.",
        examples=["Holm^Maija"],
    )
    cautions: list[Annotated[Caution, word_of(Caution)]] | None = Field(
        None, description="What a reader and the next examiner must see."
    )


class ExamFields(ExamHeadFields):
    """An eye-ultrasound exam: what was acquired, measured and found at one visit, with its media files beside it."""

    captures: list[CaptureFields] = Field(min_length=1, description="Stills and loops.")
    measurements: list[MeasurementFields] | None = Field(None, description="What was measured on them.")
    annotations: list[AnnotationFields] | None = Field(None, description="Arrows and texts on them.")
    findings: list[FindingFields] | None = Field(None, description="What was found.")
