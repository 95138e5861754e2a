"""Errors of DICOM objects: building, reading, encoding."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class ObjectError(GatewayError):
    """A DICOM object cannot be built, read or sent on."""

    code: ClassVar[str] = "objects"
    exit_code: ClassVar[int] = 1


class ObjectHasErrorsError(ObjectError):
    """Objects that break the Standard and so are not queued."""

    code = "object-has-errors"
    explanation = (
        "The checker found errors in what was built, so nothing was queued: an archive may refuse such an object "
        "or, worse, keep it. Each finding names attribute and section. Where the exam's data cause it, mend them "
        "there; an error in a clean exam is a fault of the gateway."
    )
