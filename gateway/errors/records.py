"""Errors of records that a site writes: CSV, XML and HL7 v2 beside the YAML and JSON of the exam document.

All are kinds of the document's own errors, so that whoever reads any record catches one family.
"""

from __future__ import annotations

from gateway.errors.document import (
    DocumentEncodingError,
    DocumentError,
    DocumentFeatureRefusedError,
    DocumentNotReadableError,
    DocumentSyntaxError,
)


class RecordKindError(DocumentNotReadableError):
    """The kind of a record is neither stated nor told by its name."""

    code = "record-kind"
    explanation = (
        "A record is JSON, YAML, CSV, XML or HL7 v2. The ending of its name tells which one; where it has another "
        "ending, the mapping states the kind."
    )


class RecordEncodingError(DocumentEncodingError):
    """A record is not in the encoding that is stated for it."""

    code = "record-encoding"
    explanation = (
        "A byte that the stated encoding does not have is never replaced or left out, because a name would silently "
        "become another one. The first such byte is named with its offset and line. State the encoding in which the "
        "source really writes; without a statement it is UTF-8, for HL7 what MSH-18 says."
    )


class RecordEncodingNotKnownError(RecordEncodingError):
    """A name of an encoding that is not known here."""

    code = "record-encoding-not-known"
    explanation = (
        "Encodings are named as Python and the IANA registry name them, e.g. utf-8, windows-1252, iso-8859-15, cp850, "
        "shift_jis, gb18030, euc-kr or koi8-r; character sets of HL7 as in its table 0211. Another one would have to "
        "be guessed."
    )


class RecordSyntaxError(DocumentSyntaxError):
    """The text breaks the rules of CSV, XML or HL7 v2."""

    code = "record-syntax"
    explanation = (
        "The file breaks the rules of its kind at the place named: a quoted cell that does not end, a tag that is not "
        "closed, a message without its header. Nothing of it is used, because what comes after such a place may stand "
        "in the wrong field."
    )


class DelimiterNotClearError(RecordSyntaxError):
    """No delimiter, or more than one, makes an even table of a CSV file."""

    code = "delimiter-not-clear"
    explanation = (
        "With `delimiter: auto` a CSV file is read only if exactly one of comma, semicolon, tab and bar gives the same "
        "number of at least two cells in every line. Otherwise state the delimiter that the source writes."
    )


class RaggedRowError(RecordSyntaxError):
    """A line of a CSV file with more or fewer cells than the table has columns."""

    code = "ragged-row"
    explanation = (
        "A cell is missing or one too many, so every cell behind it may stand in the wrong column. Most often a text "
        "holds the delimiter without being quoted. Mend the line in the source."
    )


class ColumnNameError(RecordSyntaxError):
    """A column of a CSV file without a name, or with the name of another."""

    code = "column-name"
    explanation = (
        "Values are found by the name of their column, so each needs one of its own. Mend the header, or state that "
        "the file has none: then columns are named by their number, from 1."
    )


class XmlFeatureRefusedError(DocumentFeatureRefusedError):
    """A document type, entity or external reference in XML."""

    code = "xml-feature-refused"
    explanation = (
        "Document types and entities let a small file grow without bound or fetch other files and addresses. A record "
        "uses elements, attributes and text only: write it without <!DOCTYPE> and entities of its own."
    )


class Hl7PathError(DocumentError):
    """A path that names no field of an HL7 v2 message."""

    code = "hl7-path"
    explanation = (
        "A field is named like PID-5.1: segment, field, component, and if needed a subcomponent behind another point. "
        "The second of several segments is OBR[2]-4.1, the second repetition of a field PID-3[2].1."
    )


class Hl7NotSingleError(DocumentError):
    """A path into an HL7 v2 message that fits several values."""

    code = "hl7-not-single"
    explanation = (
        "The message holds several segments, repetitions or components where the path says nothing of which one is "
        "meant, and the first is not taken by chance. Name it by its number, as in OBR[2]-4.1, PID-3[2].1 or ORC-2.1."
    )


class Hl7EscapeError(RecordSyntaxError):
    """An escape sequence in HL7 v2 that has no meaning here."""

    code = "hl7-escape"
    explanation = (
        "Between two escape signs stand F, S, T, R, E, P, X with hexadecimal digits, H, N, or a formatting command "
        "such as .br (HL7 v2 chapter 2, use of escape sequences). What is anything else is not dropped silently: the "
        "sender means something by it that would be lost."
    )
