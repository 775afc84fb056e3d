"""A drive with its threads: what was replayed is what is stored and judged; ends, failures, commands from anywhere."""

import contextlib
import io
import json
import threading
from concurrent.futures import Future
from pathlib import Path

import pytest

from coach.clock import Clock, HandClock
from coach.core.afterwards import judge_recording
from coach.drive.drive import Drive
from coach.drive.inbox import Closed, Inbox
from coach.drive.loop import Loop
from coach.drive.recovery import recover
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace, run_task
from coach.drive.verdict import judge_stored
from coach.drive.worker import ChildWorker, serve
from coach.errors import BadInput, Conflict, NotFound, StoreError
from coach.recording import Mark, Recording
from coach.sources.base import Advance, Ended, Instant
from coach.sources.replay import Replay
from coach.store import Store
from coach.store.reading import Reader

US = 1_000_000


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "data", HandClock()) as store:
        yield store


def run(setup, store, clock=None, worker=None):
    """Runs a drive to its end and gives it with its ring."""
    ring = Ring(100_000)
    drive = Drive(setup, store, worker or InPlace(store.folder), clock or HandClock(), ring)
    drive.start()
    assert drive.wait(60)
    return drive, ring


class Odd:
    """A source that does what its test wants."""

    kind = "link"
    name = "odd"
    people_recorded = False
    signals = frozenset()

    def __init__(self, body):
        self.body = body
        self.meta = {}

    def run(self, emit, stop, clock):
        self.body(emit, stop)


@pytest.mark.parametrize("speed", [None, 8.0])
def test_the_live_path_over_a_recording_gives_the_verdict_of_the_recording(setup, store, plan, trace, speed):
    """Flat out or paced: what is stored equals what was replayed, and the live events equal judging it whole."""
    recording = trace(30.0, speed=lambda t: 80.0 if t < 12 else 95.0, hot=lambda t: 90.0 if t < 20 else 110.0)
    drive, ring = run(setup(Replay(recording, speed)), store)
    stored = store.recording(drive.id)
    assert {n: (s.t_us.tolist(), s.value.tolist()) for n, s in stored.series.items()} == {
        n: (s.t_us.tolist(), s.value.tolist()) for n, s in recording.series.items()
    }
    assert stored.wall_us == recording.wall_us
    verdict = judge_recording(plan, recording)
    assert [e.event for e in store.events(drive.id)] == list(verdict.events)
    assert store.attempts(drive.id) == [a for some in verdict.attempts.values() for a in some]
    assert drive.phase == "ended"
    assert drive.error is None
    assert [m.data["type"] for m in ring.since(0) if m.kind == "judge"].count("alarm") == 1
    assert judge_stored(store, drive.id)[2] == judge_recording(plan, stored)


def test_an_empty_source_ends_cleanly(setup, store):
    """No sample at all is a drive without attempts."""
    drive, _ = run(setup(Replay(Recording({}), None)), store)
    assert store.recording(drive.id).samples == 0
    assert store.attempts(drive.id) == []


def test_first_marks_are_part_of_the_drive(setup, store, trace):
    """Role and notes agreed to come before the first sample."""
    marks = (Mark(0, "role", None, "passenger"), Mark(0, "acknowledge", None, "law"))
    drive, _ = run(setup(Replay(trace(1.0), None), marks=marks), store)
    assert [(m.kind, m.text) for m in store.marks(drive.id)] == [("role", "passenger"), ("acknowledge", "law")]


def test_commands_come_from_any_thread(setup, store):
    """Stop, carry on, pause, resume, marks, finish: all go through the loop."""
    go = threading.Event()

    def body(emit, stop):
        emit(Instant(0, {"road_speed": 0.0}))
        go.set()
        stop.wait(60)
        emit(Ended("stopped"))

    drive = Drive(setup(Odd(body)), store, InPlace(store.folder), HandClock(), Ring())
    ended = []
    drive._on_end = ended.append
    drive.start()
    assert go.wait(60)
    drive.stop()
    assert drive.phase == "stopping"
    drive.carry_on()
    drive.pause()
    assert drive.phase == "paused"
    drive.resume()
    drive.seen()
    assert drive.mark("acknowledge", None, "law").text == "law"
    with pytest.raises(Conflict):
        drive.carry_on()
    with pytest.raises(Conflict):
        Drive(setup(Odd(body)), store, InPlace(store.folder), HandClock(), Ring())
    drive.finish()
    assert drive.wait(60)
    assert ended == [drive]
    for command in (drive.stop, drive.pause, drive.finish, drive.seen):
        with pytest.raises(Conflict, match="over"):
            command()


