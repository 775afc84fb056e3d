"""How long a warm-up will take."""

from __future__ import annotations

import pytest

from coach.advice.trend import WarmUp

S = 1_000_000


def warm(rate_per_s, seconds, start=20.0, noise=0.0):
    trend = WarmUp()
    for i in range(seconds):
        trend.add(i * S, start + rate_per_s * i + (noise if i % 2 else -noise))
    return trend


@pytest.mark.parametrize(("rate", "minutes"), [(0.1, 10), (0.05, 20), (1.0, 1)])
def test_minutes_from_a_steady_trend(rate, minutes):
    """From 20 degC to 80 degC, rounded up."""
    trend = warm(rate, 40)
    assert trend.minutes(80.0) == pytest.approx(minutes, abs=1)


@pytest.mark.parametrize(
    "trend", [warm(0.1, 20), warm(0.0, 60), warm(-0.1, 60), warm(0.02, 60, noise=2.0), warm(0.02, 60)]
)
def test_nothing_said_while_nobody_can_tell(trend):
    """Too short, not rising, all scatter, or longer than half an hour."""
    assert trend.minutes(80.0) is None


def test_estimate_stays_for_15_s():
    """It is looked at again, but not with every sample."""
    trend = warm(0.1, 40)
    first = trend.minutes(80.0)
    for i in range(40, 50):
        trend.add(i * S, 60.0)
    assert trend.minutes(80.0) == first
    for i in range(50, 60):
        trend.add(i * S, 70.0)
    assert trend.minutes(80.0) != first


def test_remembers_where_it_began():
    trend = warm(0.1, 400)
    assert trend.first == 20.0
    trend.add(10 * S, 99.0)
    assert trend._past[-1][0] == 399 * S
    assert WarmUp().minutes(80.0) is None
