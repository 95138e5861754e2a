"""Coverage only grows with captures, and the two eyes are mirror images."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from gateway.coverage.chart import coverage_of, gap_words, hours_words
from gateway.coverage.claims import HALF_HOURS_OF_DIAL, Shade
from gateway.coverage.completeness import judgements_of, missing_steps
from gateway.model.capture import Capture, CaptureKind
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, ProbePosition, Scan, Zone
from gateway.model.session import DeclaredSweep
from gateway.reports.coverage import coverage_text
from tests.unit.coverage.invented_sweeps import exam

half_hours = st.integers(2, 25).map(ClockHour)


@st.composite
def captures(draw):
    scan = draw(st.sampled_from(Scan))
    hour = None if scan.forbids_clock_hour else draw(half_hours if scan.requires_clock_hour else st.none() | half_hours)
    position = ProbePosition(scan, clock_hour=hour, zone=draw(st.none() | st.sampled_from(Zone)))
    name = f"c{draw(st.integers(0, 10**6))}"
    kind = draw(st.sampled_from(CaptureKind))
    eye = draw(st.sampled_from(Eye))
    return Capture(name, kind, (f"{name}.png",), eye, position, is_swept=draw(st.booleans()))


several = st.lists(captures(), max_size=8)
sweeps = st.lists(st.builds(DeclaredSweep, st.sampled_from(Eye), half_hours), max_size=3)
protocols = st.sampled_from(["five-sweep-screening", "axial-and-quadrants"])


@given(several, captures(), sweeps, protocols)
def test_a_further_capture_never_takes_anything_away(before, one_more, declared, protocol):
    first = exam(before, declared=declared, protocol=protocol)
    then = replace(first, captures=(*first.captures, one_more))
    for eye in Eye:
        old, new = coverage_of(first, eye).cells, coverage_of(then, eye).cells
        assert all(new[cell] >= shade for cell, shade in old.items())
        assert set(missing_steps(then, eye)) <= set(missing_steps(first, eye)) or not missing_steps(first, eye)
    complete = {(j.eye, j.rule_set) for j in judgements_of(first) if j.is_complete}
    assert complete <= {(j.eye, j.rule_set) for j in judgements_of(then) if j.is_complete}


def mirrored_hour(hour):
    at = (HALF_HOURS_OF_DIAL - hour.half_hours) % HALF_HOURS_OF_DIAL
    return ClockHour(at if at >= 2 else at + HALF_HOURS_OF_DIAL)


def other(eye):
    return Eye.LEFT if eye is Eye.RIGHT else Eye.RIGHT


def mirrored(capture):
    hour = capture.position.clock_hour
    position = replace(capture.position, clock_hour=mirrored_hour(hour) if hour else None)
    return replace(capture, eye=other(capture.eye), position=position)


@given(several, sweeps, protocols)
def test_mirrored_captures_show_the_mirrored_parts_of_the_other_eye(shown, declared, protocol):
    here = exam(shown, declared=declared, protocol=protocol)
    swept = [DeclaredSweep(other(sweep.eye), mirrored_hour(sweep.clock_hour)) for sweep in declared]
    there = exam([mirrored(capture) for capture in shown], declared=swept, protocol=protocol)
    for eye in Eye:
        cells = {
            ((-at) % HALF_HOURS_OF_DIAL, zone): shade for (at, zone), shade in coverage_of(here, eye).cells.items()
        }
        assert cells == dict(coverage_of(there, other(eye)).cells)
        verdicts = [
            [(j.rule_set, len(j.missing)) for j in judgements_of(one) if j.eye is of]
            for one, of in ((here, eye), (there, other(eye)))
        ]
        assert verdicts[0] == verdicts[1]


@given(several, sweeps)
def test_what_is_drawn_is_what_is_claimed(shown, declared):
    one = exam(shown, declared=declared)
    for eye in Eye:
        text, cells = coverage_text(one, eye), coverage_of(one, eye).cells
        assert bool(text.shapes) == bool(cells)
        for shape in text.shapes:
            assert 0 <= shape.inner_deg < shape.outer_deg <= 134
            assert 0 < shape.last_hour - shape.first_hour <= 6
        drawn = {shape.shade for shape in text.shapes}
        best = {shade.name.lower().replace("_", "-") for shade in cells.values()}
        assert best <= drawn <= {shade.name.lower().replace("_", "-") for shade in Shade}


@given(st.sets(st.integers(0, HALF_HOURS_OF_DIAL - 1), min_size=1, max_size=HALF_HOURS_OF_DIAL - 1))
def test_runs_and_gaps_always_read_as_hours_of_the_dial(positions):
    for words in (hours_words(positions), gap_words(positions)):
        assert words.endswith(" o'clock")
        assert "0:" not in words.replace("10:", "")
