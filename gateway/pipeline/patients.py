"""Whose exam this is: identifiers for a site that has none, and the two questions that only a human answers.

The same (issuer, identifier) is the same person. The same name, birth date and sex are not: they make a question. So do
another name, birth date or sex under a known identifier. Nothing here is ever deleted, so no identifier comes twice.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC
from enum import StrEnum
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gateway.errors.patients import (
    IssuerNotOwnError,
    PatientAlreadyDecidedError,
    PatientIdStatedError,
    PatientNotDecidedError,
    TwoPeopleUnderOneIdError,
    UnknownPatientError,
)
from gateway.errors.store import StoreUnavailableError
from gateway.model.exam import Exam
from gateway.model.people import Patient
from gateway.pipeline.store import Store, now_text, patient_decisions, patient_facts, patient_questions, patients

_LETTERS: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without I, L, O and U, which are misread."""
_NAMES: Final = ("alphabetic", "ideographic", "phonetic")
_RULE: Final = "rule"
_TRIES: Final = 100


class Question(StrEnum):
    """What a human has to decide."""

    SAME_PERSON = "same-person"
    TWO_PEOPLE = "two-people"


class Decision(StrEnum):
    """How it was decided whose exam this is."""

    GENERATED = "generated"
    """Nobody known fits, so a rule gave a new identifier."""
    NEW = "new"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class PatientRules:
    """What a site decided about identifiers.

    Parameters
    ----------
    issuer : str
        The site's own, under which identifiers are made.
    generates : bool
    make_id : callable
        Returns a new identifier; eighty random bits, so that two gateways of one site do not meet either.
    """

    issuer: str = ""
    generates: bool = False
    make_id: Callable[[], str] = lambda: "G-" + "".join(secrets.choice(_LETTERS) for _ in range(16))


def exam_digest(exam: Exam) -> str:
    """Return what an exam is known by when it is read again, also after captures were added: patient and session."""
    patient, session = exam.patient, exam.session
    device = session.device
    facts = [
        [patient.issuer, "" if patient.is_id_generated else patient.id, *_facts_of(patient).values()],
        [session.start.astimezone(UTC).isoformat(), device.maker, device.model, device.serial, session.visit],
        [exam.order.study_instance_uid, exam.order.accession_number],
    ]
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()


def identified(store: Store, rules: PatientRules, exam: Exam) -> Exam:
    """Return the exam with its patient's identifier, and refuse one whose person is in question.

    Raises
    ------
    PatientNotDecidedError, TwoPeopleUnderOneIdError
        A human has to decide; the question is kept until then.
    IssuerNotOwnError
    """
    with store.transaction() as connection:
        if exam.patient.id:
            conflict = _conflict(connection, exam.patient)
            if conflict:
                _ask(connection, exam, Question.TWO_PEOPLE, [(exam.patient.issuer, exam.patient.id)])
            people = []
        else:
            _require_own_issuer(rules, exam)
            found = _decided(connection, exam)
            people = [] if found else _people_who_fit(connection, exam.patient)
            _ask(connection, exam, Question.SAME_PERSON, people)
            if not found and not people:
                found = _new_person(connection, rules, exam, Decision.GENERATED, _RULE)
    if exam.patient.id:
        if conflict:
            raise _two_people(exam, conflict)
        return exam
    if people:
        raise _not_decided(exam)
    assert found is not None  # noqa: S101 - decided, or made just now
    return _with_id(exam, *found)


def _with_id(exam: Exam, issuer: str, patient_id: str) -> Exam:
    return replace(exam, patient=replace(exam.patient, id=patient_id, issuer=issuer, is_id_generated=True))


def record_patient(connection: Connection, exam: Exam) -> None:
    """Remember the person of an exam that goes out.

    Raises
    ------
    TwoPeopleUnderOneIdError
        If another process made this person known with other facts meanwhile.
    """
    patient = exam.patient
    conflict = _conflict(connection, patient)
    if conflict:
        raise _two_people(exam, conflict)
    _know(connection, patient, is_generated=False)
    _accept_facts(connection, exam, patient.issuer, patient.id)


