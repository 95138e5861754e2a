"""Errors of DICOM objects: building, reading, encoding."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class ObjectError(GatewayError):
    """A DICOM object cannot be built, read or sent on."""

    code: ClassVar[str] = "objects"
    exit_code: ClassVar[int] = 1
