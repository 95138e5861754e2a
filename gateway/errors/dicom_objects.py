"""Errors of DICOM files that are handed over as media or as records."""

from __future__ import annotations

from gateway.errors.media import MediaError


class DicomNotReadableError(MediaError):
    """Bytes that cannot be followed as a DICOM file."""

    code = "dicom-not-readable"
    explanation = (
        "A DICOM file begins with a preamble and file meta information (PS3.10 7.1), and every element says how long "
        "it is. This file is none, ends too early, or says lengths that lead nowhere, so nothing of it is used. Fetch "
        "it from the archive or the device again."
    )


class DicomKindError(MediaError):
    """An object that is no ultrasound picture or secondary capture."""

    code = "dicom-kind"
    explanation = (
        "Captures may be DICOM objects of the ultrasound classes (US Image, US Multi-frame Image) or secondary "
        "captures of 8 or 16 bits. Other objects, such as reports or images of other modalities, say things of which a "
        "capture knows nothing, so they are not taken for one."
    )


class DicomEncodingError(MediaError):
    """An encoding that cannot be looked into, so that nobody here can say what the picture shows."""

    code = "dicom-encoding"
    explanation = (
        "Pixels of DICOM objects go out exactly as they came, in their own transfer syntax; but each frame is decoded "
        "once, for the report and because nothing less tells that all are there. Where that is not possible here, or "
        "where the characters of its texts cannot be told, the object is not taken. Export or convert it to Explicit "
        "VR Little Endian."
    )


class DicomContradictionError(MediaError):
    """An object that says something else than the exam."""

    code = "dicom-contradiction"
    explanation = (
        "The object itself states whose picture it is, which eye it shows, when it was acquired or how large a pixel "
        "is, and the exam states something else. One of them is wrong, and nothing here can know which. Where the "
        "exam is right and knows it, name the attribute under `corrects` of the capture: the old value is then kept in "
        "Original Attributes Sequence (PS3.3 C.12.1.1.9). Scale and frame times are acquired values and cannot be "
        "corrected."
    )
