"""The report says on what each eye rests, what is shown of it, and which rule set calls that complete."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from gateway.model.position import ClockHour
from gateway.model.session import DeclaredSweep
from tests.unit.builders.sr.invented_exam import a_measured_exam, a_witnessed_exam
from tests.unit.builders.sr.test_report import children, name_of, only, report_of, value_of, walk


def test_each_image_says_on_what_its_eye_rests_and_people_have_an_item_of_their_own(tmp_path: Path) -> None:
    report = report_of(a_witnessed_exam(), tmp_path)
    right, left = children(only(report, "Image Library"), "Image Library Group")
    still, loop = children(right)
    (axial,) = children(left)
    said = {
        name: value_of(only(entry, "Sources that name the eye", "HAS ACQ CONTEXT"))
        for name, entry in (("still", still), ("loop", loop), ("axial", axial))
    }
    assert said == {
        "still": "record and file name agree",
        "loop": "one witness: record",
        "axial": "stated by a named person; record agrees",
    }
    person = only(axial, "Person who stated the eye", "HAS ACQ CONTEXT")
    assert (person.ValueType, person.PersonName) == ("PNAME", "Lind^Tove")
    assert children(still, "Person who stated the eye") == []
    texts = [item.TextValue for item in walk(report) if item.get("ValueType") == "TEXT"]
    assert not any("Tove" in text for text in texts)


def test_the_step_and_what_was_taken_from_it_stand_beside_the_position(tmp_path: Path) -> None:
    right, _ = children(only(report_of(a_witnessed_exam(), tmp_path), "Image Library"), "Image Library Group")
    still, loop = children(right)
    assert value_of(only(still, "Step of examination protocol")) == "L9"
    assert [value_of(item) for item in children(loop, "Comment")] == [
        "transverse 3:30 o'clock, equator",
        "position not stated: scan from protocol step T3 of x",
    ]


def test_coverage_and_judgements_stand_with_their_eye_and_their_rule_set(tmp_path: Path) -> None:
    evaluations = only(report_of(a_witnessed_exam(), tmp_path), "Qualitative Evaluations")
    shown = children(evaluations, "Parts of the eye shown")
    assert [value_of(only(only(item, "Finding Site"), "Laterality")) for item in shown] == ["Right", "Left"]
    right, left = (value_of(item) for item in shown)
    assert "equator: in field 12:30 to 6:30 o'clock; centred 2:30 to 4:30" not in left
    assert "in field 12:30 to 6:30 o'clock; centred 2:30 to 4:30 o'clock" in right
    assert "declared swept, no stored picture" in left
    judged = children(evaluations, "Completeness of examination by a rule set")
    assert [value_of(item) for item in judged] == ["Incomplete by this rule set"] * 2
    for item in judged:
        rules = value_of(only(item, "Rule set that judged", "HAS CONCEPT MOD"))
        assert rules.startswith("five-manoeuvres of five-sweep-screening: Fairbanks A")
    missing = children(evaluations, "What the rule set misses")
    assert value_of(missing[0]).splitlines()[0] == "superior quadrant (T12)"
    assert value_of(only(evaluations, "Examination protocol")).startswith("five-sweep-screening: ")


def test_nothing_about_witnesses_protocol_or_completeness_is_said_where_nothing_is_known(tmp_path: Path) -> None:
    report = report_of(a_measured_exam(), tmp_path)
    names = {name_of(item) for item in walk(report)}
    assert "Sources that name the eye" not in names
    assert "Completeness of examination by a rule set" not in names
    assert "Examination protocol" not in names


def test_no_word_of_coverage_speaks_of_a_state_of_health(tmp_path: Path) -> None:
    exam = a_witnessed_exam().exam
    many = tuple(DeclaredSweep(eye.eye, ClockHour(h)) for eye in exam.captures for h in (2, 8, 14, 20))
    measured = dataclasses.replace(
        a_witnessed_exam(),
        exam=dataclasses.replace(exam, session=dataclasses.replace(exam.session, declared_swept=many)),
    )
    for item in walk(report_of(measured, tmp_path)):
        if item.get("ValueType") in {"TEXT", "CODE"}:
            assert "normal" not in value_of(item).lower()
            assert "healthy" not in value_of(item).lower()
