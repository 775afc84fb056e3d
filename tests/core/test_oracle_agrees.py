"""The judge against the oracle, a second judge written from the rules alone, and live against stored."""

from __future__ import annotations

from hypothesis import HealthCheck, assume, given, settings

from coach.core.afterwards import judge_recording
from tests.core.judging import online, plain
from tests.core.oracle import examine
from tests.core.strategies import cases

N = settings.default.max_examples
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


@settings(max_examples=3 * N // 2, suppress_health_check=SLOW)
@given(cases())
def test_online_agrees_with_the_oracle(case):
    """Fed one instant at a time, the judge says what the rules say, event for event."""
    plan, recording = case
    expected, open_cases = examine(plan, recording)
    assume(not open_cases)
    assert plain(online(plan, recording)) == plain(expected)


@settings(max_examples=2 * N, suppress_health_check=SLOW)
@given(cases())
def test_stored_drives_are_judged_as_live_ones(case):
    """Arrays in, the same events out: all fields, the same order."""
    plan, recording = case
    assert list(judge_recording(plan, recording).events) == online(plan, recording)
