from __future__ import annotations

import threading
import time

import numpy as np
import pytest

from coach.clock import US, Clock, HandClock
from coach.errors import BadInput
from coach.recording import Mark, Recording, Series, from_pairs
from coach.sources.base import Advance, Ended, Instant, Marked, Source
from coach.sources.replay import STRETCH, Replay

DRIVE = from_pairs(
    [
        (0, "road_speed", 10.0),
        (0, "engine_speed", 900.0),
        (150_000, "road_speed", 11.0),
        (2_000_000, "road_speed", 12.0),
    ],
    meta={"file": "drive.csv"},
)


def played(recording, speed, clock=None, stop=None):
    """Everything that a replay emits, each with the clock's time."""
    clock = clock if clock is not None else HandClock()
    events = []
    start = clock.steady_us()
    replay = Replay(recording, speed)
    replay.run(lambda event: events.append((clock.steady_us() - start, event)), stop or threading.Event(), clock)
    return events


def test_it_is_a_source():
    """A replay offers what every source offers."""
    source: Source = Replay(DRIVE, 1.0)
    assert (source.name, source.kind, source.people_recorded) == ("drive.csv", "replay", False)
    assert source.signals == {"road_speed", "engine_speed"}
    assert source.meta["file"] == "drive.csv"


@pytest.mark.parametrize("speed", [None, 1.0, 8.0, 0.3])
def test_no_sample_is_dropped(speed):
    """At any speed all instants come whole and in order, and the end is told last."""
    events = [event for _, event in played(DRIVE, speed)]
    instants = [(e.t_us, dict(e.values)) for e in events if isinstance(e, Instant)]
    assert instants == list(DRIVE.instants())
    assert events[-1] == Ended("finished")
    assert sum(isinstance(e, Ended) for e in events) == 1


@pytest.mark.parametrize("speed", [1.0, 8.0, 3.0, 0.7])
def test_pace(speed):
    """Each instant is emitted when it is due from the start, no earlier and less than a microsecond later."""
    for now_us, event in played(DRIVE, speed):
        if isinstance(event, Instant):
            assert 0 <= now_us - event.t_us / speed < 1


def test_flat_out_does_not_wait():
    """Without a speed the clock does not move."""
    assert all(now_us == 0 for now_us, _ in played(DRIVE, None))


def test_pacing_error_does_not_add_up():
    """A clock that oversleeps every wait by 3 ms makes each instant late by at most that, also the thousandth."""

    class Sleepy(HandClock):
        def wait(self, event, seconds):
            return super().wait(event, seconds + 0.003)

    t_us = np.arange(1000, dtype=np.int64) * 20_000
    drive = Recording({"road_speed": Series(t_us, np.zeros(1000))})
    late = [now - e.t_us for now, e in played(drive, 1.0, Sleepy()) if isinstance(e, Instant)]
    assert max(late) <= 3_000
    assert late[-1] <= 3_000


def test_a_slow_listener_is_caught_up_with():
    """A listener that takes long makes the replay late; what was due meanwhile comes at once."""
    clock = HandClock()
    stamps = []

    def emit(event):
        if isinstance(event, Instant):
            stamps.append((clock.steady_us(), event.t_us))
            if event.t_us == 0:
                clock.now_us += 1_000_000

    Replay(DRIVE, 1.0).run(emit, threading.Event(), clock)
    assert stamps == [(0, 0), (1_000_000, 150_000), (2_000_000, 2_000_000)]


def test_time_is_told_while_nothing_is_recorded():
    """Between samples far apart the time that has passed is told ten times a second, never past the next one."""
    events = [event for _, event in played(DRIVE, 1.0)]
    between = events[events.index(Instant(150_000, {"road_speed": 11.0})) + 1 : -2]
    assert len(between) == 18
    assert all(isinstance(e, Advance) for e in between)
    told = [e.t_us for e in between]
    assert told == sorted(told)
    assert told[-1] < 2_000_000


def test_what_people_said_comes_before_the_samples_of_its_stamp():
    """Marks are emitted at their time; one after the last sample comes as well."""
    marks = (Mark(2_500_000, "pause"), Mark(150_000, "arm", "roll-on"))
    drive = Recording(DRIVE.series, marks=marks)
    events = [e for e in (event for _, event in played(drive, 8.0)) if not isinstance(e, Advance)]
    kinds = [type(e).__name__ for e in events]
    assert kinds == ["Instant", "Marked", "Instant", "Instant", "Marked", "Ended"]
    assert events[1] == Marked(marks[1])
    assert Replay(drive).people_recorded


def test_long_drives_come_whole():
    """A drive is taken a stretch at a time; no instant is lost or cut in two where stretches meet."""
    count = 3 * STRETCH + 5
    fast = Series(np.arange(count, dtype=np.int64) * 10, np.arange(count, dtype=float))
    slow = Series(np.arange(count // 7, dtype=np.int64) * 70 + 10, np.arange(count // 7, dtype=float))
    late = Series(np.array([fast.t_us[-1] + 5]), np.array([1.0]))
    drive = Recording({"a": slow, "b": fast, "c": late, "d": Series(np.zeros(0, np.int64), np.zeros(0))})
    instants = [(e.t_us, dict(e.values)) for _, e in played(drive, None) if isinstance(e, Instant)]
    assert instants == list(drive.instants())


def test_a_drive_that_went_on_in_silence():
    """What a link promised beyond its last sample is promised again, in its time."""
    drive = Recording(DRIVE.series, end_us=3 * US)
    assert played(drive, 1.0)[-2:] == [(3 * US, Advance(3 * US)), (3 * US, Ended("finished"))]


def test_an_empty_drive_ends_at_once():
    """Nothing recorded: only the end is told."""
    assert [event for _, event in played(Recording({}), 1.0)] == [Ended("finished")]


@pytest.mark.parametrize("speed", [None, 1.0])
def test_stop_between_samples(speed):
    """Once told to stop it emits nothing more but that it stopped."""
    stop = threading.Event()
    events = []

    def emit(event):
        events.append(event)
        stop.set()

    Replay(DRIVE, speed).run(emit, stop, HandClock())
    assert events == [Instant(0, {"road_speed": 10.0, "engine_speed": 900.0}), Ended("stopped")]


def test_stop_in_a_wait_returns_soon():
    """On the real clock, in the middle of a gap of an hour, a stop is heeded within a tenth of a second."""
    drive = from_pairs([(0, "road_speed", 1.0), (3_600 * US, "road_speed", 1.0)])
    stop, seen = threading.Event(), threading.Event()
    thread = threading.Thread(target=Replay(drive).run, args=(lambda _: seen.set(), stop, Clock()))
    thread.start()
    assert seen.wait(60)
    began = time.monotonic()
    stop.set()
    thread.join(60)
    assert not thread.is_alive()
    # The bound of the contract is 0.1 s; a loaded machine is given more.
    assert time.monotonic() - began < 1.0


@pytest.mark.parametrize("speed", [0.0, -1.0, float("inf"), float("nan")])
def test_speeds_that_are_none(speed):
    """A speed that is not a number above zero is refused with a sentence."""
    with pytest.raises(BadInput, match="above 0"):
        Replay(DRIVE, speed)


def test_what_the_listener_raises_goes_through():
    """An error of the listener ends the replay and reaches its caller."""

    def emit(event):
        raise RuntimeError("full")

    with pytest.raises(RuntimeError, match="full"):
        Replay(DRIVE).run(emit, threading.Event(), HandClock())
