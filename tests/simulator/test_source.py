"""The simulator as a live source."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from coach.clock import HandClock
from coach.errors import BadInput
from coach.recording import from_pairs
from coach.sources.base import Advance, Back, Ended, Instant, Lost
from coach.sources.simulator import Accelerate, Batch, Car, Hold, Idle, SimulatorSource, scenario, simulate

SCRIPT = (Idle(2), Accelerate(30, gear=2), Hold(30, 6, gear=2, lost=(2, 3)))
SLOW = (Batch(("engine_speed", "road_speed"), 2.0),)


def ran(source, *, stop_after=None):
    """All events of one run on a hand clock, with the clock's time at each."""
    clock, stop, said = HandClock(), threading.Event(), []

    def emit(event):
        said.append((clock.now_us, event))
        if stop_after is not None and len(said) == stop_after:
            stop.set()

    source.run(emit, stop, clock)
    return said


def test_live_is_the_recording():
    """Live, the instants are those of the recording with the same seed."""
    live = [e for _, e in ran(SimulatorSource(SCRIPT, Car(), 5, speed=None)) if isinstance(e, Instant)]
    recording = simulate(SCRIPT, Car(), 5)
    assert [(e.t_us, dict(e.values)) for e in live] == list(recording.instants())
    again = from_pairs((e.t_us, n, v) for e in live for n, v in e.values.items())
    np.testing.assert_array_equal(again.series["pedal"].value, recording.series["pedal"].value)
    assert live[0].t_us == 0


def test_another_seed_is_another_drive():
    """The seed decides the noise; the same one gives the same drive."""
    one, same, other = (simulate(SCRIPT, Car(), seed).series["engine_speed"].value for seed in (5, 5, 6))
    np.testing.assert_array_equal(one, same)
    assert len(one) != len(other) or np.any(one != other)


@pytest.mark.parametrize("speed", [1.0, 8.0])
def test_pace(speed):
    """Each instant comes when it is due at that speed, and never early."""
    for at_us, event in ran(SimulatorSource(SCRIPT, Car(), 5, speed=speed)):
        if isinstance(event, Instant):
            assert 0 <= at_us - event.t_us / speed <= 1_000


def test_time_is_told_between_slow_samples():
    """Between two samples the time that has passed is told, in order and always before the next one."""
    said = [e for _, e in ran(SimulatorSource(SCRIPT, Car(), 5, batches=SLOW))]
    stamps = [e.t_us for e in said if isinstance(e, Instant | Advance)]
    assert stamps == sorted(stamps)
    assert sum(isinstance(e, Advance) for e in said) > 20


def test_lost_link_is_told():
    """After a second without answers the link is lost; it is back with the next answer; no sample comes in between."""
    said = [e for _, e in ran(SimulatorSource(SCRIPT, Car(), 5, speed=None))]
    lost, back = (next(i for i, e in enumerate(said) if isinstance(e, kind)) for kind in (Lost, Back))
    assert back == lost + 1
    gap_us = said[back + 1].t_us - said[lost - 1].t_us
    assert 3_000_000 <= gap_us < 3_300_000


def test_ends():
    """It ends as finished, or as stopped when told to, at once."""
    source = scenario("early-lift").source(speed=None)
    assert ran(source)[-1][1] == Ended("finished")
    said = ran(scenario("early-lift").source(), stop_after=5)
    assert len(said) == 6
    assert said[-1][1] == Ended("stopped")


def test_says_what_it_is():
    """It offers the signals that it polls and has no record of what people said."""
    source = SimulatorSource(SCRIPT, Car(), 5, batches=SLOW)
    assert source.signals == {"engine_speed", "road_speed"}
    assert (source.kind, source.people_recorded, source.meta["seed"]) == ("simulator", False, 5)


@pytest.mark.parametrize("speed", [0, -1, float("inf"), float("nan")])
def test_speed_that_cannot_be(speed):
    """A speed that is not above zero is one sentence."""
    with pytest.raises(BadInput, match="is a number above 0"):
        SimulatorSource(SCRIPT, Car(), 1, speed=speed)
