"""Errors of loops that are handed over as numbered stills."""

from __future__ import annotations

from gateway.errors.document import DocumentError


class FrameNumberError(DocumentError):
    """The numbers in the names of a loop's frames do not run on."""

    code = "frame-number"
    explanation = (
        "Where the names under `files` differ in one number alone, that number counts the frames. A number that is "
        "left out is a picture that was lost, and a frame rate would then give wrong times to all that follow. Copy "
        "the file, or admit it with `missing_frames: [3]`: times then keep the gap. Where the numbers count something "
        "else, state `frame_times_ms`, one for each file."
    )
