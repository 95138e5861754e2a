"""Lengths by layers add up, times and lengths turn into one another, and corrections keep their order."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.acoustics.biometry import EyeState, corrected_length, segments_of
from gateway.acoustics.pulse_echo import distance_mm, round_trip_time_us
from gateway.model.biometry import Gate, LengthFormula
from gateway.model.measurement import TissueSpeed

SPEEDS = st.floats(500, 3000)
STEPS_US = st.floats(0.1, 60)


def a_gate(start_us: float, end_us: float, speed_m_per_s: float) -> Gate:
    return Gate("vitreous", start_us, end_us, TissueSpeed(speed_m_per_s, "", "test"))


@given(STEPS_US, STEPS_US, SPEEDS)
def test_a_gate_cut_in_two_gives_the_same_length(first_us: float, second_us: float, speed: float) -> None:
    whole = segments_of([a_gate(0, first_us + second_us, speed)])
    halves = segments_of([a_gate(0, first_us, speed), a_gate(first_us, first_us + second_us, speed)])
    assert sum(s.length_mm for s in halves) == pytest.approx(whole[0].length_mm, rel=1e-12)


@given(st.lists(st.tuples(STEPS_US, SPEEDS), min_size=1, max_size=8), st.floats(0, 100))
def test_the_sum_does_not_depend_on_when_the_first_echo_came(
    layers: list[tuple[float, float]], start_us: float
) -> None:
    def total(at_us: float) -> float:
        gates = []
        for step_us, speed in layers:
            gates.append(a_gate(at_us, at_us + step_us, speed))
            at_us += step_us
        return sum(segment.length_mm for segment in segments_of(gates))

    assert total(start_us) == pytest.approx(total(0.0), rel=1e-9)


@given(st.floats(0, 200), SPEEDS)
def test_millimetres_to_microseconds_and_back(length_mm: float, speed: float) -> None:
    assert float(distance_mm(round_trip_time_us(length_mm, speed), speed)) == pytest.approx(length_mm, rel=1e-12)


@given(st.floats(10, 40), st.floats(0.01, 5))
def test_a_longer_reading_is_a_longer_eye(reading_mm: float, longer_mm: float) -> None:
    state = EyeState(1532)
    one = corrected_length(LengthFormula.HOFFER_1994_PHAKIC, reading_mm, state).length_mm
    other = corrected_length(LengthFormula.HOFFER_1994_PHAKIC, reading_mm + longer_mm, state).length_mm
    assert other > one > reading_mm
