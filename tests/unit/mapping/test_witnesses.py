"""Two witnesses for the eye; an eye that one source alone names is held, or shown as such."""

from __future__ import annotations

import pytest

from gateway.errors import Place
from gateway.errors.document import DependsOnHeldPartError
from gateway.errors.eyes import EyeWitnessesDisagreeError, SingleEyeWitnessError
from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.witnesses import hold_unsettled_eyes
from gateway.model.laterality import Eye
from gateway.model.people import PersonName
from gateway.model.witness import (
    EyeWitness,
    WitnessSource,
    file_of,
    independent_witnesses,
    is_settled,
    ledger_words,
)

HEAD = """\
format: eye-ultrasound-exam/1
patient: {id: INV-1, issuer: INVENTED, name: Holm^Maija}
session: {start: "2026-03-02T09:30:00+01:00"}
"""
CAPTURE = "  - {id: od, kind: still, file: od.png, eye: right, scan: macula%s}\n"
BY_NAME = ", eye_witnesses: [{source: file-name, eye: %s, words: %s, at: od.png}]"


def document(*more: str, head: str = "") -> str:
    return (
        HEAD + head + "captures:\n" + "".join(CAPTURE.replace("id: od", f"id: od{n}") % m for n, m in enumerate(more))
    )


def after_the_rule(read, text: str, **options):
    return hold_unsettled_eyes(read(text).exam, **options)


def test_the_document_alone_is_one_witness_and_the_capture_is_held_with_what_to_do(read):
    exam, held = after_the_rule(read, document(""))
    (part,) = held
    assert exam.captures == ()
    assert (part.part, part.name) == ("captures[0]", "od0")
    assert isinstance(part.reason, SingleEyeWitnessError)
    assert part.reason.where == Place("exam.yaml", 5, 47, "captures[0].eye")
    assert part.reason.was == "right by record at exam.yaml:5:47 (captures[0].eye)"
    for way in ("eye_stated_by", "second source", "single_eye_witness"):
        assert way in part.reason.fix


def test_the_site_may_decide_that_one_witness_will_do_and_the_ledger_says_so(read):
    exam, held = after_the_rule(read, document(""), is_one_enough=True)
    assert held == ()
    assert ledger_words(exam.captures[0].eye_witnesses) == "one witness: record"


def test_no_witness_at_all_never_will_do():
    assert not is_settled((), is_one_enough=True)


def test_a_file_name_that_agrees_is_the_second_witness(read):
    exam, held = after_the_rule(read, document(BY_NAME % ("right", "OD")))
    assert held == ()
    assert ledger_words(exam.captures[0].eye_witnesses) == "record and file name agree"
    record, name = exam.captures[0].eye_witnesses
    assert (record.source, str(record.place)) == (WitnessSource.RECORD, "exam.yaml:5:47 (captures[0].eye)")
    assert (name.source, name.words, name.place) == (WitnessSource.FILE_NAME, "OD", "od.png")


def test_a_person_needs_no_second_witness_for_one_capture_or_for_all(read):
    exam, held = after_the_rule(read, document(", eye_stated_by: Holm^M", ""))
    assert [capture.id for capture in exam.captures] == ["od0"]
    assert [part.name for part in held] == ["od1"]
    assert ledger_words(exam.captures[0].eye_witnesses) == "stated by M Holm; record agrees"
    exam, held = after_the_rule(read, document("", "", head='eyes_stated_by: "Lind^Tove"\n'))
    assert held == ()
    assert {witness.person for c in exam.captures for witness in c.eye_witnesses} == {None, PersonName("Lind^Tove")}


@pytest.mark.parametrize("head", ["", 'eyes_stated_by: "Lind^Tove"\n'], ids=["unsaid", "said by a person"])
def test_a_witness_of_the_other_eye_holds_the_capture_and_both_places_are_named(read, head):
    mapped = read(document(BY_NAME % ("left", "OS"), ", eye_stated_by: Holm^M", head=head))
    (part,) = mapped.held
    assert isinstance(part.reason, EyeWitnessesDisagreeError)
    line = 6 if head else 5
    assert part.reason.where == Place("exam.yaml", line, 47, "captures[0].eye")
    assert part.reason.was == "right here, but left by file name (OS) at od.png"


