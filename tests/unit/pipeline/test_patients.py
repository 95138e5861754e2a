"""Whose exam it is: one identifier one person, one name perhaps two, and never an identifier twice."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import unicodedata
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from gateway.errors import Place
from gateway.errors.patients import (
    IssuerNotOwnError,
    PatientAlreadyDecidedError,
    PatientIdStatedError,
    PatientNotDecidedError,
    TwoPeopleUnderOneIdError,
    UnknownPatientError,
)
from gateway.model.exam import Exam
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName, Sex
from gateway.model.session import Session
from gateway.pipeline.patient_list import known_people, open_questions
from gateway.pipeline.patients import PatientRules, decide_new, decide_same, identified, record_patient
from gateway.pipeline.store import Store

RULES = PatientRules("INVENTED-ISLAND", generates=True)
START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
HOLM = Patient("", "", PersonName("Holm^Maija"), date(1958, 3, 14), Sex.FEMALE)


def exam(patient: Patient = HOLM, *, days: int = 0, file: str = "one/exam.yaml") -> Exam:
    session = Session(START + timedelta(days=days))
    return Exam(
        file.split("/", maxsplit=1)[0],
        patient,
        Order(),
        session,
        (),
        origins={"patient": Place(file, 3, 10, "patient")},
    )


def stated(patient_id: str = "7", **facts: object) -> Patient:
    return replace(HOLM, id=patient_id, issuer="HOSPITAL", **facts)  # type: ignore[arg-type]


def sent(store: Store, one: Exam) -> None:
    with store.transaction() as connection:
        record_patient(connection, one)


def named(patient: Patient, **groups: str) -> Patient:
    return replace(patient, name=replace(patient.name, **groups))


def test_the_same_exam_read_twice_has_the_same_identifier_also_after_the_store_was_closed(tmp_path: Path) -> None:
    store = Store(tmp_path)
    first = identified(store, RULES, exam()).patient
    store.close()
    again = Store(tmp_path)
    assert identified(again, RULES, exam()).patient == first
    assert (first.issuer, first.is_id_generated) == ("INVENTED-ISLAND", True)
    assert first.name == HOLM.name
    again.close()


def test_an_identifier_is_never_given_twice(store: Store) -> None:
    drawn = iter(["G-1", "G-1", "G-1", "G-2"])
    rules = replace(RULES, make_id=lambda: next(drawn))
    one = identified(store, rules, exam())
    two = identified(store, rules, exam(named(HOLM, alphabetic="Berg^Nora"), days=1))
    assert (one.patient.id, two.patient.id) == ("G-1", "G-2")


def test_a_stated_identifier_that_the_drawing_hits_is_left_to_its_owner(store: Store) -> None:
    sent(store, exam(replace(stated("G-1"), issuer="INVENTED-ISLAND", name=PersonName("Berg^Nora"))))
    drawn = iter(["G-1", "G-2"])
    assert identified(store, replace(RULES, make_id=lambda: next(drawn)), exam()).patient.id == "G-2"


@pytest.mark.parametrize(
    "same_again",
    [
        HOLM,
        named(HOLM, alphabetic="HOLM^MAIJA^^^"),
        named(HOLM, alphabetic="Other^Spelling", ideographic="洪^真衣"),
        replace(HOLM, birth_date=None),
        replace(HOLM, sex=None),
    ],
)
def test_a_known_name_with_no_other_birth_date_or_sex_is_a_question_to_a_human(
    store: Store, same_again: Patient
) -> None:
    known = identified(store, RULES, exam(named(HOLM, ideographic="洪^真衣"))).patient
    later = exam(same_again, days=1, file="two/exam.yaml")
    for _ in range(2):
        with pytest.raises(PatientNotDecidedError) as caught:
            identified(store, RULES, later)
    for command in ("gateway patient same EXAM --as ID", "gateway patient new EXAM", "gateway patient list"):
        assert command in str(caught.value)
    assert not {"Holm", "Maija", "HOLM", "洪", "1958", known.id} & set(str(caught.value).replace("^", " ").split())
    (question,) = open_questions(store)
    assert (question.patient_id, question.place, question.question) == (
        known.id,
        f"two, {later.origins['patient']}",
        "same-person",
    )


def test_every_known_person_who_fits_is_put_to_the_human(store: Store) -> None:
    first = identified(store, RULES, exam()).patient
    second = decide_new(store, RULES, exam(days=1, file="two/exam.yaml"), "nurse").patient
    third = exam(days=2, file="three/exam.yaml")
    with pytest.raises(PatientNotDecidedError):
        identified(store, RULES, third)
    assert {question.patient_id for question in open_questions(store)} == {first.id, second.id}
    decide_same(store, RULES, third, (second.issuer, second.id), "nurse")
    assert open_questions(store) == ()


@pytest.mark.parametrize(
    "other",
    [
        replace(HOLM, birth_date=date(1958, 3, 15)),
        replace(HOLM, sex=Sex.MALE),
        named(HOLM, alphabetic="Holm^Maja"),
    ],
)
def test_another_birth_date_sex_or_name_is_another_person(store: Store, other: Patient) -> None:
    first = identified(store, RULES, exam()).patient
    assert identified(store, RULES, exam(other, days=1)).patient.id != first.id


def test_decisions_hold_and_are_kept_with_who_and_when(store: Store) -> None:
    known = identified(store, RULES, exam()).patient
    same, other = exam(days=1, file="two/exam.yaml"), exam(days=2, file="three/exam.yaml")
    for one in (same, other):
        with pytest.raises(PatientNotDecidedError):
            identified(store, RULES, one)
    decide_same(store, RULES, same, (known.issuer, known.id), "nurse 1")
    decide_new(store, RULES, other, "nurse 2")
    assert identified(store, RULES, same).patient.id == known.id
    new_id = identified(store, RULES, other).patient.id
    assert new_id != known.id
    made = {p.patient_id: [(d.decision, d.decided_by) for d in p.decisions] for p in known_people(store)}
    assert made == {known.id: [("generated", "rule"), ("same", "nurse 1")], new_id: [("new", "nurse 2")]}
    assert all(d.decided_at.startswith("20") and d.place for p in known_people(store) for d in p.decisions)
    assert open_questions(store) == ()


def test_a_decision_is_not_quietly_turned_round(store: Store) -> None:
    known = identified(store, RULES, exam()).patient
    later = exam(days=1)
    decide_same(store, RULES, later, (known.issuer, known.id), "nurse 1")
    decide_same(store, RULES, later, (known.issuer, known.id), "nurse 1")
    with pytest.raises(PatientAlreadyDecidedError):
        decide_new(store, RULES, later, "nurse 2")
    assert identified(store, RULES, later).patient.id == known.id


def test_an_exam_cannot_be_filed_under_somebody_unknown(store: Store) -> None:
    with pytest.raises(UnknownPatientError):
        decide_same(store, RULES, exam(), ("INVENTED-ISLAND", "G-NOBODY"), "nurse 1")
    assert known_people(store) == ()


def test_a_stated_identity_wins_over_the_command_line(store: Store) -> None:
    known = identified(store, RULES, exam()).patient
    with pytest.raises(PatientIdStatedError):
        decide_same(store, RULES, exam(stated()), (known.issuer, known.id), "nurse 1")
    with pytest.raises(PatientIdStatedError):
        decide_new(store, RULES, exam(stated()), "nurse 1")


def test_no_identifier_is_made_under_somebody_elses_issuer_or_without_the_setting(store: Store) -> None:
    with pytest.raises(IssuerNotOwnError):
        identified(store, RULES, exam(replace(HOLM, issuer="HOSPITAL")))
    with pytest.raises(IssuerNotOwnError):
        identified(store, PatientRules("INVENTED-ISLAND"), exam())
    assert identified(store, RULES, exam(replace(HOLM, issuer="INVENTED-ISLAND"))).patient.id


@pytest.mark.parametrize(
    "other",
    [
        {"name": PersonName("Berg^Nora")},
        {"birth_date": date(1958, 3, 15)},
        {"sex": Sex.MALE},
        {"name": PersonName("Holm^Maija", "洪^真伊")},
    ],
)
def test_one_identifier_with_other_facts_is_a_question_with_both_places(store: Store, other: dict[str, object]) -> None:
    sent(store, exam(stated(name=PersonName("Holm^Maija", "洪^真衣"))))
    later = exam(stated(**{"name": PersonName("Holm^Maija", "洪^真衣"), **other}), days=1, file="two/exam.yaml")
    with pytest.raises(TwoPeopleUnderOneIdError) as caught:
        identified(store, RULES, later)
    text = str(caught.value)
    assert "one/exam.yaml:3:10" in text
    assert "two/exam.yaml:3:10" in text
    assert "two people under one id?" in text
    assert not any(word in text for word in ("Holm", "Berg", "洪", "1958", "HOSPITAL"))
    with pytest.raises(TwoPeopleUnderOneIdError), store.transaction() as connection:
        record_patient(connection, later)
    (question,) = open_questions(store)
    assert question.question == "two-people"


def test_a_name_correction_is_accepted_by_a_named_human_and_both_names_go_on(store: Store) -> None:
    old, corrected = exam(stated()), exam(stated(name=PersonName("Holm-Berg^Maija")), days=1)
    sent(store, old)
    with pytest.raises(TwoPeopleUnderOneIdError):
        identified(store, RULES, corrected)
    decide_same(store, RULES, corrected, ("HOSPITAL", "7"), "nurse 1")
    assert identified(store, RULES, corrected) == corrected
    assert identified(store, RULES, old) == old
    (person,) = known_people(store)
    assert [facts.alphabetic for facts in person.facts] == ["Holm^Maija", "Holm-Berg^Maija"]
    with pytest.raises(TwoPeopleUnderOneIdError):
        identified(store, RULES, exam(stated(name=PersonName("Berg^Nora")), days=2))


def test_facts_that_were_not_stated_before_are_no_contradiction_and_are_remembered(store: Store) -> None:
    sent(store, exam(stated(birth_date=None, sex=None)))
    sent(store, exam(stated(), days=1))
    with pytest.raises(TwoPeopleUnderOneIdError):
        identified(store, RULES, exam(stated(birth_date=date(1960, 1, 1)), days=2))


def test_a_name_composed_otherwise_is_the_same_name_and_each_stays_as_written(store: Store) -> None:
    # The same letters as one or two code points (Unicode Standard Annex 15).
    composed, apart = (unicodedata.normalize(form, "Höglund^Åsa") for form in ("NFC", "NFD"))
    assert composed != apart
    sent(store, exam(stated(name=PersonName(composed))))
    later = exam(stated(name=PersonName(apart)), days=1)
    assert identified(store, RULES, later).patient.name.alphabetic == apart


def test_the_same_identifier_of_another_issuer_is_somebody_else(store: Store) -> None:
    sent(store, exam(stated()))
    other = replace(stated(name=PersonName("Berg^Nora")), issuer="OTHER-HOSPITAL")
    assert identified(store, RULES, exam(other, days=1)).patient == other


PROCESS = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from gateway.errors.patients import PatientNotDecidedError
from gateway.pipeline.patients import identified
from gateway.pipeline.store import Store
from tests.unit.pipeline.test_patients import HOLM, RULES, exam, named
store = Store(Path(sys.argv[1]))
sys.stdin.readline()
for number in range(20):
    print(identified(store, RULES, exam(named(HOLM, alphabetic=f"Person^{number}"))).patient.id)
for own in range(20):
    print(identified(store, RULES, exam(named(HOLM, alphabetic=f"Person^{sys.argv[3]}{own}"))).patient.id)
try:
    identified(store, RULES, exam(named(HOLM, alphabetic="Person^0"), days=1 + int(sys.argv[3] == "b")))
except PatientNotDecidedError:
    print("asked")
store.close()
"""


