"""What a capture may claim: the table of common teaching on B-scan technique, worked out by hand, row by row.

About six clock hours lie in the field of a transverse scan and its middle alone is met at right angles (teaching
notes "A/B scan technique" and "Orientation of B scan probe"); a longitudinal scan shows one meridian; axial scans show
theirs at the posterior pole (exam notes "Examination techniques for the globe").
"""

from __future__ import annotations

import pytest

from gateway.coverage.chart import coverage_lines, coverage_of, gap_words, hours_words
from gateway.coverage.claims import SWEPT_ZONES, Shade, claims_of
from gateway.model.laterality import Eye
from gateway.model.position import Zone
from gateway.model.session import DeclaredSweep
from tests.unit.coverage.invented_sweeps import capture, exam, hour


def shown(captures, least=Shade.IN_FIELD, eye=Eye.RIGHT, **more):
    """Hours on the dial by zone."""
    coverage = coverage_of(exam(captures, **more), eye)
    by_zone = {zone: coverage.positions(zone, least) for zone in Zone}
    return {zone: sorted(at / 2 or 12.0 for at in hours) for zone, hours in by_zone.items() if hours}


def whole_hours(hours):
    return {h for h in hours if h == int(h)}


def test_a_transverse_still_claims_its_own_zone_three_hours_to_either_side_and_centred_one():
    still = [capture("T3", zone=Zone.EQUATOR)]
    assert list(shown(still)) == [Zone.EQUATOR]
    assert whole_hours(shown(still)[Zone.EQUATOR]) == {12, 1, 2, 3, 4, 5, 6}
    assert whole_hours(shown(still, Shade.CENTRED)[Zone.EQUATOR]) == {2, 3, 4}


def test_the_field_goes_round_past_twelve_and_half_hours_count():
    assert whole_hours(shown([capture("T12", zone=Zone.EQUATOR)])[Zone.EQUATOR]) == {9, 10, 11, 12, 1, 2, 3}
    half = shown([capture("T12.5", zone=Zone.EQUATOR)])[Zone.EQUATOR]
    assert {h for h in half if h != int(h)} == {9.5, 10.5, 11.5, 0.5, 1.5, 2.5, 3.5}


def test_a_transverse_capture_without_a_depth_claims_nothing_and_is_named():
    still = capture("T3")
    assert claims_of(still) == ()
    assert coverage_of(exam([still]), Eye.RIGHT).without_place == (still.id,)


def test_a_loop_claims_all_depths_only_where_its_sweep_is_marked_complete():
    marked = shown([capture("T6", loop=True, swept=True)])
    assert set(marked) == set(SWEPT_ZONES)
    assert Zone.CILIARY_BODY not in marked
    assert all(whole_hours(hours) == {3, 4, 5, 6, 7, 8, 9} for hours in marked.values())
    unmarked = shown([capture("T6", loop=True, zone=Zone.EQUATOR)])
    assert list(unmarked) == [Zone.EQUATOR]
    assert shown([capture("T6", loop=True)]) == {}


def test_a_longitudinal_scan_claims_its_meridian_alone_and_its_label_where_it_has_one():
    assert shown([capture("L9")]) == {zone: [9] for zone in SWEPT_ZONES}
    assert shown([capture("L9", zone=Zone.EQUATOR)]) == {Zone.EQUATOR: [9]}


@pytest.mark.parametrize(("place", "hours"), [("AXH", [3, 9]), ("AXV", [6, 12])])
def test_axial_scans_claim_their_meridian_at_the_posterior_pole(place, hours):
    assert shown([capture(place)]) == {Zone.POSTERIOR_POLE: hours}


@pytest.mark.parametrize("place", ["A", "M"])
def test_scans_that_name_no_place_claim_nothing(place):
    assert claims_of(capture(place)) == ()


def test_a_declared_sweep_is_a_state_of_its_own_and_never_counts_as_a_picture():
    declared = [DeclaredSweep(Eye.RIGHT, hour(6)), DeclaredSweep(Eye.LEFT, hour(12))]
    assert shown([], declared=declared) == {}
    assert whole_hours(shown([], Shade.DECLARED, declared=declared)[Zone.EQUATOR]) == {3, 4, 5, 6, 7, 8, 9}
    under = coverage_of(exam([capture("T6", zone=Zone.EQUATOR)], declared=declared), Eye.RIGHT)
    assert under.cells[12, Zone.EQUATOR] is Shade.CENTRED
    assert under.cells[12, Zone.ORA_SERRATA] is Shade.DECLARED


@pytest.mark.parametrize("places", [("T3", "T5"), ("T5", "T3")])
def test_what_one_capture_shows_centred_another_at_a_slant_does_not_take_away(places):
    coverage = coverage_of(exam([capture(place, zone=Zone.EQUATOR) for place in places]), Eye.RIGHT)
    assert coverage.cells[6, Zone.EQUATOR] is Shade.CENTRED
    assert coverage.cells[10, Zone.EQUATOR] is Shade.CENTRED
    assert coverage.cells[1, Zone.EQUATOR] is Shade.IN_FIELD


def test_each_eye_is_shown_by_its_own_captures():
    assert shown([capture("T3", Eye.LEFT, Zone.EQUATOR)]) == {}
    assert not coverage_of(exam([capture("T3", Eye.LEFT, Zone.EQUATOR)]), Eye.RIGHT).has_captures


def test_the_words_say_what_is_in_field_what_is_centred_and_what_is_not_shown():
    lines = coverage_lines(coverage_of(exam([capture("T12", zone=Zone.EQUATOR), capture("AXV")]), Eye.RIGHT))
    assert lines == (
        "posterior pole: centred 12 and 6 o'clock; not shown between 12 and 6, between 6 and 12 o'clock",
        "near posterior pole, posterior to equator, anterior to equator, ora serrata and ciliary body: not shown",
        "equator: in field 9 to 3 o'clock; centred 11 to 1 o'clock; not shown between 3 and 9 o'clock",
    )
    assert coverage_lines(coverage_of(exam([]), Eye.RIGHT)) == ()


@pytest.mark.parametrize(
    ("positions", "hours", "gaps"),
    [
        (range(24), "all round", None),
        ([0], "12 o'clock", "between 11:30 and 12:30 o'clock"),
        ([22, 23, 0, 1, 12], "6 and 11 to 12:30 o'clock", "between 5:30 and 6:30, between 10:30 and 1 o'clock"),
        ([7], "3:30 o'clock", "between 3 and 4 o'clock"),
    ],
)
def test_positions_read_as_runs_along_the_dial(positions, hours, gaps):
    assert hours_words(positions) == hours
    if gaps:
        assert gap_words(positions) == gaps
