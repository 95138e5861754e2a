"""Complete by a named rule set: worked examples from the published five manoeuvres (University of Iowa, 2016)."""

from __future__ import annotations

import pytest

from gateway.coverage.completeness import judgements_of, missing_steps
from gateway.mapping.protocols import load_protocols
from gateway.model.coded import TextOrCode
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, Unit
from gateway.model.position import Zone
from gateway.standard.codes import concept
from tests.unit.coverage.invented_sweeps import capture, exam

SCREENING = "five-sweep-screening"
FIVE = ("T12", "T3", "T6", "T9", "L9")


def judged(places, eye=Eye.RIGHT, **more):
    loops = [capture(place, eye, loop=place.startswith("T"), **more) for place in places]
    (judgement,) = judgements_of(exam(loops, protocol=SCREENING))
    return judgement


def test_the_five_manoeuvres_are_complete_in_the_right_eye():
    judgement = judged(FIVE)
    assert judgement.is_complete
    assert judgement.missing == ()
    assert judgement.words == "complete (by five-manoeuvres of five-sweep-screening)"
    assert "University of Iowa" in judgement.source


def test_the_same_set_in_the_left_eye_misses_the_macula_which_lies_at_three_there():
    assert judged(FIVE, Eye.LEFT).missing == ("longitudinal scan of macula and disc (L3)",)
    assert judged(("T12", "T3", "T6", "T9", "L3"), Eye.LEFT).is_complete


def test_without_the_sweep_below_the_inferior_quadrant_is_missing():
    judgement = judged(("T12", "T3", "T9", "L9"))
    assert judgement.missing == ("inferior quadrant (T6)",)
    assert judgement.words.startswith("incomplete, missing: inferior quadrant (T6) (by ")


def test_quadrants_are_named_by_their_side_in_each_eye():
    assert judged(("T12", "T6", "L9")).missing == ("nasal quadrant (T3)", "temporal quadrant (T9)")
    assert judged(("T12", "T6", "L3"), Eye.LEFT).missing == ("temporal quadrant (T3)", "nasal quadrant (T9)")


def test_stills_do_where_one_is_posterior_and_one_peripheral():
    others = [capture(place, loop=True) for place in ("T12", "T3", "T9")] + [capture("L9")]

    def missing(*zones):
        stills = [capture("T6", zone=zone) for zone in zones]
        (judgement,) = judgements_of(exam([*others, *stills], protocol=SCREENING))
        return judgement.missing

    assert missing(Zone.POSTERIOR_POLE, Zone.EQUATOR) == ()
    assert missing(Zone.EQUATOR, Zone.ORA_SERRATA) == (
        "inferior quadrant (T6): no loop, and stills state equator and ora serrata alone",
    )
    assert missing(None) == ("inferior quadrant (T6): no loop, and stills state no depth alone",)


def test_only_eyes_that_were_examined_are_judged_and_nothing_without_a_protocol():
    both = [capture("T12", loop=True), capture("T12", Eye.LEFT, loop=True)]
    assert [judgement.eye for judgement in judgements_of(exam(both, protocol=SCREENING))] == [Eye.RIGHT, Eye.LEFT]
    assert [judgement.eye for judgement in judgements_of(exam(both[1:], protocol=SCREENING))] == [Eye.LEFT]
    assert judgements_of(exam(both)) == ()


def test_another_rule_set_may_judge_the_same_captures_otherwise_and_says_which_it_is():
    stills = [capture(place, zone=Zone.EQUATOR) for place in ("T12", "T3", "T6", "T9", "AXH")]
    (strict,) = judgements_of(exam(stills, protocol=SCREENING))
    (other,) = judgements_of(exam(stills, protocol="axial-and-quadrants"))
    assert (strict.is_complete, other.is_complete) == (False, True)
    assert other.words == "complete (by axial-and-four-quadrants of axial-and-quadrants)"


def test_required_steps_without_a_capture_are_listed_whether_named_or_met_by_place():
    captures = [capture("T12", loop=True), capture("T3", zone=Zone.EQUATOR)]
    assert [s.id for s in missing_steps(exam(captures, protocol=SCREENING), Eye.RIGHT)] == ["T6", "T9", "L9"]
    assert missing_steps(exam(captures, protocol=SCREENING), Eye.LEFT) == ()


def number(name, kind, on):
    return Measurement(name, on.id, kind, displayed=Quantity(3, Unit.MM, "3.00"), finding_id="f1")


LONGITUDINAL, TRANSVERSE, A_SCAN = (
    capture("L9", zone=Zone.EQUATOR),
    capture("T9", zone=Zone.EQUATOR),
    capture("A"),
)
LESION = Finding(
    "f1",
    Eye.RIGHT,
    TextOrCode("mass", concept("finding", "mass")),
    capture_ids=(LONGITUDINAL.id, TRANSVERSE.id, A_SCAN.id),
)
NUMBERS = (
    number("m1", MeasurementKind.HEIGHT, LONGITUDINAL),
    number("m2", MeasurementKind.BASE, LONGITUDINAL),
    number("m3", MeasurementKind.BASE, TRANSVERSE),
)


def lesion(findings=(LESION,), numbers=NUMBERS, captures=(LONGITUDINAL, TRANSVERSE, A_SCAN)):
    return judgements_of(exam(captures, protocol="targeted-lesion", findings=findings, measurements=numbers))


def test_a_lesion_is_complete_with_both_scans_height_two_bases_and_an_a_scan():
    (judgement,) = lesion()
    assert judgement.is_complete
    assert judgement.words == "mass (f1): complete (by lesion-through-apex of targeted-lesion)"
    assert "memory" in judgement.source


@pytest.mark.parametrize(
    ("without", "missing"),
    [
        ("m1", "height"),
        ("m2", "longitudinal base"),
        ("m3", "transverse base"),
        ("OD-A-any-still", "A-scan through the apex"),
    ],
)
def test_a_lesion_misses_what_it_has_not(without, missing):
    captures = tuple(c for c in (LONGITUDINAL, TRANSVERSE, A_SCAN) if c.id != without)
    (judgement,) = lesion(numbers=[n for n in NUMBERS if n.id != without], captures=captures)
    assert judgement.missing == (missing,)


def test_captures_and_numbers_of_another_finding_do_not_count():
    elsewhere = Finding("f2", Eye.RIGHT, TextOrCode("mass", concept("finding", "mass")))
    first, second = lesion([LESION, elsewhere])
    assert first.is_complete
    assert len(second.missing) == len(load_protocols()["targeted-lesion"].rule_sets[0].needs)


@pytest.mark.parametrize(
    "finding",
    [
        Finding("f1", Eye.RIGHT, TextOrCode("mass", concept("finding", "mass")), Presence.ABSENT),
        Finding("f1", Eye.RIGHT, TextOrCode("haemorrhage", concept("finding", "haemorrhage"))),
        Finding("f1", Eye.RIGHT, TextOrCode("a shadow")),
    ],
    ids=["absent", "another kind", "own words"],
)
def test_other_findings_are_not_judged(finding):
    assert lesion([finding]) == ()