def test_two_processes_give_one_exam_one_identifier_and_two_people_two(tmp_path: Path) -> None:
    Store(tmp_path / "data").close()
    root = str(Path(__file__).parents[3])
    command = [sys.executable, "-c", PROCESS, str(tmp_path / "data"), root]
    running = [
        subprocess.Popen([*command, name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=root)
        for name in "ab"
    ]
    for process in running:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    printed = [process.communicate(timeout=120)[0].split() for process in running]
    assert [process.returncode for process in running] == [0, 0]
    one, two = printed
    assert one[:20] == two[:20]
    assert len(set(one[:20])) == 20
    assert len(set(one[:40]) | set(two[:40])) == 60
    assert one[40:] == two[40:] == ["asked"]


def test_the_database_itself_refuses_an_identifier_twice(tmp_path: Path) -> None:
    store = Store(tmp_path)
    made = identified(store, RULES, exam()).patient
    store.close()
    with sqlite3.connect(tmp_path / "gateway.sqlite") as database, pytest.raises(sqlite3.IntegrityError):
        database.execute("INSERT INTO patients VALUES (?, ?, 1, '')", (made.issuer, made.id))
    database.close()


def test_identifiers_fit_a_long_string_and_are_drawn_from_eighty_bits() -> None:
    # PS3.5 6.2: LO holds at most 64 characters. 32 letters, 16 of them: 2 ** 80.
    drawn = {RULES.make_id() for _ in range(2000)}
    assert len(drawn) == 2000
    assert {len(one) for one in drawn} == {18}
    assert len(set("".join(one[2:] for one in drawn))) == 32