def test_two_lines_of_one_file_are_one_witness(read):
    twice = ", eye_witnesses: [{source: record, eye: right, words: R, at: 'exam.yaml:99'}]"
    assert len(after_the_rule(read, document(twice))[1]) == 1
    other_file = twice.replace("exam.yaml:99", "worklist.csv:3")
    assert after_the_rule(read, document(other_file))[1] == ()
    names = ", eye_witnesses: [{source: file-name, eye: right, words: OD, at: a.png}," * 1
    same_kind_twice = names + " {source: file-name, eye: right, words: OD, at: a.png}]"
    counted = independent_witnesses(read(document(same_kind_twice)).exam.captures[0].eye_witnesses)
    assert [witness.source.value for witness in counted] == ["record", "file-name"]


def put_together(text: str, sources: dict[tuple[str | int, ...], Place]) -> LocatedDocument:
    return LocatedDocument("mapping.yaml", read_yaml(text, "mapping.yaml"), sources)


def test_an_eye_that_a_mapping_took_from_the_file_name_is_not_heard_twice():
    text = document(BY_NAME % ("right", "OD"))
    from_name = put_together(text, {("captures", 0, "eye"): Place("media/od.png")})
    exam = map_exam_document(from_name, "x").exam
    assert [witness.source for witness in exam.captures[0].eye_witnesses] == [WitnessSource.FILE_NAME]
    assert len(hold_unsettled_eyes(exam)[1]) == 1
    from_table = put_together(text, {("captures", 0, "eye"): Place("exam.csv", 3, 7)})
    exam = map_exam_document(from_table, "x").exam
    assert ledger_words(exam.captures[0].eye_witnesses) == "record and file name agree"
    assert hold_unsettled_eyes(exam)[1] == ()


def test_what_rests_on_a_held_capture_is_held_with_it(read):
    text = document("", ", eye_stated_by: Holm^M") + (
        "measurements:\n  - {id: m, capture: od0, kind: height, displayed: {value: 3, unit: mm}}\n"
    )
    exam, held = after_the_rule(read, text)
    assert [(part.name, type(part.reason)) for part in held] == [
        ("od0", SingleEyeWitnessError),
        ("m", DependsOnHeldPartError),
    ]
    assert exam.measurements == ()


def test_a_step_that_belongs_to_one_eye_is_a_witness_of_it(read):
    text = document(", protocol_step: L9", ", protocol_step: T12").replace("scan: macula, ", "")
    text = text.replace("session: {", "session: {protocol: five-sweep-screening, ")
    exam, held = after_the_rule(read, text)
    assert [part.name for part in held] == ["od1"]
    assert ledger_words(exam.captures[0].eye_witnesses) == "record and protocol place agree"
    wrong = read(text.replace("protocol_step: L9", "protocol_step: L3")).held[0]
    assert isinstance(wrong.reason, EyeWitnessesDisagreeError)
    assert "left by protocol place (L3) at five-sweep-screening.yaml:" in wrong.reason.was


def test_a_name_that_cannot_be_read_is_not_repeated_in_the_message(read):
    (part,) = read(document(", eye_stated_by: 'Holm=Maija'", ", eye_stated_by: Holm^M")).held
    assert "Maija" not in str(part.reason)


@pytest.mark.parametrize(
    ("place", "file"),
    [
        ("exam.csv:3", "exam.csv"),
        ("exam.csv:3:7 (row 2)", "exam.csv"),
        ("A-1001", "A-1001"),
        (Place("exam.csv", 3), "exam.csv"),
        ("03:2026.png", "03:2026.png"),
    ],
)
def test_a_place_is_known_by_its_file(place, file):
    assert file_of(place) == file


@pytest.mark.parametrize(
    ("sources", "words"),
    [
        ([], ""),
        (["record"], "one witness: record"),
        (["record", "folder-name", "order"], "record, folder name and order agree"),
        (["record", "person"], "stated by Maija Holm; record agrees"),
        (["person"], "stated by Maija Holm"),
    ],
)
def test_the_ledger_reads_as_a_sentence(sources, words):
    people = {"person": PersonName("Holm^Maija")}
    witnesses = [EyeWitness(WitnessSource(s), Eye.RIGHT, "OD", f"{s}.txt", people.get(s)) for s in sources]
    assert ledger_words(witnesses) == words
    assert "Holm" not in ledger_words(witnesses, are_people_named=False)
