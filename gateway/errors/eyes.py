"""Errors of the sources that say which eye a capture shows."""

from __future__ import annotations

from gateway.errors.document import DocumentError, EyeContradictionError


class EyeWitnessesDisagreeError(EyeContradictionError):
    """Two sources name different eyes for one capture."""

    code = "eye-witnesses-disagree"
    explanation = (
        "A record, a file or folder name, an order, the device or a step of the protocol names one eye and another "
        "source the other. Both places are named. Nothing decides between them but somebody who knows: the capture is "
        "held until the source that is wrong is mended."
    )


class SingleEyeWitnessError(DocumentError):
    """An eye that rests on one source alone."""

    code = "single-eye-witness"
    explanation = (
        "A slip of the pen or one wrong column puts a picture on the wrong eye, and nothing in the picture shows it. "
        "So each capture's eye rests on two independent sources that agree (record, file name, folder, order, device, "
        "place in the protocol), or on a named person who says so: eye_stated_by at the capture, or eyes_stated_by "
        "once for all. A site that decides that one source will do writes single_eye_witness = true under [site], or "
        "gives --single-eye-witness; every report then says that there was one witness."
    )