def decide_same(store: Store, rules: PatientRules, exam: Exam, person: tuple[str, str], who: str) -> Exam:
    """File an exam under a known person; a stated identifier with corrected facts is accepted by the same word.

    Parameters
    ----------
    person : tuple of str
        Issuer and identifier.
    who : str
        Who decides.

    Raises
    ------
    UnknownPatientError, PatientAlreadyDecidedError, PatientIdStatedError, IssuerNotOwnError
    """
    patient = exam.patient
    if patient.id and (patient.issuer, patient.id) != person:
        raise PatientIdStatedError(
            "the exam document states another identifier", where=_place(exam), fix="mend it there, or decide for that"
        )
    if not patient.id:
        _require_own_issuer(rules, exam)
    issuer, patient_id = person
    with store.transaction() as connection:
        if connection.scalar(sa.select(patients.c.issuer).where(_is(patients, issuer, patient_id))) is None:
            raise UnknownPatientError(
                "no person with this identifier and issuer is known", fix="gateway patient list shows who is"
            )
        _decide(connection, exam, person, Decision.SAME, who)
        _accept_facts(connection, exam, issuer, patient_id)
    return exam if patient.id else _with_id(exam, issuer, patient_id)


def decide_new(store: Store, rules: PatientRules, exam: Exam, who: str) -> Exam:
    """Give the person of an exam a new identifier although somebody known has the same name.

    Raises
    ------
    PatientAlreadyDecidedError, PatientIdStatedError, IssuerNotOwnError
    """
    if exam.patient.id:
        raise PatientIdStatedError(
            "the exam document states an identifier", where=_place(exam), fix="mend it there where it is wrong"
        )
    _require_own_issuer(rules, exam)
    with store.transaction() as connection:
        if _decided(connection, exam):
            raise _already(exam)
        person = _new_person(connection, rules, exam, Decision.NEW, who)
    return _with_id(exam, *person)


def _require_own_issuer(rules: PatientRules, exam: Exam) -> None:
    if not rules.generates or exam.patient.issuer not in {"", rules.issuer}:
        raise IssuerNotOwnError(
            "an identifier can only be made under the site's own issuer",
            where=exam.origins.get("patient.issuer", _place(exam)),
            fix="leave patient.issuer out, or state patient.id",
        )


def _new_person(
    connection: Connection, rules: PatientRules, exam: Exam, decision: Decision, who: str
) -> tuple[str, str]:
    for _ in range(_TRIES):
        patient_id = rules.make_id()
        if connection.scalar(sa.select(patients.c.issuer).where(_is(patients, rules.issuer, patient_id))) is None:
            break
    else:
        raise StoreUnavailableError("no unused patient identifier was found", fix="run it again")
    person = (rules.issuer, patient_id)
    _know(connection, replace(exam.patient, issuer=rules.issuer, id=patient_id), is_generated=True)
    _decide(connection, exam, person, decision, who)
    _accept_facts(connection, exam, *person)
    return person


def _know(connection: Connection, patient: Patient, *, is_generated: bool) -> None:
    mine = _is(patients, patient.issuer, patient.id)
    if connection.scalar(sa.select(patients.c.issuer).where(mine)) is None:
        values = {"issuer": patient.issuer, "patient_id": patient.id, "is_generated": is_generated}
        connection.execute(patients.insert().values(**values, known_since=now_text()))


def _decided(connection: Connection, exam: Exam) -> tuple[str, str] | None:
    row = connection.execute(
        sa.select(patient_decisions.c.issuer, patient_decisions.c.patient_id).where(
            patient_decisions.c.exam_digest == exam_digest(exam)
        )
    ).one_or_none()
    return (row.issuer, row.patient_id) if row else None


def _decide(connection: Connection, exam: Exam, person: tuple[str, str], decision: Decision, who: str) -> None:
    earlier = _decided(connection, exam)
    if earlier and earlier != person:
        raise _already(exam)
    if earlier is None:
        connection.execute(
            patient_decisions.insert().values(
                exam_digest=exam_digest(exam),
                issuer=person[0],
                patient_id=person[1],
                decision=decision.value,
                decided_by=who,
                decided_at=now_text(),
                place=_place(exam),
            )
        )
    connection.execute(patient_questions.delete().where(patient_questions.c.exam_digest == exam_digest(exam)))


