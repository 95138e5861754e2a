"""The format ``eye-ultrasound-source/1``: document models of a source mapping, one for each of its parts."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any

from pydantic import ConfigDict, Field, GetJsonSchemaHandler
from pydantic_core import CoreSchema

from gateway.errors.document import DocumentFormatError
from gateway.mapping.document.base import Fields, ReasonFields
from gateway.mapping.scalars import Rule, Switch, matching, refusal, required_line, text_of, whole_number, word_of
from gateway.model.witness import WitnessSource

SOURCE_FORMAT = "eye-ultrasound-source/1"
MOST_RULES = 500
MOST_RECORDS = 20
MOST_TERMS = 2000


class RecordKind(StrEnum):
    """How a record is written."""

    CSV = "csv"
    XML = "xml"
    HL7 = "hl7"
    JSON = "json"
    YAML = "yaml"
    DICOM = "dicom"


class Per(StrEnum):
    """What one row of a record speaks of."""

    EXAM = "exam"
    CAPTURE = "capture"
    MEASUREMENT = "measurement"
    FINDING = "finding"


class MatchTo(StrEnum):
    """To what of a picture's file a row is matched."""

    FILE_NAME = "file-name"
    FILE_STEM = "file-stem"
    SAME_STEM = "same-stem"


class Unmatched(StrEnum):
    """What becomes of a row whose picture is not in the folder."""

    HOLD = "hold"
    IGNORE = "ignore"


class IfMissing(StrEnum):
    """What happens where no source states a value."""

    STOP = "stop"
    LEAVE_EMPTY = "leave-empty"
    LEAVE_OUT = "leave-out"
    NO_PART = "no-part"


class Take(StrEnum):
    """Which of several moments is meant, where they are moments of different things."""

    EARLIEST = "earliest"


class _OneOrMore:
    """JSON Schema of a list that may be written as its single item; the reader wraps it before it is checked."""

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        many = handler(core)
        return {"anyOf": [many["items"], many]}


_WORD = "[a-z][a-z0-9_-]{0,39}"
Word = Annotated[
    str, matching(_WORD, "this is not a name for a part of a mapping", "small letters, digits, - and _; a letter first")
]
PlaceOrWord = Annotated[str, matching(f"{_WORD}|file-name|file-stem|same-stem", "not known here", "write file-name")]
Line = Annotated[str, required_line(300)]
LongLine = Annotated[str, required_line(1024)]
Lines = Annotated[list[Line], Field(min_length=1, max_length=200), _OneOrMore()]
Names = Annotated[list[LongLine], Field(min_length=1, max_length=8), _OneOrMore()]


def _constant(value: object) -> str:
    return text_of(value, "a text")


class RowsFields(Fields):
    """What the rows of a record are."""

    per: Annotated[Per, word_of(Per)] = Field(description="What one row speaks of.", examples=["capture"])
    at: LongLine | None = Field(
        None,
        description="Path of the repeated element in XML or JSON, steps divided by /; not used in CSV.",
        examples=["exam/pictures/picture"],
    )


class MatchFields(Fields):
    """How a row finds its picture."""

    field: LongLine | None = Field(
        None, description="Field of the row that names the picture; not used for same-stem.", examples=["Datei"]
    )
    to: PlaceOrWord = Field(
        description="file-name, file-stem (without ending), same-stem (the record's own file name without ending), or "
        "a place of a file-name pattern.",
        examples=["file-name"],
    )


