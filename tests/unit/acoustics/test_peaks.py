"""The same peaks with the same prominences as scipy.signal.find_peaks, an independent implementation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks, peak_prominences

from gateway.acoustics.peaks import offered_peaks

CURVES = st.lists(st.integers(0, 12), min_size=0, max_size=60).map(lambda v: np.array(v, dtype=np.float64))


@given(CURVES, st.integers(0, 12))
def test_peaks_with_flat_tops_are_those_of_scipy(curve, least):
    found = offered_peaks(curve, float(least))
    wanted, facts = find_peaks(curve, prominence=least)
    assert [peak.index for peak in found] == list(wanted)
    assert [peak.prominence for peak in found] == pytest.approx(list(facts["prominences"]))


@given(st.integers(0, 2**32 - 1))
def test_peaks_of_noise_are_those_of_scipy(seed):
    curve = np.random.default_rng(seed).normal(size=400).cumsum()
    found = offered_peaks(curve, 0.5)
    wanted, _ = find_peaks(curve, prominence=0.5)
    assert [peak.index for peak in found] == list(wanted)
    assert [p.prominence for p in found] == pytest.approx(list(peak_prominences(curve, wanted)[0]))


@given(st.floats(5, 15), st.floats(0.5, 3))
def test_the_top_of_a_parabola_is_found_between_samples(middle, curvature):
    curve = 100 - curvature * (np.arange(21) - middle) ** 2
    (peak,) = offered_peaks(curve, 1.0)
    assert peak.position == pytest.approx(middle, abs=1e-9)


def test_a_flat_or_short_curve_has_no_peaks():
    for curve in (np.zeros(0), np.zeros(2), np.ones(9), np.arange(9.0)):
        assert offered_peaks(curve, 0.0) == ()
