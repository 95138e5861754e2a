"""Errors of exam documents and their parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from gateway.errors import GatewayError


class DocumentError(GatewayError):
    """An exam document, or a part of it, cannot be accepted."""

    code: ClassVar[str] = "document"
    exit_code: ClassVar[int] = 3


class DependsOnHeldPartError(DocumentError):
    """A part rests on another part that was set aside."""

    code = "depends-on-held-part"
    explanation = (
        "A measurement, annotation or finding belongs to a capture that was held, so it cannot go out without it. "
        "Mend the capture named in the message and hand the exam over again; nothing of it is lost."
    )


class SeveralProblemsError(DocumentError):
    """One part of an exam with more than one problem; `problems` holds each, and the text lists them."""

    code = "several-problems"
    explanation = (
        "One capture, measurement, annotation or finding was held for more than one reason. Each reason is listed with "
        "its own place; look up the single reasons for what each rule is for."
    )
    most_listed: ClassVar[int] = 200
    """A text with more lines than this helps nobody; `problems` has them all."""

    def __init__(self, problems: Sequence[GatewayError]) -> None:
        self.problems: tuple[GatewayError, ...] = tuple(problems)
        first = self.problems[0]
        what = first.what if len(self.problems) == 1 else f"{len(self.problems)} problems"
        super().__init__(what, where=first.where)

    def __str__(self) -> str:
        if len(self.problems) == 1:
            return str(self.problems[0])
        lines = [f"{self.what}:", *(f"  {problem}" for problem in self.problems[: self.most_listed])]
        if len(self.problems) > self.most_listed:
            lines.append(f"  and {len(self.problems) - self.most_listed} more")
        return "\n".join(lines)

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.problems,))


class ExamDocumentError(SeveralProblemsError):
    """The document as a whole cannot become an exam; `problems` holds every reason, each with its place."""

    code = "exam-document"
    explanation = (
        "Something outside the single captures, measurements, annotations and findings is wrong: the file cannot be "
        "read, or patient, order, session or a top-level field is not as it must be. All reasons are listed at once, "
        "each with line and column. Mend them and hand the exam over again; the folder stays untouched meanwhile."
    )


class DocumentNotReadableError(DocumentError):
    """The file cannot be opened, or is of a kind that is not read as a document."""

    code = "document-not-readable"
    explanation = "An exam document or a mapping is one readable file whose name ends in .yaml, .yml or .json."


class DocumentEncodingError(DocumentError):
    """The file is not UTF-8 text."""

    code = "document-encoding"
    explanation = (
        "Exam documents are UTF-8, so that names in any script arrive as written. Another encoding would be guessed "
        "wrongly sooner or later. Save the file as UTF-8; control characters other than tab and line ends are refused."
    )


class DocumentSyntaxError(DocumentError):
    """The text is not YAML or not JSON."""

    code = "document-syntax"
    explanation = (
        "The file breaks the rules of YAML 1.2 or JSON at the place named. In YAML indent with spaces, put one space "
        "after a colon, and quote text that contains a colon followed by a space or that starts with a special sign."
    )


class DocumentTooLargeError(DocumentError):
    """A document beyond the limits within which reading stays quick."""

    code = "document-too-large"
    explanation = (
        "A real exam needs some kilobytes. Limits on bytes, values and depth keep a damaged or hostile file from "
        "occupying the gateway. Split the exam, or leave pictures and movies in their own files."
    )


class DocumentFeatureRefusedError(DocumentError):
    """A feature of YAML that an exam document has no use for."""

    code = "document-feature-refused"
    explanation = (
        "Anchors, aliases, tags and several documents in one file let a small file grow without bound or name program "
        "objects. An exam document uses plain mappings, lists and text only: write the value out."
    )


class DuplicateKeyError(DocumentError):
    """The same key twice in one mapping."""

    code = "duplicate-key"
    explanation = (
        "Two values stand under one name and nobody can know which of them is meant. Both places are named; delete one."
    )


class TwoEyesError(DuplicateKeyError):
    """Two eyes named for one capture or finding."""

    code = "two-eyes"
    explanation = (
        "A capture or finding belongs to exactly one eye. Here `eye` stands twice in it. The part is held: look at the "
        "picture's own source, decide which eye it is, and leave one line."
    )


class UnknownKeyError(DocumentError):
    """A key that the format does not have."""

    code = "unknown-key"
    explanation = (
        "Every key of an exam document has a meaning. One that is not known is most often misspelt; ignoring it would "
        "lose what it says without a trace."
    )


class FieldMissingError(DocumentError):
    """A required field is absent or has nothing after its colon."""

    code = "field-missing"
    explanation = "The object to be made cannot do without this value, and nothing is ever filled in by guess."


class DocumentFormatError(DocumentError):
    """The first field does not say which format and version this is."""

    code = "document-format"
    explanation = (
        "`format: eye-ultrasound-exam/1` tells which rules the file follows. Without it, or with another version, the "
        "same words could mean something else."
    )


class ValueNotUnderstoodError(DocumentError):
    """A value that is not of the expected form."""

    code = "value-not-understood"
    explanation = (
        "Numbers are plain decimal numbers, dates YYYY-MM-DD, moments ISO 8601 with offset from UTC, switches yes or "
        "no. Everything is taken as it is written, so the form must be clear."
    )


class DecimalCommaError(ValueNotUnderstoodError):
    """A number with a comma."""

    code = "decimal-comma"
    explanation = (
        "A comma is a decimal sign in some places and separates thousands in others. To keep 1,532 from becoming 1.532 "
        "only the point is read."
    )


class OffsetMissingError(ValueNotUnderstoodError):
    """A moment without its offset from UTC."""

    code = "offset-missing"
    explanation = (
        "Without an offset the same clock reading names different moments, and twice a year even two at one site. Add "
        "the offset that applied there and then, e.g. +01:00, or Z for UTC."
    )


class ValueOutOfRangeError(DocumentError):
    """A number outside what can be meant."""

    code = "value-out-of-range"
    explanation = (
        "The number lies outside what any eye, probe or device has; a wrong unit or a slipped decimal point is likely."
    )


class WordNotKnownError(DocumentError):
    """A word outside the list of a field."""

    code = "word-not-known"
    explanation = (
        "This field takes one of a fixed list of words, each with its own code in the objects; use one of them."
    )


class NameNotWritableError(DocumentError):
    """A person's name that DICOM cannot hold."""

    code = "name-not-writable"
    explanation = (
        "A name has up to three representations (alphabetic, ideographic, phonetic), each at most 64 characters and at "
        "most five components between ^ signs: family, given, middle, prefix, suffix. A backslash, an equals sign or a "
        "control character would split or end it (PS3.5 6.2 and 6.2.1). A name is never shortened here."
    )


