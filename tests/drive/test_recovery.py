"""What a crash or a stop left open is closed, judged again and made whole at the next start."""

import threading

import pytest

from coach.clock import HandClock
from coach.core.afterwards import judge_recording
from coach.drive.recovery import recover
from coach.drive.tasks import InPlace
from coach.drive.verdict import judge_stored
from coach.errors import BadInput, StoreError
from coach.sources.replay import Replay
from coach.store import Store
from tests.drive.running import run


def test_a_drive_left_open_is_recovered_and_judged_again(tmp_path, setup, new, plan, trace):
    """After a crash: all that was committed, the verdict of exactly that, and the window's file."""
    folder = tmp_path / "data"
    recording = trace(6.0)
    with Store(folder, HandClock()) as store:
        drive, log = store.create_drive(new)
        for t_us, values in recording.instants():
            log.samples_at(t_us, values)
        done = threading.Event()
        log.flush(lambda _: done.set())
        assert done.wait(60)
    with Store(folder, HandClock()) as store:
        assert recover(store, InPlace(folder)) == [drive]
        assert recover(store, InPlace(folder)) == []
        row = store.drive(drive)
        assert (row.recovered, row.phase) == (True, "ended")
        verdict = judge_recording(plan, recording)
        assert store.attempts(drive) == list(verdict.attempts["part-load"])
        assert [e.event for e in store.events(drive)] == list(verdict.events)
        (window,) = store.windows(drive)
        assert window.whole
        assert (folder / window.path).stat().st_size == window.size


def test_window_files_that_a_stop_left_out_are_written_at_the_next_start(store, setup, trace, monkeypatch):
    """The drive is over and judged; only its file is missing."""

    class Gone(InPlace):
        def submit(self, task, ask):
            raise StoreError("the program is stopping")

    drive, ring = run(setup(Replay(trace(6.0), None)), store, worker=Gone(store.folder))
    assert [m.data["error"] for m in ring.since(0) if m.kind == "not_saved"] == ["the program is stopping"] * 2
    assert store.windows(drive.id) == []
    assert recover(store, InPlace(store.folder)) == []
    (window,) = store.windows(drive.id)
    assert window.whole
    assert store.unsaved() == []


def test_a_recovery_whose_helper_fails_is_tried_again(tmp_path, new, trace):
    """The drive is closed and readable all the same."""

    class Failing(InPlace):
        def submit(self, task, ask):
            result = super().submit("dance", ask)
            assert isinstance(result.exception(), BadInput)
            return result

    folder = tmp_path / "data"
    with Store(folder, HandClock()) as store:
        drive, log = store.create_drive(new)
        for t_us, values in trace(6.0).instants():
            log.samples_at(t_us, values)
        log.flush()
    with Store(folder, HandClock()) as store:
        assert recover(store, Failing(folder)) == [drive]
        assert store.drive(drive).recovered
        assert store.attempts(drive) == []
        # Judged as soon as somebody asks.
        assert len(judge_stored(store, drive)[2].attempts["part-load"]) == 1


@pytest.mark.parametrize("full", ["put_attempts", "put_window"])
def test_a_disk_that_is_full_at_the_next_start_is_no_fault(tmp_path, setup, store, trace, caplog, monkeypatch, full):
    """What cannot be written down now is judged or written when there is room: nothing is thrown into a log."""
    _, log = store.create_drive(setup(Replay(trace(6.0), None)).new)
    for t_us, values in trace(6.0).instants():
        log.samples_at(t_us, values)
    log.flush()
    settled = threading.Event()
    store.settle(settled.set)
    assert settled.wait(60)

    def refuse(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(store, full, refuse)
    (drive,) = recover(store, InPlace(store.folder))
    assert (store.drive(drive).recovered, store.windows(drive)) == (True, [])
    assert len(judge_stored(store, drive)[2].attempts["part-load"]) == 1
    assert caplog.records == []
