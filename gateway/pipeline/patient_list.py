"""Who is known and which exams wait for a decision, for the person who decides."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import sqlalchemy as sa

from gateway.pipeline.store import Store, patient_decisions, patient_facts, patient_questions, patients


@dataclass(frozen=True, slots=True)
class AcceptedFacts:
    """One name, birth date and sex that a person goes by, and where they were read."""

    alphabetic: str
    ideographic: str
    phonetic: str
    birth_date: str
    sex: str
    place: str
    accepted_at: str


@dataclass(frozen=True, slots=True)
class MadeDecision:
    """Which exam was filed under a person, how, by whom and when."""

    place: str
    decision: str
    decided_by: str
    decided_at: str


@dataclass(frozen=True, slots=True)
class KnownPerson:
    """One (issuer, identifier) and everything that was accepted and decided for it."""

    issuer: str
    patient_id: str
    is_generated: bool
    known_since: str
    facts: tuple[AcceptedFacts, ...]
    decisions: tuple[MadeDecision, ...]


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """An exam that waits, and the known person in question."""

    place: str
    question: str
    issuer: str
    patient_id: str
    asked_at: str


def known_people(store: Store) -> tuple[KnownPerson, ...]:
    """Return everybody who is known, in the order in which they became so."""
    facts: defaultdict[tuple[str, str], list[AcceptedFacts]] = defaultdict(list)
    decisions: defaultdict[tuple[str, str], list[MadeDecision]] = defaultdict(list)
    with store.transaction() as connection:
        people = connection.execute(sa.select(patients).order_by(patients.c.known_since)).all()
        for row in connection.execute(sa.select(patient_facts).order_by(patient_facts.c.id)):
            read = (getattr(row, name) for name in AcceptedFacts.__slots__)
            facts[row.issuer, row.patient_id].append(AcceptedFacts(*read))
        for row in connection.execute(sa.select(patient_decisions).order_by(patient_decisions.c.decided_at)):
            read = (getattr(row, name) for name in MadeDecision.__slots__)
            decisions[row.issuer, row.patient_id].append(MadeDecision(*read))
    return tuple(
        KnownPerson(
            row.issuer,
            row.patient_id,
            bool(row.is_generated),
            row.known_since,
            tuple(facts[row.issuer, row.patient_id]),
            tuple(decisions[row.issuer, row.patient_id]),
        )
        for row in people
    )


def open_questions(store: Store) -> tuple[OpenQuestion, ...]:
    """Return the exams that wait for a decision, oldest first."""
    columns = [patient_questions.c[name] for name in OpenQuestion.__slots__]
    with store.transaction() as connection:
        rows = connection.execute(sa.select(*columns).order_by(patient_questions.c.asked_at)).all()
    return tuple(OpenQuestion(*row) for row in rows)