class TextNotWritableError(DocumentError):
    """A text that its DICOM attribute cannot hold."""

    code = "text-not-writable"
    explanation = (
        "Each attribute holds a limited number of characters, and a backslash separates values in short texts; spaces "
        "at either end are not kept (PS3.5 6.2). The text is never cut or altered here: write it so that it fits."
    )


class UidNotValidError(DocumentError):
    """A text that is not a DICOM unique identifier."""

    code = "uid-not-valid"
    explanation = (
        "A UID has at most 64 characters: numbers separated by points, none with a leading zero except 0 itself "
        "(PS3.5 9.1)."
    )


class EyeMissingError(DocumentError):
    """A capture or finding without its eye."""

    code = "eye-missing"
    explanation = (
        "The eye is never guessed: not from a file name, not from the order, not from the capture before. The part is "
        "held until somebody who knows writes `eye: right` or `eye: left`."
    )


class EyeNotSingleError(DocumentError):
    """Something else than one eye."""

    code = "eye-not-single"
    explanation = (
        "A picture shows one eye and a finding belongs to one eye. `right` or `left` is written out; for something "
        "found in both eyes write two findings, one for each."
    )


class EyeContradictionError(DocumentError):
    """Two places that name different eyes for the same thing."""

    code = "eye-contradiction"
    explanation = (
        "A finding names one eye and the picture it was seen on, or the measurement that belongs to it, another. Both "
        "places are named; the part is held until one of them is mended."
    )


