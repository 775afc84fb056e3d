"""Swings and delays: against scipy.signal, and against signals whose swing and delay are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import periodogram as outside

from coach.recording import Series
from coach.review.waves import delay_between, periodogram, strongest_swing
from tests.review.made import series

US = 1_000_000


@pytest.mark.parametrize("n", [64, 151])
def test_the_spectrum_is_that_of_scipy(n):
    """Reference: scipy.signal.periodogram, Hann window, linear detrending, density."""
    v = np.random.default_rng(n).normal(size=n).cumsum()
    hz, power = periodogram(v, 8.0)
    told_hz, told = outside(v, 8.0, window="hann", detrend="linear")
    assert hz == pytest.approx(told_hz)
    assert power == pytest.approx(told, rel=1e-9, abs=1e-12 * told.max())


@pytest.mark.parametrize(("hz", "height"), [(0.13, 60.0), (0.4, 90.0), (1.21, 30.0)])
def test_hunting_of_a_known_frequency_and_height(hz, height):
    """A sine over a slow drift, at 8 Hz in steps of 0.25 rpm with noise: frequency to 1 %, height to 3 %."""
    rng = np.random.default_rng(3)
    x = series(8, 60, lambda t: 800 + 0.3 * t + height / 2 * np.sin(2 * np.pi * hz * t) + rng.normal(0, 2, len(t)),
               step=0.25)  # fmt: skip
    found = strongest_swing(x)
    assert found.hz == pytest.approx(hz, rel=0.01)
    assert found.peak_to_peak == pytest.approx(height, rel=0.03)
    assert found.share > 0.9


def test_noise_is_no_hunting():
    """Its strongest swing explains little of it."""
    rng = np.random.default_rng(4)
    assert strongest_swing(series(8, 60, lambda t: 800 + rng.normal(0, 5, len(t)))).share < 0.1


def test_hunting_is_refused_where_the_samples_cannot_carry_it():
    """Below 4 Hz, too short for two periods of 0.1 Hz, or with a hole."""
    wave = lambda t: 800 + 40 * np.sin(2 * np.pi * 0.4 * t)  # noqa: E731 - shorter than a def
    assert strongest_swing(series(3, 60, wave)) is None
    assert strongest_swing(series(8, 15, wave)) is None
    x = series(8, 60, wave)
    keep = (x.t_us < 20 * US) | (x.t_us > 30 * US)
    assert strongest_swing(Series(x.t_us[keep], x.value[keep])) is None
    assert strongest_swing(series(8, 0.5, wave)) is None


@pytest.mark.parametrize("late", [-0.3, 0.0, 0.06, 0.42, 1.1])
def test_a_known_delay_is_found(late):
    """Two signals at different rates and offsets, one of them in whole steps: to 30 ms."""
    way = lambda t: 60 + 20 * np.sin(0.5 * t) + 8 * np.sin(1.7 * t + 1)  # noqa: E731 - shorter than a def
    a = series(10, 90, way)
    b = series(7, 90, lambda t: 0.5 * way(t - late), start=0.031, step=0.25)
    found = delay_between(a, b)
    assert found.seconds == pytest.approx(late, abs=0.03)
    assert found.correlation > 0.9


def test_a_delay_of_opposite_signals_has_a_negative_correlation():
    """Their changes go against each other."""
    way = lambda t: np.sin(0.9 * t) + np.sin(2.1 * t)  # noqa: E731 - shorter than a def
    found = delay_between(series(10, 60, way), series(10, 60, lambda t: -way(t - 0.2)))
    assert found.correlation < -0.9
    assert found.seconds == pytest.approx(0.2, abs=0.03)


def test_where_nothing_says_how_late_it_is_nothing_is_said():
    """A level signal, noise, too little in common."""
    rng = np.random.default_rng(9)
    way = lambda t: np.sin(0.9 * t)  # noqa: E731 - shorter than a def
    moving = series(10, 60, way)
    assert delay_between(moving, series(10, 60, lambda t: 0 * t)) is None
    assert delay_between(moving, series(10, 60, lambda t: rng.normal(size=len(t)))) is None
    assert delay_between(moving, series(10, 8, way)) is None
    assert delay_between(moving, series(10, 0.2, way)) is None
