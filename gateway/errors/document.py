"""Errors of exam documents and their parts."""

from __future__ import annotations

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
