"""The child process: the same answers as in place, and what becomes of work that it does not get to."""

import contextlib
import io
import json
from concurrent.futures import Future
from pathlib import Path

import pytest

from coach.clock import Clock
from coach.drive.tasks import InPlace, run_task
from coach.drive.worker import ChildWorker, serve
from coach.errors import BadInput, NotFound, StoreError
from coach.sources.replay import Replay
from coach.store.reading import Reader
from tests.drive.running import run

US = 1_000_000


def test_a_child_process_gives_the_same_as_in_place(store, setup, trace):
    """Verdict and window file from the child equal those made here."""
    drive, _ = run(setup(Replay(trace(6.0), None)), store)
    worker = ChildWorker(store.folder)
    ask = {"drive": drive.id, "capture": "part-load", "number": 0, "start_us": 0, "end_us": 2 * US}
    try:
        there = worker.submit("judge", {"drive": drive.id}).result(30)
        assert there == json.loads(json.dumps(run_task(store.folder, "judge", {"drive": drive.id})))
        first = worker.submit("save_window", ask).result(30)
        assert first == run_task(store.folder, "save_window", ask)
        with pytest.raises(NotFound, match="no such drive"):
            worker.submit("judge", {"drive": "x"}).result(30)
        with pytest.raises(StoreError, match="KeyError"):
            worker.submit("judge", {}).result(30)
        with pytest.raises(BadInput, match="no task"):
            worker.submit("dance", {}).result(30)
        child = worker._child
        child.kill()
        child.wait()
        for _ in range(2):
            # Whether its death was noticed before or after the request: nothing hangs.
            with contextlib.suppress(StoreError):
                assert worker.submit("judge", {"drive": drive.id}).result(30) == there
        assert worker.submit("judge", {"drive": drive.id}).result(30) == there
    finally:
        worker.close()
    with pytest.raises(StoreError, match="stopping"):
        worker.submit("judge", {"drive": drive.id})


def test_windows_are_saved_by_a_child_while_the_drive_goes_on(store, setup, trace):
    """The whole path: replay, judge, store, child process, durable file, `saved`."""
    worker = ChildWorker(store.folder)
    try:
        drive, ring = run(setup(Replay(trace(8.0, speed=lambda t: 80 if t < 5 else 100), None)), store, Clock(), worker)
    finally:
        worker.close()
    assert [m.data["whole"] for m in ring.since(0) if m.kind == "saved"] == [False, True]
    assert Reader(store.path).windows(drive.id)[0].whole


def test_a_stop_in_mid_write_is_said(store, setup, trace):
    """Work that the helper did not get to is no file."""

    class Cancelled(InPlace):
        def submit(self, task, ask):
            result = Future()
            result.cancel()
            result.set_running_or_notify_cancel()
            return result

    _, ring = run(setup(Replay(trace(6.0), None)), store, worker=Cancelled(store.folder))
    assert {m.data["error"] for m in ring.since(0) if m.kind == "not_saved"} == {
        "the program was stopped before the file was written"
    }


def test_a_child_whose_parent_is_gone_ends_without_a_word():
    """Nobody is left to answer."""

    class Deaf(io.BytesIO):
        def write(self, _):
            raise BrokenPipeError

    requests = io.BytesIO(b'{"number": 1, "task": "dance", "ask": {}}\n' * 2)
    serve(Path("nowhere"), requests, Deaf())
    assert requests.read() == b'{"number": 1, "task": "dance", "ask": {}}\n'