class RecordFields(Fields):
    """Files beside the pictures that carry data."""

    id: Word = Field(description="Name by which rules speak of it.", examples=["list"])
    file: Line = Field(description="Which files it is, with * and ?, below the folder.", examples=["*.csv"])
    kind: Annotated[RecordKind, word_of(RecordKind)] = Field(description="How it is written.", examples=["csv"])
    encoding: Line | None = Field(
        None,
        description="Encoding of its text; utf-8 where left out. XML and HL7 state their own.",
        examples=["windows-1252"],
    )
    delimiter: Annotated[str, Rule(_constant, {"type": "string", "minLength": 1})] | None = Field(
        None, description="Sign between the columns of a CSV, or the word tab; a comma where left out.", examples=[";"]
    )
    header: Switch | None = Field(
        None, description="no where the first line of a CSV names no columns; they are then 1, 2 and so on."
    )
    skip_lines: Annotated[int, whole_number(0, 1000)] | None = Field(
        None, description="Lines above the table of a CSV that do not belong to it."
    )
    rows: RowsFields = Field(description="What its rows are.")
    match: MatchFields | None = Field(None, description="How a row finds its picture; needed unless rows are per exam.")
    unmatched: Annotated[Unmatched, word_of(Unmatched)] | None = Field(
        None,
        description="Rows whose picture is not in the folder: hold (the default) names each, ignore is for lists that "
        "also speak of other folders. Nothing of them is used.",
    )
    optional: Switch | None = Field(None, description="yes where the files may be absent.", examples=["yes"])
    because: LongLine | None = Field(None, description="What it is and where it comes from.")


class MediaFields(Fields):
    """Which files are pictures and movies, and what their names say."""

    files: Lines = Field(description="Which files are captures, with * and ?.", examples=[["*.bmp", "*.avi"]])
    names: Lines | None = Field(
        None,
        description="Patterns of their names; each file must fit exactly one.",
        examples=[["{eye}_{scan:letters}{hour:digits}_{*}.bmp"]],
    )
    ignore: Lines | None = Field(
        None, description="Files that are no captures although they fit, with * and ?.", examples=[["thumb_*"]]
    )
    frames: Word | None = Field(
        None,
        description="Place of the patterns that numbers the frames of a loop; files that agree in all other places "
        "are one loop.",
        examples=["frame"],
    )


Steps = Annotated[list[Word | dict[str, object]], Field(min_length=1, max_length=8), _OneOrMore()]


class SourceFields(Fields):
    """One place that may state a value: exactly one of record, file_name, folder_name, dicom, order, constant."""

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [
                {"required": [name]} for name in ("record", "file_name", "folder_name", "dicom", "order", "constant")
            ]
        }
    )

    record: Word | None = Field(None, description="Id of a record; field or constant says what of it.")
    field: Names | None = Field(
        None, description="Field of the record: a column's heading, or a path with / in XML and JSON."
    )
    file_name: Names | None = Field(None, description="Place of a file-name pattern.", examples=["eye"])
    folder_name: Names | None = Field(None, description="Place of the folder's pattern.", examples=["date"])
    dicom: Names | None = Field(
        None,
        description="Attribute of the capture's own DICOM file, items of sequences counted from 1.",
        examples=["ContentDate", "SequenceOfUltrasoundRegions[1].PhysicalDeltaX"],
    )
    order: Names | None = Field(
        None,
        description="Field of the order's HL7 message; :name behind it reads a person's name.",
        examples=["PID-3.1", "PID-5:name"],
    )
    constant: Annotated[str, Rule(_constant, {"type": ["string", "number", "boolean"]})] | None = Field(
        None, description="The value itself; with record, it holds for every row of that record."
    )
    join: Annotated[str, Rule(_constant, {"type": "string"})] | None = Field(
        None, description="What stands between several names put together; a space where left out."
    )
    steps: Steps | None = Field(
        None,
        alias="with",
        description="Conversions of this source alone, where it writes otherwise than the others; in place of the "
        "rule's.",
        examples=[{"date": {"form": "YYYYMMDD"}}],
    )
    witness: Annotated[WitnessSource, word_of(WitnessSource, but={WitnessSource.PERSON})] | None = Field(
        None,
        description="For an eye: what kind of source this is, where it is not what it seems; a person: said_by.",
    )
    said_by: LongLine | None = Field(
        None, description="For an eye: field of the same row with the name of the person who says so."
    )


