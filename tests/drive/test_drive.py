"""A drive with its threads: what was replayed is what is stored and judged; ends, failures, commands from anywhere."""

import threading

import pytest

from coach.clock import Clock, HandClock
from coach.core.afterwards import judge_recording
from coach.drive.drive import Drive
from coach.drive.loop import Loop
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.drive.verdict import judge_stored
from coach.errors import BadInput, Conflict
from coach.recording import Mark, Recording
from coach.sources.base import Ended, Instant
from coach.sources.replay import Replay
from tests.drive.running import run

US = 1_000_000


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
