"""Learning the pedal's ends: four still readings, parked, engine off; anything else is refused in one sentence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.vehicle.pedal import PedalTravel
from coach.vehicle.pedal_ends import LEAST_SPAN_PCT, STILL_PCT, PedalEnds, ends_of, steady_reading

STILL = {"pedal": [14.9, 15.3, 14.9, 15.1], "engine_speed": [0.0, 0.0], "road_speed": [0.0]}


def test_a_still_pedal_is_its_middle():
    """One sample that jumps within what counts as still does not move it far."""
    assert steady_reading(STILL) == 15.0
    assert steady_reading(STILL | {"road_speed": []}) == 15.0, "a parked car may tell no speed"
    assert steady_reading(STILL | {"pedal": [15.0, float("nan"), 15.0, 15.0, 15.0]}) == 15.0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"engine_speed": [0.0, 640.0]}, "the engine runs"),
        ({"engine_speed": []}, "ignition on"),
        ({"engine_speed": [float("nan")]}, "ignition on"),
        ({"road_speed": [0.0, 2.0]}, "the car moves"),
        ({"pedal": [15.0, 15.0, 15.0]}, "not seen"),
        ({"pedal": [15.0, 15.0, 17.1, 15.0]}, "the pedal moved"),
    ],
)
def test_anything_else_is_refused(change, says):
    with pytest.raises(BadInput, match=says):
        steady_reading(STILL | change)


def test_ends_are_the_means_of_two_readings_each():
    assert ends_of([14.9, 85.1, 15.3, 84.7]) == PedalEnds(15.1, 84.9)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ([15.0, 85.0, 15.0], "twice each"),
        ([15.0, 85.0, 17.5, 85.0], "released read 15.0 % and then 17.5 %"),
        ([15.0, 85.0, 15.0, 60.0], "floored read 85.0 % and then 60.0 %"),
        ([15.0, 30.0, 15.0, 30.0], "hardly moved"),
        ([85.0, 15.0, 85.0, 15.0], "hardly moved"),
    ],
)
def test_readings_that_do_not_agree_are_made_again(readings, says):
    with pytest.raises(BadInput, match=says):
        ends_of(readings)


@given(
    st.floats(0, 30), st.floats(LEAST_SPAN_PCT + 2 * STILL_PCT, 65), st.floats(-1, 1), st.floats(-1, 1), st.floats(0, 1)
)
def test_what_is_learned_makes_travel_from_nothing_to_all(low, span, shake, tremble, between):
    """0 % at the released end, 100 % at the floored one, and in proportion between."""
    ends = ends_of([low, low + span, min(100, max(0, low + shake)), min(100, low + span + tremble)])
    travel = PedalTravel(ends.released, ends.floored)
    raw = ends.released + between * (ends.floored - ends.released)
    made = (raw - travel.released) / (travel.floored - travel.released) * 100
    assert made == pytest.approx(between * 100, abs=1e-6)
    assert abs(ends.released - low) <= 1
