"""The order that asked for the exam."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.model.coded import CodedConcept, TextOrCode
from gateway.model.people import PersonName


@dataclass(frozen=True, slots=True)
class RequestedProcedure:
    """What was asked for."""

    id: str = ""
    description: str = ""
    code: CodedConcept | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """The order's identifiers and people; every field may be empty: unscheduled work is normal."""

    accession_number: str = ""
    requested_procedure: RequestedProcedure = RequestedProcedure()
    study_instance_uid: str = ""
    requesting_physician: PersonName | None = None
    referring_physician: PersonName | None = None
    indication: TextOrCode | None = None
    working_diagnosis: TextOrCode | None = None