class RuleFields(Fields):
    """How one field of the exam document is filled."""

    to: LongLine = Field(description="Field of the exam document.", examples=["captures.clock_hour"])
    of: Word | None = Field(
        None, description="Record whose rows it holds for, where several are per measurement or per finding."
    )
    sources: Annotated[list[SourceFields], Field(min_length=1, max_length=12), _OneOrMore()] = Field(
        alias="from", description="Where the value may stand; all sources that state it must agree."
    )
    steps: Steps | None = Field(
        None,
        alias="with",
        description="Conversion and its parameters, or several in order; terms: NAME looks a word up in this mapping.",
        examples=["eye", {"terms": "eyes"}, [{"number": {"decimal": "comma"}}]],
    )
    if_missing: Annotated[IfMissing, word_of(IfMissing)] | None = Field(
        None,
        description="Where no source states it: leave-empty (the default), leave-out (the part is held), stop (the "
        "exam is refused), no-part (the row states no measurement or finding).",
    )
    take: Annotated[Take, word_of(Take)] | None = Field(
        None, description="For session.start alone: earliest of the moments that pictures or rows state."
    )
    because: LongLine | None = Field(None, description="Why it is so; shown by gateway mapping explain.")


class ExamsFields(Fields):
    """How several exams of one folder are told apart."""

    by: Annotated[list[SourceFields], Field(min_length=1, max_length=12), _OneOrMore()] = Field(
        description="Where the key of the exam stands; all sources that state it must agree."
    )


class DefaultsFields(Fields):
    """Names that hold for the whole site where no source states one."""

    examiner: LongLine | None = Field(None, alias="session.examiner", description="Who holds the probe here.")
    performing: LongLine | None = Field(
        None, alias="session.performing_physician", description="The physician responsible here."
    )
    requesting: LongLine | None = Field(
        None, alias="order.requesting_physician", description="Who asks for exams here."
    )
    referring: LongLine | None = Field(None, alias="order.referring_physician", description="Who refers patients here.")


class DestinationFields(Fields):
    """One attribute that one destination gets otherwise."""

    destination: Line = Field(description="Name of the destination in the settings.", examples=["hospital"])
    attribute: Line = Field(description="Keyword of PS3.6.", examples=["InstitutionName"])
    value: LongLine = Field(description="As it is written there.")
    because: LongLine = Field(description="Why; kept with the value's origin.")


def _format(value: object) -> str:
    text = text_of(value, SOURCE_FORMAT)
    if text != SOURCE_FORMAT:
        raise refusal(DocumentFormatError, "not a source mapping", was=text[:60], fix=f"write format: {SOURCE_FORMAT}")
    return text


class SourceHeadFields(Fields):
    """The mapping without records and rules, which are read one by one so that one mistake hides no other."""

    format: Annotated[str, Rule(_format, {"const": SOURCE_FORMAT})] = Field(
        description="Name and version of this format."
    )
    name: Word = Field(description="The site and device that it is for.", examples=["invented-harbour-clinic"])
    because: LongLine | None = Field(None, description="What the sources are and who says so.")
    media: MediaFields = Field(description="Pictures and movies.")
    folder: Lines | None = Field(
        None, description="Patterns of the folder's name; it must fit exactly one.", examples=["{date:digits:8}_{*}"]
    )
    exams: ExamsFields | None = Field(None, description="Only where one folder holds several exams.")
    terms: dict[str, dict[str, ReasonFields]] | None = Field(
        None, description="Tables of the site's words with what they mean: a word of the exam document, or a code."
    )
    defaults: DefaultsFields | None = Field(None, description="Names that hold for the whole site.")
    destinations: list[DestinationFields] | None = Field(
        None, max_length=100, description="Attributes that one destination gets otherwise."
    )


class SourceMappingFields(SourceHeadFields):
    """How one site's own files become an exam document."""

    records: list[RecordFields] | None = Field(None, max_length=MOST_RECORDS, description="Files that carry data.")
    rules: list[RuleFields] = Field(min_length=1, max_length=MOST_RULES, description="One for each field.")
