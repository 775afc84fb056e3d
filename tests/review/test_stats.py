"""Statistics: against pandas and scipy, against theory where samples cling together, and what settles a difference."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as outside

from coach.review.stats import Moments, difference, moments, repeats_needed, t95, tau_of

FINITE = st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=60)


@given(FINITE)
def test_mean_and_spread_are_those_of_pandas(values):
    """Reference: pandas, whose standard deviation is also that of n - 1."""
    found, told = moments(np.array(values)), pd.Series(values)
    assert found.mean == pytest.approx(told.mean(), rel=1e-9, abs=1e-9)
    assert found.spread == pytest.approx(told.std(), rel=1e-9, abs=1e-6)
    assert (found.low, found.high, found.n) == (told.min(), told.max(), len(values))


def test_values_that_cannot_be_read_are_left_out():
    """As pandas does; nothing at all is None, one value has no spread and no error."""
    assert moments(np.array([1.0, math.nan, 3.0])).mean == 2
    assert moments(np.array([math.nan])) is None
    assert moments(np.array([4.0])) == Moments(1, 4.0, None, None, 1.0, 4.0, 4.0)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8, 0.95])
def test_samples_that_cling_together_count_as_fewer(phi):
    """A first-order autoregressive series has the integrated time (1 + phi) / (1 - phi): theory, any textbook."""
    rng = np.random.default_rng(5)
    found = []
    for _ in range(12):
        noise, x = rng.normal(size=6000), np.zeros(6000)
        for i in range(1, 6000):
            x[i] = phi * x[i - 1] + noise[i]
        found.append(tau_of(x))
    assert np.mean(found) == pytest.approx((1 + phi) / (1 - phi), rel=0.2)


def test_the_standard_error_holds_for_means_of_clinging_samples():
    """Means of many such windows spread as the error of one says; spread / sqrt(n) would be three times too small."""
    rng = np.random.default_rng(7)
    means, errors, plain = [], [], []
    for _ in range(200):
        noise, x = rng.normal(size=800), np.zeros(800)
        for i in range(1, 800):
            x[i] = 0.8 * x[i - 1] + noise[i]
        m = moments(x)
        means.append(m.mean)
        errors.append(m.error)
        plain.append(m.spread / math.sqrt(m.n))
    assert np.mean(errors) == pytest.approx(np.std(means), rel=0.15)
    assert np.mean(plain) < 0.5 * np.std(means)


def test_a_level_signal_has_no_error_and_no_clinging():
    """Nothing moves, so nothing is uncertain; an alternating signal is not better than independent."""
    assert tau_of(np.full(50, 3.3)) == 1
    assert moments(np.full(50, 3.3)).error == 0
    assert tau_of(np.tile([1.0, -1.0], 40)) == 1
    assert tau_of(np.array([1.0, 2.0])) == 1


def test_students_t_is_that_of_scipy():
    """Reference: scipy.stats.t at 97.5 %."""
    for freedom in (1, 2, 3, 7, 30, 31, 45, 120, 1000):
        assert t95(freedom) == pytest.approx(outside.t.ppf(0.975, freedom), abs=6e-4)
    assert t95(4.9) == t95(4)


TENTHS = st.lists(st.integers(-500, 500).map(lambda n: n / 10), min_size=2, max_size=8)


@given(TENTHS, TENTHS)
def test_a_difference_is_real_only_where_welch_says_so(a, b):
    """Reference: scipy's Welch test at 5 %. Degrees of freedom are rounded down: never bolder than scipy."""
    a, b = np.array(a), np.array(b)
    if a.var() < 1e-3 or b.var() < 1e-3:
        return
    found = difference(a, b)
    told = outside.ttest_ind(b, a, equal_var=False)
    if found.real:
        assert told.pvalue <= 0.05 + 1e-3
    if told.pvalue < 0.02 and min(len(a), len(b)) > 4:
        assert found.real
    assert found.value == pytest.approx(b.mean() - a.mean())
    error = math.sqrt(a.var(ddof=1) / len(a) + b.var(ddof=1) / len(b))
    wide = outside.t.ppf(0.975, max(1, math.floor(told.df + 1e-9))) * error
    assert found.uncertainty == pytest.approx(wide, rel=1e-3)


def test_one_repeat_never_makes_a_difference_real():
    """However far apart, and however small the sampling error: repeats were not recorded."""
    found = difference(np.array([1.0]), np.array([100.0, 101.0]), 0.01, 0.01)
    assert (found.real, found.needed) == (False, None)
    assert found.uncertainty == pytest.approx(1.96 * math.hypot(0.01, 0.01))
    assert difference(np.array([1.0]), np.array([100.0])).uncertainty is None


def test_repeats_that_would_settle_it_do():
    """With so many repeats of the same spread the interval leaves out zero, and with one fewer it does not."""
    needed = repeats_needed(1.0, 4.0, 4.0)
    assert needed is not None
    assert t95(2 * needed - 2) * math.sqrt(8 / needed) < 1.0
    assert t95(2 * (needed - 1) - 2) * math.sqrt(8 / (needed - 1)) >= 1.0
    assert repeats_needed(0.0, 1.0, 1.0) is None
    assert difference(np.array([10.0, 12.0]), np.array([11.0, 13.0])).needed == repeats_needed(1.0, 2.0, 2.0)


def test_a_lucky_spread_is_not_taken_at_its_word():
    """Two repeats that agree by chance closer than sampling allows: the sampling error counts."""
    found = difference(np.array([1.0, 1.0]), np.array([1.5, 1.5]), 1.0, 1.0)
    assert not found.real
    same = difference(np.array([2.0, 2.0]), np.array([2.0, 2.0]))
    assert (same.uncertainty, same.real) == (0.0, False)
