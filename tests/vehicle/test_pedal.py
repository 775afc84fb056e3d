"""Pedal travel from the raw pedal."""

from __future__ import annotations

import math

import pytest

from coach.core.derive import AT_CEILING, OK, OUT_OF_RANGE, UNREADABLE, Derived, Held
from coach.vehicle import PedalTravel


@pytest.mark.parametrize(("raw", "travel"), [(14.9, 0), (85.1, 100), (50.0, 50), (10.0, 0), (90.0, 100)], ids=str)
def test_travel(raw, travel):
    """Released is 0 %, floored is 100 %, and nothing lies outside."""
    said = PedalTravel(14.9, 85.1).stepper().step(0, [Held(0, raw, OK)], [True])
    assert said.value == pytest.approx(travel)
    assert said.flag == OK


def test_flags_travel_with_values():
    """A raw pedal without a value has no travel; one at the end of its encoding says so."""
    step = PedalTravel(10, 90).step
    for flag in (UNREADABLE, OUT_OF_RANGE):
        said = step(0, [Held(0, 50.0, flag)], [True])
        assert said.flag == UNREADABLE
        assert math.isnan(said.value)
    assert step(0, [Held(0, 90.0, AT_CEILING)], [True]) == Derived(100.0, AT_CEILING)


def test_ends_upside_down():
    """A floored pedal that reads less than the released one is refused."""
    with pytest.raises(ValueError, match="more than the released"):
        PedalTravel(50, 50)
