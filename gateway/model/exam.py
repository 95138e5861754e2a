"""The exam: everything that one visit left behind, as one immutable value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from gateway.errors import GatewayError, Place
from gateway.model.a_scan import StructureEcho
from gateway.model.capture import Capture
from gateway.model.finding import Annotation, Finding
from gateway.model.measurement import MeasuredValue, Measurement
from gateway.model.order import Order
from gateway.model.people import Patient
from gateway.model.session import Session


class Caution(StrEnum):
    """Circumstances that a reader and the next examiner must see (common practice)."""

    SUSPECTED_OPEN_GLOBE = "suspected-open-globe"
    RECENT_SURGERY = "recent-surgery"
    INFECTION = "infection"
    ALLERGY_TO_ANAESTHETIC = "allergy-to-anaesthetic"
    POOR_COOPERATION = "poor-cooperation"

    @property
    def words(self) -> str:
        """The caution as a person reads it."""
        return self.value.replace("-", " ")


@dataclass(frozen=True, slots=True)
class Exam:
    """One visit of one patient, read and mapped; held parts are no longer in it.

    Parameters
    ----------
    origins : mapping of str to Place
        Where each stated value was read: field path (``captures[0].eye``) to its place in the source. Paths keep the
        source's numbering also when a part was held.
    """

    key: str
    """Short name for people and logs: the exam folder's name. Holds nothing of the patient."""
    patient: Patient
    order: Order
    session: Session
    captures: tuple[Capture, ...]
    measurements: tuple[Measurement, ...] = ()
    annotations: tuple[Annotation, ...] = ()
    findings: tuple[Finding, ...] = ()
    cautions: tuple[Caution, ...] = ()
    language: str = "en"
    """RFC 5646 tag of the language of the exam's own words."""
    is_synthetic: bool = False
    """Invented data: every object says Synthetic Data YES."""
    study_started: datetime | None = None
    """When the study began, where an earlier visit on the same order began it; None: with this session."""
    origins: Mapping[str, Place] = field(default_factory=dict)

    def capture(self, capture_id: str) -> Capture:
        """Return the capture with this id.

        Raises
        ------
        KeyError
            If no capture has it.
        """
        for capture in self.captures:
            if capture.id == capture_id:
                return capture
        raise KeyError(capture_id)


@dataclass(frozen=True, slots=True)
class HeldPart:
    """A part of an exam that was set aside, with the reason; its source stays untouched.

    Parameters
    ----------
    part : str
        Field path in the exam document, e.g. ``captures[2]`` or ``measurements[0]``.
    name : str
        The part's own id where it has one.
    """

    part: str
    name: str
    reason: GatewayError


@dataclass(frozen=True, slots=True)
class MeasuredExam:
    """An exam with the measure step done: what builders and reports work from."""

    exam: Exam
    values: tuple[MeasuredValue, ...]
    held: tuple[HeldPart, ...] = ()
    echoes: tuple[StructureEcho, ...] = ()