def _ask(connection: Connection, exam: Exam, question: Question, people: Iterable[tuple[str, str]]) -> None:
    """Keep a question until it is decided; asking again changes nothing but the place."""
    digest = exam_digest(exam)
    connection.execute(patient_questions.delete().where(patient_questions.c.exam_digest == digest))
    for issuer, patient_id in people:
        connection.execute(
            patient_questions.insert().values(
                exam_digest=digest,
                place=_place(exam),
                issuer=issuer,
                patient_id=patient_id,
                question=question.value,
                asked_at=now_text(),
            )
        )


def _accept_facts(connection: Connection, exam: Exam, issuer: str, patient_id: str) -> None:
    facts = _facts_of(exam.patient)
    known = connection.execute(sa.select(patient_facts).where(_is(patient_facts, issuer, patient_id))).all()
    if any(all(getattr(row, name) == value for name, value in facts.items()) for row in known):
        return
    values = {"issuer": issuer, "patient_id": patient_id, "place": _place(exam), "accepted_at": now_text()}
    connection.execute(patient_facts.insert().values(**values, **facts))


def _conflict(connection: Connection, patient: Patient) -> str:
    """Return where a person was read with other facts; empty where nothing that is stated on both sides differs."""
    rows = connection.execute(
        sa.select(patient_facts).where(_is(patient_facts, patient.issuer, patient.id)).order_by(patient_facts.c.id)
    ).all()
    for name, value in _facts_of(patient).items():
        accepted = [row for row in rows if getattr(row, name)]
        if value and accepted and all(compared(getattr(row, name)) != compared(value) for row in accepted):
            return str(accepted[-1].place)
    return ""


def _people_who_fit(connection: Connection, patient: Patient) -> list[tuple[str, str]]:
    """Return the known people with one of the patient's names, and no other birth date or sex."""
    facts = _facts_of(patient)
    rows = connection.execute(sa.select(patient_facts).order_by(patient_facts.c.id)).all()
    fitting = [
        (row.issuer, row.patient_id)
        for row in rows
        if any(facts[name] and compared(facts[name]) == compared(getattr(row, name)) for name in _NAMES)
        and all(not facts[name] or getattr(row, name) in {"", facts[name]} for name in ("birth_date", "sex"))
    ]
    return list(dict.fromkeys(fitting))


def compared(text: str) -> str:
    """Return a name as it is compared, never as it is written: composed, without case, width or empty components."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return "^".join(" ".join(part.split()) for part in folded.split("^")).rstrip("^")


def _facts_of(patient: Patient) -> dict[str, str]:
    return {
        **{name: str(getattr(patient.name, name)) for name in _NAMES},
        "birth_date": patient.birth_date.isoformat() if patient.birth_date else "",
        "sex": patient.sex.value if patient.sex else "",
    }


def _is(table: sa.Table, issuer: str, patient_id: str) -> sa.ColumnElement[bool]:
    return (table.c.issuer == issuer) & (table.c.patient_id == patient_id)


def _place(exam: Exam) -> str:
    # A document is called exam.yaml in every folder, so the exam's own name stands before it.
    return f"{exam.key}, {exam.origins['patient']}" if "patient" in exam.origins else exam.key


def _not_decided(exam: Exam) -> PatientNotDecidedError:
    return PatientNotDecidedError(
        "a known person has the same name, and no other birth date or sex",
        where=_place(exam),
        fix="gateway patient list --names shows who; then gateway patient same EXAM --as ID, or gateway patient new "
        "EXAM",
    )


def _two_people(exam: Exam, elsewhere: str) -> TwoPeopleUnderOneIdError:
    return TwoPeopleUnderOneIdError(
        "two people under one id? name, birth date or sex differ",
        where=_place(exam),
        was=f"otherwise at {elsewhere}",
        fix="mend patient.id, or gateway patient same EXAM --as ID accepts the corrected facts",
    )


def _already(exam: Exam) -> PatientAlreadyDecidedError:
    return PatientAlreadyDecidedError(
        "it was decided before whose exam this is", where=_place(exam), fix="gateway patient list shows how"
    )
