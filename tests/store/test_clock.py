"""The system's clock set back and forward in mid-drive: nothing that is judged or stored moves, and it is noted."""

import pytest

from coach.clock import HandClock
from coach.core.afterwards import judge_recording
from coach.drive.loop import Loop, Parts
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.drive.windows import Windows
from coach.soak.made import STEP_US, Made, instants, recording, setup
from coach.sources.base import Ended, Instant
from coach.store import Store
from coach.store.planjson import load_plan

HOUR_US = 3_600_000_000


def record(folder, set_by_us):
    """A drive of 12 s whose wall clock is set at 5 s, at real pace."""
    import threading

    clock = HandClock()
    with Store(folder, clock) as store:
        made = setup(Made(0))
        name, log = store.create_drive(made.new)
        windows = Windows(name, log, InPlace(folder), Ring(), clock, made.new.around)
        loop = Loop(Parts(name, made.plan, log, clock, Ring(), made.face, windows, threading.Event(), "simulator"))
        for t_us, values in instants(12.0):
            if t_us == 5_000_000:
                clock.wall_base_us += set_by_us
            loop.take(Instant(t_us, values))
            clock.now_us += STEP_US
            loop.tick()
        loop.take(Ended("finished"))
        done = threading.Event()
        store.settle(done.set)
        assert done.wait(60)
        assert windows.wait(60)
        row, there = store.drive(name), store.recording(name)
        attempts = store.attempts(name)
        windows = [(w.capture, w.number, w.sha256) for w in store.windows(name)]
    return row, there, attempts, windows


@pytest.mark.parametrize("set_by_us", [-HOUR_US, HOUR_US, 3_000_000])
def test_a_clock_that_is_set_changes_no_time_and_no_verdict(tmp_path, set_by_us):
    """Same samples, attempts and files of windows as with a clock left alone; the anchor stays that of the start."""
    row, there, attempts, windows = record(tmp_path / "set", set_by_us)
    other_row, other, other_attempts, other_windows = record(tmp_path / "left", 0)
    assert row.anchor_wall_us == other_row.anchor_wall_us == HandClock().wall_base_us
    whole = recording(12.0)
    for name, series in whole.series.items():
        assert there.series[name].t_us.tolist() == other.series[name].t_us.tolist() == series.t_us.tolist()
    assert attempts == other_attempts != []
    assert windows == other_windows != []
    verdict = judge_recording(load_plan(row.plan), there)
    assert [a for some in verdict.attempts.values() for a in some] == attempts
    (note,) = [n for n in there.notes if n.code == "clock_jumped"]
    way = "forward" if set_by_us > 0 else "back"
    assert f"set {way} by {abs(set_by_us) // 1_000_000} s, 5.0 s into the drive" in note.text
    assert not [n for n in other.notes if n.code == "clock_jumped"]


def test_a_clock_that_is_kept_in_step_is_not_noted(tmp_path):
    """A time server moves it by a little."""
    assert not [n for n in record(tmp_path / "data", 500_000)[1].notes if n.code == "clock_jumped"]