@pytest.mark.parametrize(
    ("error", "words"),
    [(BadInput("The file is cut in the middle."), "The file is cut"), (RuntimeError("oops"), "The source failed (Ru")],
)
def test_a_source_that_raises_closes_the_drive_with_a_sentence(setup, store, error, words):
    """Whatever a source does, the drive is closed, readable and says why."""

    def body(emit, stop):
        emit(Instant(0, {"road_speed": 1.0}))
        raise error

    drive, _ = run(setup(Odd(body)), store)
    assert words in drive.error
    assert words in store.drive(drive.id).error
    assert store.recording(drive.id).samples == 1


def test_a_fault_of_our_own_closes_the_drive_too(setup, store, trace):
    """A judge or adviser that raises ends the drive, and what was stored is there."""
    made = setup(Replay(trace(5.0), None))
    made.face.update = lambda *_: {"drive": {}} if not made.face.told else 1 / 0
    made.face.told = []

    def update(view, events, *_):
        made.face.told.extend(events)
        return {"drive": {}, "x": 1 // (0 if made.face.told else 1)}

    made.face.update = update
    drive, _ = run(made, store)
    assert "ZeroDivisionError" in drive.error
    row = store.drive(drive.id)
    assert (row.phase, row.samples > 0) == ("ended", True)


def test_a_question_that_fails_is_answered_as_the_drive_ends(setup, store, trace):
    """Whoever asked, and whoever asked after them, hears that the drive is over: nobody waits for ever."""
    made = setup(Replay(trace(60.0), 1.0))
    drive = Drive(made, store, InPlace(store.folder), Clock(), Ring())
    begun, asked, heard = threading.Event(), threading.Event(), []

    def fails(_face):
        begun.set()
        asked.wait(60)
        raise ZeroDivisionError

    def ask(question):
        with pytest.raises(Conflict, match="the drive is over"):
            question()
        heard.append(True)

    drive.start()
    some = [threading.Thread(target=ask, args=(q,)) for q in (lambda: drive.change_face(fails), drive.pause)]
    some[0].start()
    assert begun.wait(60)
    some[1].start()
    asked.set()
    for thread in some:
        thread.join(60)
    assert heard == [True, True]
    assert drive.wait(60)
    assert "ZeroDivisionError" in drive.error


def test_a_full_inbox_makes_the_source_wait_and_loses_nothing():
    """The bounded queue holds a source back until the loop has taken."""
    inbox = Inbox(2)
    done = []

    def push():
        for k in range(5):
            inbox.put(Instant(k, {}))
        done.append(True)

    thread = threading.Thread(target=push)
    thread.start()
    got = []
    while len(got) < 5:
        got += inbox.take(10)[1]
        assert len(got) <= 5
    thread.join(60)
    assert [i.t_us for i in got] == [0, 1, 2, 3, 4]
    assert done == [True]
    inbox.put(Instant(9, {}))
    question = inbox.ask(lambda: 1)
    inbox.close()
    assert question.cancelled()
    with pytest.raises(Closed):
        inbox.put(Instant(9, {}))
    with pytest.raises(Closed):
        inbox.ask(lambda: 1)


def test_instants_are_taken_at_once_while_nothing_waits():
    """By the thread that puts them; behind the reader's back nothing is: then they wait for it, in order."""
    took = []
    inbox = Inbox(at_once=lambda event: took.append((event.t_us, threading.current_thread())))
    here = threading.current_thread()
    inbox.put(Instant(0, {}))
    assert took == [(0, here)]
    inbox.put(Advance(5))
    inbox.put(Instant(6, {}))
    assert inbox.take(0)[1] == [Advance(5), Instant(6, {})]
    inbox.put(Instant(7, {}))  # the reader is at work until it comes again
    assert inbox.take(0)[1] == [Instant(7, {})]
    assert inbox.take(0) == ([], [])
    inbox.put(Instant(8, {}))
    assert inbox.take(0)[1] == [Instant(8, {})]
    inbox.prompt = False
    inbox.put(Instant(9, {}))
    assert inbox.take(0)[1] == [Instant(9, {})]
    assert len(took) == 1


def test_a_reader_waits_for_what_is_being_taken():
    """Commands come between two instants, never within one, however fast these come; and none is kept waiting."""
    took, told, over = [], [], threading.Event()
    at_work = threading.Lock()

    def work(what):
        assert at_work.acquire(blocking=False)
        took.append(what)
        at_work.release()

    inbox = Inbox(at_once=lambda event: work(event.t_us))

    def read():
        while not over.is_set():
            commands, events = inbox.take(0.01)
            for command, result in commands:
                result.set_result(command())
            for event in events:
                work(event.t_us)

    reader = threading.Thread(target=read)
    reader.start()

    def ask():
        told.extend(inbox.ask(lambda k=k: work(f"ask {k}")).exception(60) for k in range(200))

    asking = threading.Thread(target=ask)
    asking.start()
    count = 0
    while asking.is_alive():
        inbox.put(Instant(count, {}))
        count += 1
    asking.join()
    assert inbox.ask(lambda: None).exception(60) is None
    over.set()
    reader.join()
    assert told == [None] * 200
    assert [x for x in took if isinstance(x, int)] == list(range(count))
    assert [x for x in took if isinstance(x, str)] == [f"ask {k}" for k in range(200)]


def test_what_a_car_sends_is_judged_in_the_thread_that_hears_it(setup, store, monkeypatch):
    """And stored and told; a word, a tick and the end come in their turn."""
    threads, sent = [], []
    take = Loop.take

    def noted(self, event):
        threads.append((type(event).__name__, threading.current_thread().name))
        take(self, event)

    monkeypatch.setattr(Loop, "take", noted)

    def body(emit, stop):
        k = 0
        while k < 40 or ("Instant", "drive-source") not in threads:
            emit(Instant(k * 250_000, {"road_speed": 80.0, "coolant_temp": 90.0}))
            k += 1
        emit(Ended("finished"))
        sent.append(k)

    drive, _ = run(setup(Odd(body)), store)
    assert drive.error is None
    assert store.recording(drive.id).samples == 2 * sent[0]
    assert [a.outcome.value for a in store.attempts(drive.id)] == ["secured"]
    assert {name for kind, name in threads if kind == "Ended"} == {"drive-loop"}


def test_a_fault_in_the_thread_that_hears_closes_the_drive_too(setup, store):
    """As one in the loop's own; what came before is stored."""

    def body(emit, stop):
        for k in range(40):
            emit(Instant(k * 250_000, {"road_speed": 80.0, "coolant_temp": 90.0}))
        stop.wait(60)

    made = setup(Odd(body))
    update = made.face.update
    made.face.update = lambda view, events, *more: 1 // 0 if events else update(view, events, *more)
    drive, _ = run(made, store)
    assert "ZeroDivisionError" in drive.error
    assert store.recording(drive.id).samples > 0


def test_a_disk_that_is_behind_does_not_hold_up_the_car(setup, store, monkeypatch):
    """Its answers wait in the queue then, while the link goes on asking."""
    monkeypatch.setattr("coach.store.drivelog.DriveLog.behind_us", lambda _: 2_000_000)
    threads = []
    take = Loop.take

    def noted(self, event):
        threads.append(threading.current_thread().name)
        take(self, event)

    monkeypatch.setattr(Loop, "take", noted)

    def body(emit, stop):
        for k in range(40):
            emit(Instant(k * 250_000, {"road_speed": 80.0, "coolant_temp": 90.0}))
        emit(Ended("finished"))

    drive, _ = run(setup(Odd(body)), store)
    assert store.recording(drive.id).samples == 80
    assert threads.count("drive-source") <= 1


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
