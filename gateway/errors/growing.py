"""Errors of exams that grow: captures handed over twice, left out, or meanwhile added by somebody else."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors.document import DocumentError
from gateway.errors.store import StoreError


class SameCaptureTwiceError(DocumentError):
    """The same picture or movie under two names."""

    code: ClassVar[str] = "same-capture-twice"
    explanation = (
        "Two captures of a study have the same bytes and the same kept frames: one export under two names. Two "
        "instances of it would look like two pictures, so the second is held, also where the first was sent earlier. "
        "Leave one of them, with the id under which it was sent."
    )


class SamePictureTwoEyesError(SameCaptureTwiceError):
    """The same picture or movie, once as the right and once as the left eye."""

    code = "same-picture-two-eyes"
    explanation = (
        "Two captures have the same bytes and name different eyes. One of them is wrong and nobody can tell which, so "
        "both are held. Look at the picture's own source, and leave the one that is right."
    )


class CaptureLeftOutError(DocumentError):
    """A capture that was sent earlier and is not in the exam now."""

    code = "capture-left-out"
    explanation = (
        "An earlier hand-over of this exam held a capture that this one does not. It stays in the archive, and the new "
        "report, which replaces the earlier one, calls itself partial because it does not speak of it. Put the capture "
        "back into the exam document; late captures are added to it, not handed over alone. A capture that must not be "
        "there needs to be rejected at the archive."
    )


class StudyGrewMeanwhileError(StoreError):
    """Another process queued captures or a report of the same study in between."""

    code = "study-grew-meanwhile"
    temporary = True
    explanation = (
        "Numbers of captures and versions of reports are given in order. While this exam was built, another process "
        "queued something of the same study and took the next one. Nothing was queued here: run the command again."
    )
