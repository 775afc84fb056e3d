"""Filters and resampling, against scipy.signal and by the words of the regulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import savgol_filter

from coach.recording import Series
from coach.review.smooth import dwell_us, even_grid, hampel, held_at, longest_gap_us, period_us, savgol, value_at

US = 1_000_000


def s(t, v):
    return Series(np.round(np.array(t) * US).astype(np.int64), np.array(v, dtype=np.float64))


@given(
    st.lists(st.floats(-100, 100), min_size=25, max_size=60), st.integers(2, 8), st.integers(2, 4), st.integers(0, 1)
)
def test_savitzky_golay_is_that_of_scipy(values, half, degree, derivative):
    """Reference: scipy.signal.savgol_filter with its ends fitted (mode interp)."""
    if degree >= 2 * half:
        return
    v = np.array(values)
    mine = savgol(v, half, degree, derivative=derivative, step=0.1)
    told = savgol_filter(v, 2 * half + 1, degree, deriv=derivative, delta=0.1, mode="interp")
    assert mine == pytest.approx(told, rel=1e-7, abs=1e-6)


def test_a_window_needs_its_points():
    """One sentence's worth of numbers."""
    with pytest.raises(ValueError, match="a window of 9 points"):
        savgol(np.zeros(8), 4)


def test_values_between_samples_are_interpolated_and_never_held():
    """Nothing before, after, or across a silence; a sample's own time gives the sample."""
    x = s([0, 1, 2, 20, 21], [0, 10, 20, 200, 210])
    at = np.round(np.array([-1, 0, 0.5, 1, 10, 20, 20.5, 22]) * US).astype(np.int64)
    found = value_at(x, at)
    assert found[[1, 2, 3, 5, 6]].tolist() == [0, 5, 10, 200, 205]
    assert np.isnan(found[[0, 4, 7]]).all()
    assert np.isnan(value_at(s([], []), at)).all()
    assert np.isnan(value_at(s([0, 1], [np.nan, np.nan]), at)).all()


def test_a_state_is_held_and_not_interpolated():
    """Up to the age that it may have."""
    x = s([0, 10], [2, 4])
    found = held_at(x, np.array([-1, 0, 3, 8, 10], dtype=np.int64) * US, 5 * US)
    assert found[[1, 2, 4]].tolist() == [2, 2, 4]
    assert np.isnan(found[[0, 3]]).all()
    assert np.isnan(held_at(s([], []), np.array([1]), 1)).all()


@given(st.lists(st.integers(1, 3_000_000), min_size=1, max_size=40))
def test_dwell_adds_up_to_the_time_between_first_and_last(steps):
    """As long as no step is longer than the longest that counts."""
    t = np.cumsum([0, *steps]).astype(np.int64)
    assert dwell_us(t, 3_000_000).sum() == pytest.approx(t[-1])
    assert dwell_us(t, 1000).sum() <= 1000 * len(steps) + 1e-6
    assert dwell_us(t[:1], 1000).tolist() == [0]


def test_an_even_grid_keeps_silences():
    """And straight lines stay straight."""
    t, v, step = even_grid(s([0, 0.1, 0.21, 0.3, 5, 5.1], [0, 1, 2.1, 3, 50, 51]))
    assert step == pytest.approx(0.1)
    assert np.isnan(v[(t > 0.35 * US) & (t < 4.9 * US)]).all()
    assert v[:4] == pytest.approx([0, 1, 2, 3])
    assert len(even_grid(s([1], [1]))[1]) == 1
    assert period_us(s([1], [1])) == float("inf")
    assert longest_gap_us(s([1], [1])) == 0


def naive_hampel(x: Series, resolution: float) -> list[bool]:
    """The rule of 40 CFR 1037.528(g)(1) in its own words, one sample after the other."""
    found = []
    for t, v in zip(x.t_us, x.value, strict=True):
        near = x.value[np.abs(x.t_us - t) <= 3 * US]
        near = near[np.isfinite(near)]
        if not np.isfinite(v) or len(near) < 5:
            found.append(False)
            continue
        middle = np.median(near)
        mad = max(np.median(np.abs(near - middle)), resolution / 2)
        found.append(bool(abs(v - middle) > 4.4478 * mad * (1 + 1e-9) + 1e-12))
    return found


@given(st.lists(st.tuples(st.integers(50_000, 900_000), st.floats(-50, 50) | st.just(float("nan"))), max_size=60),
       st.sampled_from([0.0, 1.0]))  # fmt: skip
def test_spikes_are_those_of_the_regulation(steps, resolution):
    """40 CFR 1037.528(g)(1): median of 3 s before and after, 4.4478 median absolute deviations."""
    t = np.cumsum([a for a, _ in steps]).astype(np.int64)
    x = Series(t, np.array([v for _, v in steps], dtype=np.float64))
    assert hampel(x, resolution=resolution).tolist() == naive_hampel(x, resolution)


def test_a_spike_in_a_long_signal_is_found():
    """Also where the work is cut into pieces, and only it."""
    rng = np.random.default_rng(1)
    v = 80 + rng.normal(0, 0.5, 30_000)
    v[[7, 21_000]] += 60
    found = hampel(s(np.arange(30_000) * 0.1, v))
    assert {7, 21_000} <= set(np.flatnonzero(found).tolist())
    assert found.mean() < 0.02
    assert not hampel(s([0, 1, 2], [0, 900, 0])).any()