class DuplicateIdError(DocumentError):
    """One id for two parts."""

    code = "duplicate-id"
    explanation = (
        "Measurements, annotations and findings name captures by id, so an id must mean one thing. All parts with the "
        "shared id are held, because nobody can know which of them was meant."
    )


class UnknownReferenceError(DocumentError):
    """An id that nothing in the document has."""

    code = "unknown-reference"
    explanation = "The part names a capture or finding that is not in the document; check the spelling of the id."


class ClockHourError(DocumentError):
    """A clock hour that is missing, or stands where it has no meaning."""

    code = "clock-hour"
    explanation = (
        "Transverse and longitudinal scans are named by the clock hour they show, an oblique axial scan by its "
        "meridian; a horizontal or vertical axial scan states its meridian by name alone. Hours run from 1 to 12:30 in "
        "half hours, as the examiner faces the patient, 12 above in both eyes."
    )


class FrameError(DocumentError):
    """A frame number or range that does not fit its capture."""

    code = "frame-not-fitting"
    explanation = (
        "Frames count from 1 in the loop as it was recorded, before any frames are left out; a still has none. What is "
        "drawn or measured must lie on a frame that is kept."
    )


class FrameTimingError(DocumentError):
    """Frame times that contradict themselves."""

    code = "frame-timing"
    explanation = (
        "A loop has one constant rate or one time for each frame, not both. Times are milliseconds from the first "
        "frame: the first is 0, each later one is greater."
    )


class ContradictingFieldsError(DocumentError):
    """Two fields of which only one may be there."""

    code = "contradicting-fields"
    explanation = (
        "Two fields say the same thing in two ways and nobody can know which one holds; leave one of them out."
    )


class FieldNotApplicableError(DocumentError):
    """A field that has no meaning for this kind of part."""

    code = "field-not-applicable"
    explanation = (
        "The field belongs to another kind of part, e.g. a frame rate to a loop; leave it out or mend the kind."
    )


class NothingMeasuredError(DocumentError):
    """A measurement with neither points nor a number."""

    code = "nothing-measured"
    explanation = (
        "A measurement needs the caliper points on the picture, the number that was displayed, or both; without either "
        "there is nothing to send."
    )


class UnitNotFittingError(DocumentError):
    """A unit of another dimension than the measurement's kind."""

    code = "unit-not-fitting"
    explanation = "A length is given in mm, cm or um, an area in mm2 or cm2, an angle in deg."


class TissueNotKnownError(DocumentError):
    """A tissue that the table of speeds does not have."""

    code = "tissue-not-known"
    explanation = (
        "A tissue word stands for a speed of sound in the site's table, with its source. Use a word of the table, or "
        "write the speed itself as speed_m_per_s."
    )


class PointOutsidePictureError(DocumentError):
    """A point beside the picture."""

    code = "point-outside-picture"
    explanation = (
        "Points are pixels of the capture, x to the right and y down from its top-left corner. A negative one, or "
        "one beyond its last column or row, cannot be on the picture and would be no spatial coordinate (PS3.3 "
        "C.18.6.1.2): it belongs to a picture of another size. Only the pivot of a sector may lie outside."
    )


class MediaPathError(DocumentError):
    """A media file outside the exam folder."""

    code = "media-path"
    explanation = (
        "Media lie in the exam folder or below it and are named relative to it with forward slashes, so that an exam "
        "can be moved as a whole and a document cannot reach other files of the machine."
    )


class NoCaptureLeftError(DocumentError):
    """Every capture was held, so there is nothing to send."""

    code = "no-capture-left"
    explanation = "An exam needs at least one capture that can be accepted; the reasons for each held one are listed."


class SpeedsTableError(DocumentError):
    """The table of speeds of sound cannot be used."""

    code = "speeds-table"
    explanation = (
        "Each row of the table names a tissue, its speed in metres per second, the condition it was measured under, a "
        "published source and how far that source was checked. A table with a doubtful row is refused as a whole."
    )
