"""Errors of DICOM objects: building, reading, encoding."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class ObjectError(GatewayError):
    """A DICOM object cannot be built, read or sent on."""

    code: ClassVar[str] = "objects"
    exit_code: ClassVar[int] = 1


class UnknownAttributeError(ObjectError):
    """A keyword that the data dictionary does not have."""

    code = "unknown-attribute"
    explanation = (
        "Every attribute is written under its keyword of PS3.6, because a misspelt keyword would silently never reach "
        "the object. This is a fault of the gateway, not of the exam: report it."
    )


class AttributeWrittenTwiceError(ObjectError):
    """Two writers for one attribute of one object."""

    code = "attribute-written-twice"
    explanation = (
        "Each attribute has one writer and one origin, so that the origin of every value can be told. This is a fault "
        "of the gateway, not of the exam: report it."
    )


class ValueTooLongError(ObjectError):
    """A value longer than its value representation allows."""

    code = "value-too-long"
    explanation = (
        "Each kind of attribute has a greatest length (PS3.5 6.2), e.g. 16 characters for an accession number and 64 "
        "for an identifier or a name group. Identifiers and names are never cut short: shorten the value at its source."
    )


class ValueNotAllowedError(ObjectError):
    """A value that its value representation cannot hold."""

    code = "value-not-allowed"
    explanation = (
        "Each kind of attribute has its own characters and range (PS3.5 6.2): no backslash or control character in "
        "names and identifiers, digits and dots in UIDs, capitals in code strings, finite numbers. Mend the value at "
        "its source."
    )


class PixelsNotAsStatedError(ObjectError):
    """Frames that are unlike what was said of them."""

    code = "pixels-not-as-stated"
    explanation = (
        "While the object was written, a frame had another size or colour model, or there were more or fewer frames, "
        "than when the file was first looked at. The file changed meanwhile or is damaged: copy it again and hand the "
        "exam over again."
    )


class FrameTimingUnknownError(ObjectError):
    """A loop without any frame times."""

    code = "frame-timing-unknown"
    explanation = (
        "A loop must say when its frames were taken (Frame Time or Frame Time Vector, PS3.3 C.7.6.5 and C.7.6.6), and "
        "neither the exam nor the file does. A rate is never made up: state frame_rate_hz or frame_times_ms for this "
        "capture."
    )


class FrameTimesDisagreeError(ObjectError):
    """Frame times that do not fit the frames."""

    code = "frame-times-disagree"
    explanation = (
        "There must be one time for each frame, the first 0, each later than the one before. With a kept range, give "
        "the times of all frames of the source or of the kept ones only."
    )


class ObjectTooLargeError(ObjectError):
    """More bytes than the encoding can count."""

    code = "object-too-large"
    explanation = (
        "Pixel data and its offset table count bytes in 32 bits (PS3.5 7.1 and A.4), and the times of a loop have to "
        "fit into 65534 bytes. Keep a shorter range of the loop, or hand it over as several captures."
    )


class NotTranscodableError(ObjectError):
    """A file that is not a loop as the gateway keeps it."""

    code = "not-transcodable"
    explanation = (
        "The gateway keeps loops in JPEG-LS Lossless with one fragment a frame and unpacks only those for a "
        "destination. This file is something else or is damaged: build the exam again."
    )


class ObjectHasErrorsError(ObjectError):
    """Objects that break the Standard and so are not queued."""

    code = "object-has-errors"
    explanation = (
        "The checker found errors in what was built, so nothing was queued: an archive may refuse such an object "
        "or, worse, keep it. Each finding names attribute and section. Where the exam's data cause it, mend them "
        "there; an error in a clean exam is a fault of the gateway."
    )


class ContentTreeError(ObjectError):
    """A content tree that the structured report may not contain."""

    code = "content-tree"
    explanation = (
        "Comprehensive SR lists which content items may stand in which relationship (PS3.3 A.35.3.3.1.2) and what each "
        "value needs (PS3.3 C.17.3, C.18). The report would break one of these rules, so it was not built: a fault of "
        "the gateway unless a text in the exam is empty or a number is none."
    )


class ReferencedImageMissingError(ObjectError):
    """A report that would point to an image that was not built."""

    code = "referenced-image-missing"
    explanation = (
        "A measurement or finding names a capture whose image is not among those of this exam's study. A report must "
        "not point to an image that nobody can open. Mend or hold the capture and build the exam again."
    )


class NotAPdfError(ObjectError):
    """Bytes that are not a PDF document."""

    code = "not-a-pdf"
    explanation = (
        "A PDF document starts with %PDF- and ends with %%EOF. Encapsulating anything else would give the archive a "
        "document that no viewer opens. Make the report again."
    )


class ReportNotRenderedError(ObjectError):
    """The readable report cannot be set as a document."""

    code = "report-not-rendered"
    explanation = (
        "The readable report is set as an archival PDF (PDF/A, ISO 19005-2), and the typesetter refused the document. "
        "Nothing is handed out instead of it. The exam's objects are not at fault."
    )


class ReportNotReadableError(ObjectError):
    """Bytes that cannot be read as a DICOM report."""

    code = "report-not-readable"
    exit_code = 3
    explanation = (
        "A measurement report is read from a DICOM file (PS3.10) whose content tree can be followed. This one is none, "
        "is damaged, or is far larger than any report. Fetch it from the archive again."
    )


class NotAMeasurementReportError(ObjectError):
    """A DICOM object, or a folder, without a measurement report."""

    code = "not-a-measurement-report"
    exit_code = 3
    explanation = (
        "Exams are compared by their structured measurement reports (PS3.16 TID 1500): a document with a content tree. "
        "An image, a PDF or a list of key images holds no numbers that could be compared. Name the report, or the "
        "folder of the exam that it belongs to."
    )
