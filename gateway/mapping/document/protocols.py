"""Protocol files: expected captures, and rules by which an exam is called complete."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.errors.document import DocumentFormatError, WordNotKnownError
from gateway.mapping.document.base import Fields
from gateway.mapping.document.captures import EyeWord
from gateway.mapping.scalars import HalfHours, PartId, Rule, Switch, refusal, required_line, text_of, word_of
from gateway.mapping.speeds import Checked
from gateway.model.capture import CaptureKind
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind
from gateway.model.position import ClockHour, Scan, Zone
from gateway.model.protocol import Judged, Need, ProtocolStep

PROTOCOL_FORMAT = "eye-ultrasound-protocol/1"

_ZoneWord = Annotated[Zone, word_of(Zone)]
_ScanWord = Annotated[Scan, word_of(Scan)]


def _eye_or_each(value: object) -> str:
    text = text_of(value, "right, left or each")
    if text not in {"right", "left", "each"}:
        raise refusal(WordNotKnownError, "this is not an eye", was=text[:40], fix="write right, left or each")
    return text


_EyeOrEach = Annotated[str, Rule(_eye_or_each, {"enum": ["right", "left", "each"]})]


def _eye(word: str | None) -> Eye | None:
    return Eye(word) if word in {"right", "left"} else None


def _hour(half_hours: int | None) -> ClockHour | None:
    return ClockHour(half_hours) if half_hours is not None else None


class StepFields(Fields):
    """One expected capture."""

    id: PartId = Field(description="Short name by which captures refer to it.", examples=["T12"])
    words: Annotated[str, required_line(200)] = Field(description="What it shows.", examples=["superior quadrant"])
    eye: _EyeOrEach | None = Field(
        None, description="right or left where the step belongs to one eye, and so is a witness of it; each is both."
    )
    kind: Annotated[CaptureKind, word_of(CaptureKind)] | None = Field(
        None, description="Left out where either will do."
    )
    scan: _ScanWord = Field(description="Direction of the scan plane.", examples=["transverse"])
    clock_hour: HalfHours | None = Field(None, description="Clock hour shown, in half hours.", examples=[12])
    zones: list[_ZoneWord] | None = Field(
        None, min_length=1, description="Depths that it may show; a capture takes the depth from it where it is one."
    )
    required: Switch = Field(description="Whether an exam by this protocol must have it.", examples=["yes"])
    source: Annotated[str, required_line(300)] | None = Field(
        None, description="Publication, or common practice; the protocol's own where left out."
    )


class NeedFields(Fields):
    """One thing that must be there: a capture, or a measurement."""

    words: Annotated[str, required_line(200)] = Field(
        description="What is said to be missing where it is not there.", examples=["inferior quadrant (T6)"]
    )
    eye: EyeWord | None = Field(None, description="Left out where it is needed in each eye.")
    scan: _ScanWord | None = Field(None, description="Scan of the capture, or of the capture measured.")
    clock_hour: HalfHours | None = Field(None, description="Left out for any.", examples=[6])
    measurement: Annotated[MeasurementKind, word_of(MeasurementKind)] | None = Field(
        None, description="Kind of measurement that is needed, instead of the capture alone.", examples=["height"]
    )
    stills_in_each: list[Annotated[list[_ZoneWord], Field(min_length=1)]] | None = Field(
        None, min_length=1, description="Groups of zones: a loop will do, or stills with one zone out of each group."
    )

    def to_model(self) -> Need:
        """Return the need."""
        groups = tuple(tuple(group) for group in self.stills_in_each or ())
        return Need(self.words, self.eye, self.scan, _hour(self.clock_hour), self.measurement, groups)


_RULE_SET_RULES: dict[str, Any] = {
    "if": {"properties": {"judges": {"const": "finding"}}},
    "then": {"required": ["findings"]},
    "else": {"not": {"required": ["findings"]}},
}


class RuleSetFields(Fields):
    """Rules by which an eye, or a finding, is called completely examined."""

    model_config = ConfigDict(json_schema_extra=_RULE_SET_RULES)

    name: PartId = Field(description="Name, unique in the protocol.", examples=["five-manoeuvres"])
    words: Annotated[str, required_line(200)] = Field(description="What it asks for.")
    judges: Annotated[Judged, word_of(Judged)] = Field(
        description="eye: each eye that was examined; finding: each finding of the kinds listed."
    )
    findings: list[PartId] | None = Field(None, min_length=1, description="Words of findings that are judged.")
    needs: list[NeedFields] = Field(min_length=1, max_length=200, description="What must be there.")
    source: Annotated[str, required_line(300)] = Field(description="Publication, or common practice.")
    checked: Annotated[Checked, word_of(Checked)] = Field(
        description="opened: the source itself was read; secondary: a page that quotes it; memory: neither."
    )


def _format(value: object) -> str:
    text = text_of(value, PROTOCOL_FORMAT)
    if text != PROTOCOL_FORMAT:
        fix = f"write format: {PROTOCOL_FORMAT}"
        raise refusal(DocumentFormatError, "not a protocol", was=text[:60], fix=fix)
    return text


class ProtocolFields(Fields):
    """An examination protocol: what is acquired, and when that is called complete."""

    format: Annotated[str, Rule(_format, {"const": PROTOCOL_FORMAT})] = Field(
        description="Name and version of this format."
    )
    name: PartId = Field(description="Name by which sessions refer to it.", examples=["five-sweep-screening"])
    words: Annotated[str, required_line(200)] = Field(description="What it is for.")
    source: Annotated[str, required_line(300)] = Field(description="Publication, or common practice.")
    checked: Annotated[Checked, word_of(Checked)] = Field(
        description="opened: the source itself was read; secondary: a page that quotes it; memory: neither."
    )
    steps: list[StepFields] = Field(min_length=1, max_length=500, description="Expected captures, in order.")
    rule_sets: list[RuleSetFields] | None = Field(
        None, max_length=20, description="Each judges by itself, and every judgement names it."
    )


def with_doubt(source: str, checked: Checked) -> str:
    """Return a source, with how far it was checked where it was not opened."""
    return source if checked is Checked.OPENED else f"{source} (source checked: {checked.value})"


def step_of(fields: StepFields, source: str) -> ProtocolStep:
    """Return the step; its place is added by the reader."""
    return ProtocolStep(
        id=fields.id,
        words=fields.words,
        scan=fields.scan,
        clock_hour=_hour(fields.clock_hour),
        eye=_eye(fields.eye),
        kind=fields.kind,
        zones=tuple(fields.zones or ()),
        is_required=fields.required,
        source=fields.source or source,
    )
