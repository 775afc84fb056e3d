"""The loop on a hand clock: judge, store and listeners fed in order; stop, pause, marks, trouble."""

import csv
import threading

import pytest

from coach.core.afterwards import judge_recording
from coach.drive.loop import BLOCK_OPEN_US, STATE_EVERY_US, TAKE_BACK_US
from coach.errors import Conflict, StoreError
from coach.recording import Mark
from coach.sources.base import Advance, Back, Ended, Instant, Lost, Marked

US = 1_000_000


def play(bench, recording, until=None):
    """Feeds a recording with the clock running along."""
    start = bench.clock.now_us
    for t_us, values in recording.instants():
        if until is not None and t_us > until:
            return
        bench.clock.now_us = max(bench.clock.now_us, start + t_us)
        bench.loop.take(Instant(t_us, values))
        bench.loop.tick()


def test_a_drive_is_judged_recorded_and_told(bench, plan, trace):
    """The live events are those of the stored drive judged afterwards, and stand in the store and the stream."""
    play(bench, trace())
    bench.loop.take(Ended("finished"))
    bench.settle()
    recording = bench.store.recording(bench.id)
    verdict = judge_recording(plan, recording)
    assert [e.event for e in bench.store.events(bench.id)] == list(verdict.events)
    assert [d["type"] for d in bench.kinds("judge")] == ["began", "secured", "ended"]
    assert bench.face.told == list(verdict.events)
    assert bench.store.attempts(bench.id) == list(verdict.attempts["part-load"])
    assert recording.samples == trace().samples
    row = bench.store.drive(bench.id)
    assert (row.phase, row.error, row.samples) == ("ended", None, recording.samples)
    assert bench.kinds("drive")[-1]["phase"] == "ended"


def test_the_anchor_is_the_wall_clock_of_the_first_sample(bench, trace):
    """A link's drive is anchored to the clock when its first sample comes."""
    bench.clock.now_us = 5 * US
    bench.loop.take(Instant(0, {"road_speed": 0.0}))
    bench.settle()
    assert bench.store.recording(bench.id).wall_us == bench.clock.wall_us()


def test_a_window_is_saved_when_secured_and_again_when_its_end_is_in(bench, trace):
    """`saved` comes only after the file is durable; the first file gives way to the whole one."""
    fast_at = 10.0
    play(bench, trace(11.9, speed=lambda t: 80.0 if t < fast_at else 100.0), until=3 * US)
    bench.settle()
    assert [(d["number"], d["whole"]) for d in bench.kinds("saved")] == [(0, False)]
    path = bench.store.window_path(bench.id, "part-load", 0)
    first = path.read_text().splitlines()
    assert first[-1].startswith("3.000,")
    secured = [m.sequence for m in bench.ring.since(0) if m.kind == "judge" and m.data["type"] == "secured"]
    saved = [m.sequence for m in bench.ring.since(0) if m.kind == "saved"]
    assert secured[0] < saved[0]
    for t_us, values in trace(14.0, speed=lambda t: 80.0 if t < fast_at else 100.0).instants():
        if t_us > 3 * US:
            bench.loop.take(Instant(t_us, values))
        if t_us == 11_750_000:
            bench.settle()
            assert [d["whole"] for d in bench.kinds("saved")] == [False], "its last seconds are not in yet"
    bench.settle()
    assert [d["whole"] for d in bench.kinds("saved")] == [False, True]
    with path.open() as file:
        rows = list(csv.DictReader(file))
    stamps = [float(r["time [s]"]) for r in rows]
    # The window ended at its last good sample, 9.75 s; the file carries two seconds more.
    assert (stamps[0], stamps[-1]) == (0.0, 11.75)
    (window,) = bench.store.windows(bench.id)
    assert (window.whole, window.size) == (True, path.stat().st_size)


def test_a_window_still_open_at_the_end_is_saved_whole(bench, trace):
    """The drive's end closes what is due."""
    play(bench, trace(5.0))
    bench.loop.take(Ended("finished"))
    bench.settle()
    assert [d["whole"] for d in bench.kinds("saved")] == [False, True]


def test_a_window_that_cannot_be_written_is_said_and_the_drive_goes_on(bench, trace, monkeypatch):
    """Not saved is told in a sentence; nothing claims that it was."""

    def fail(*_):
        raise StoreError("the disk is full; make room")

    monkeypatch.setattr("coach.drive.tasks.write_durable", fail)
    play(bench, trace(5.0))
    bench.settle()
    assert bench.kinds("saved") == []
    assert bench.kinds("not_saved")[0]["error"] == "the disk is full; make room"
    assert bench.loop.phase == "recording"


def test_stop_goes_on_recording_and_can_be_taken_back(bench, trace):
    """For ten seconds a stop is a promise only; what is secured meanwhile is secured."""
    play(bench, trace(), until=1 * US)
    bench.loop.stop()
    assert bench.loop.phase == "stopping"
    bench.clock.now_us += 4 * US
    bench.loop.tick()
    assert bench.ring.state["drive"]["stop_left_s"] == 6.0
    with pytest.raises(Conflict):
        bench.loop.stop()
    bench.loop.carry_on()
    assert bench.loop.phase == "recording"
    bench.clock.now_us += TAKE_BACK_US
    bench.loop.tick()
    assert not bench.stop.is_set()
    bench.loop.stop()
    bench.clock.now_us += TAKE_BACK_US
    for k in range(5, 9):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 80.0}))
    bench.loop.tick()
    assert bench.stop.is_set()
    with pytest.raises(Conflict):
        bench.loop.carry_on()
    for k in range(9, 13):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 80.0}))
    bench.loop.take(Ended("stopped"))
    bench.settle()
    assert bench.loop.phase == "ended"
    assert [d["type"] for d in bench.kinds("judge")] == ["began", "secured", "ended"]
    assert bench.store.drive(bench.id).last_us == 3 * US


def test_a_source_that_does_not_end_is_left_behind(bench, trace):
    """Two seconds after it was told to, the drive ends without it."""
    play(bench, trace(), until=1 * US)
    bench.loop.finish()
    bench.loop.finish()
    bench.loop.tick()
    assert bench.loop.phase == "stopping"
    bench.clock.now_us += 2 * US
    bench.loop.tick()
    assert bench.loop.phase == "ended"
    bench.loop.take(Instant(9 * US, {"road_speed": 80.0}))
    bench.loop.tick()
    bench.settle()
    assert bench.store.drive(bench.id).last_us == 1 * US
    with pytest.raises(Conflict, match="over"):
        bench.loop.mark("arm", "idle")


def test_a_source_that_fails_closes_the_drive_with_its_sentence(bench):
    """The sentence is told and kept."""
    bench.loop.take(Instant(0, {"road_speed": 0.0}))
    bench.loop.take(Ended("failed", "The adapter was unplugged."))
    bench.settle()
    assert bench.kinds("drive")[-1]["error"] == "The adapter was unplugged."
    assert bench.store.drive(bench.id).error == "The adapter was unplugged."
    assert bench.ring.state["trouble"] == {"stopped": True, "text": "The adapter was unplugged."}


def test_a_pause_ends_what_runs_and_recording_goes_on(bench, plan, trace):
    """Paused and resumed are marks: judging again gives the same."""
    play(bench, trace(), until=2 * US)
    bench.loop.pause()
    with pytest.raises(Conflict):
        bench.loop.pause()
    for k in range(9, 24):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 80.0, "coolant_temp": 90.0}))
    bench.loop.resume()
    with pytest.raises(Conflict):
        bench.loop.resume()
    for k in range(24, 48):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 80.0, "coolant_temp": 90.0}))
    bench.loop.take(Ended("finished"))
    bench.settle()
    recording = bench.store.recording(bench.id)
    assert [m.kind for m in recording.marks] == ["pause", "resume"]
    assert recording.marks[0].t_us == 2 * US + 1
    verdict = judge_recording(plan, recording)
    assert [e.event for e in bench.store.events(bench.id)] == list(verdict.events)
    assert [a.outcome for a in verdict.attempts["part-load"]] == ["missed", "secured"]


def test_arming_is_refused_while_the_car_moves(bench, plan):
    """Known to stand, or known to have its engine off; anything else is no."""
    with pytest.raises(Conflict, match="standstill"):
        bench.loop.mark("arm", "idle")
    bench.loop.take(Instant(0, {"road_speed": 30.0}))
    with pytest.raises(Conflict, match="standstill"):
        bench.loop.mark("arm", "idle")
    bench.loop.take(Instant(1 * US, {"road_speed": 0.0}))
    assert bench.loop.mark("arm", "idle") == Mark(1 * US + 1, "arm", "idle")
    for k in range(8, 20):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 0.0}))
    bench.loop.take(Ended("finished"))
    bench.settle()
    assert [e.event for e in bench.store.events(bench.id)] == list(
        judge_recording(plan, bench.store.recording(bench.id)).events
    )
    assert [d["capture"] for d in bench.kinds("judge") if d["type"] == "secured"] == ["idle"]


def test_marks_of_a_replayed_drive_take_part(bench):
    """What people said in the drive that is replayed is stored and judged."""
    bench.loop.take(Marked(Mark(0, "arm", "idle")))
    bench.loop.take(Marked(Mark(0, "role", None, "passenger")))
    bench.loop.take(Instant(0, {"road_speed": 0.0}))
    bench.loop.tick()
    bench.settle()
    assert [m.kind for m in bench.store.marks(bench.id)] == ["arm", "role"]
    assert [d["type"] for d in bench.kinds("judge")] == ["began"]
    assert bench.ring.state["drive"]["role"] == "passenger"


def test_the_page_is_locked_while_the_car_moves_until_a_passenger_says_so(bench):
    """Five km/h for a second lock it; the role passenger opens it."""
    for k in range(5):
        bench.loop.take(Instant(k * 250_000, {"road_speed": 6.0}))
    bench.clock.now_us += STATE_EVERY_US
    bench.loop.tick()
    assert bench.ring.state["drive"]["locked"] is True
    bench.loop.mark("role", None, "passenger")
    assert bench.ring.state["drive"]["locked"] is False
    assert bench.ring.state["drive"]["moving"] is True
    bench.loop.mark("role", None, "")
    assert bench.ring.state["drive"]["locked"] is True


def test_samples_that_come_too_late_are_kept_and_not_judged(bench, plan):
    """Rule 3: stored, noted, not judged."""
    for t_us, v in [(1 * US, 80.0), (500_000, 200.0), (1 * US, 200.0), (2 * US, 80.0)]:
        bench.loop.take(Instant(t_us, {"road_speed": v}))
    bench.loop.take(Ended("finished"))
    bench.settle()
    recording = bench.store.recording(bench.id)
    assert recording.series["road_speed"].t_us.tolist() == [1 * US, 2 * US]
    assert [(n.code, n.count) for n in recording.notes] == [("late_samples", 2)]
    assert bench.loop.late == 2
    assert [e.event for e in bench.store.events(bench.id)] == list(judge_recording(plan, recording).events)


def test_deadlines_fall_due_when_the_source_promises(bench, plan):
    """Silence breaks a hold at its deadline, as soon as the source vouches for the time; the clock alone does not."""
    bench.loop.take(Instant(0, {"road_speed": 80.0, "coolant_temp": 90.0}))
    bench.clock.now_us += 30 * US
    bench.loop.tick()
    assert [d["type"] for d in bench.kinds("judge")] == ["began"]
    bench.loop.take(Advance(4 * US))
    ended = bench.kinds("judge")[-1]
    assert (ended["type"], ended["t_s"]) == ("ended", 2.0)
    bench.loop.take(Ended("stopped"))
    bench.settle()
    stored = bench.store.recording(bench.id)
    assert stored.end_us == 4 * US
    assert [e.event for e in bench.store.events(bench.id)] == list(judge_recording(plan, stored).events)


def test_the_state_comes_ten_times_a_second_and_at_once_with_an_event(bench):
    """Values at 10 Hz; a transition is told with the sample that made it."""
    bench.loop.tick()
    before = len(bench.kinds("state"))
    bench.loop.tick()
    bench.clock.now_us += STATE_EVERY_US - 1
    bench.loop.tick()
    assert len(bench.kinds("state")) == before
    bench.clock.now_us += 1
    bench.loop.tick()
    assert len(bench.kinds("state")) == before + 1
    bench.loop.take(Instant(0, {"road_speed": 80.0, "coolant_temp": 90.0}))
    assert len(bench.kinds("state")) == before + 2
    assert bench.ring.state["phases"][0] == "running"


def test_a_lost_link_is_told_with_its_age(bench):
    """Lost and back go to the page at once."""
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.clock.now_us += 3 * US
    bench.loop.take(Lost("no answer"))
    assert bench.ring.state["link"] == {"state": "lost", "age_s": 3.0, "reason": "no answer"}
    bench.loop.take(Back())
    assert bench.ring.state["link"]["state"] == "up"


def test_closing_an_alarm_reaches_the_face(bench):
    """Seen goes to the adviser and the page at once."""
    bench.loop.seen()
    assert bench.face.closed == 1


def test_samples_are_durable_within_half_a_second_of_silence(bench):
    """An open block is written although nothing more comes."""
    bench.loop.take(Instant(0, {"road_speed": 80.0, "coolant_temp": 90.0}))
    bench.loop.take(Instant(10, {"road_speed": 80.0}))
    bench.clock.now_us += BLOCK_OPEN_US
    bench.loop.tick()
    done = threading.Event()
    bench.store._writer.post(lambda _: None, lambda _: done.set())
    assert done.wait(60)
    assert bench.store.recording(bench.id).samples == 3


def test_a_full_disk_ends_the_drive_with_an_alarm_and_what_was_stored_is_there(bench, trace):
    """No traceback: a sentence in the stream, the source told to stop, the beginning readable."""
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.settle()
    pages = bench.store._writer.call(lambda db: db.execute("PRAGMA page_count").fetchone()[0])
    bench.store._writer.call(lambda db: db.execute(f"PRAGMA max_page_count={pages}"))
    for k in range(1, 400):
        bench.loop.take(Instant(k * 300_000, {f"signal_{n}": float(k) for n in range(100)}))
    bench.settle()
    bench.loop.tick()
    assert bench.loop.phase == "ended"
    assert bench.stop.is_set()
    assert bench.ring.state["trouble"]["stopped"] is True
    assert "disk is full" in bench.ring.state["trouble"]["text"]
    assert bench.store.recording(bench.id).samples >= 1


def test_a_writer_far_behind_raises_an_alarm_and_recording_goes_on(bench):
    """Ten seconds behind is said, and said again when it is over."""
    hold, begun = threading.Event(), threading.Event()
    bench.store._writer.post(lambda _: (begun.set(), hold.wait(60)))
    assert begun.wait(60)
    bench.clock.now_us += 10 * US
    bench.loop.tick()
    assert "behind" in bench.kinds("drive")[-1]["trouble"]
    assert bench.ring.state["trouble"]["stopped"] is False
    assert bench.loop.phase == "recording"
    hold.set()
    bench.settle()
    bench.loop.tick()
    assert bench.kinds("drive")[-1]["trouble"] is None


def test_a_lost_link_grows_old_although_it_tells_the_time(bench):
    """Promises are no samples: the age is that of the last sample, the reason is the link's."""
    object.__setattr__(bench.loop.parts, "source_kind", "link")
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.loop.take(Lost("The adapter does not answer."))
    for _ in range(30):
        bench.clock.now_us += US // 10
        bench.loop.take(Advance(bench.clock.now_us))
    bench.loop.tick()
    assert bench.ring.state["link"] == {"state": "lost", "age_s": 3.0, "reason": "The adapter does not answer."}
    bench.loop.take(Back())
    assert "reason" not in bench.ring.state["link"]


def test_a_link_is_told_which_signals_are_needed_most(bench, trace):
    """Those of the captures that run: what they record and what their conditions rest on; nothing when none runs."""
    told = []
    object.__setattr__(bench.loop.parts, "favour", told.append)
    play(bench, trace(), until=2 * US)
    assert told[-1] == {"road_speed", "coolant_temp"}
    bench.loop.take(Ended("finished"))
    assert told[-1] == frozenset()
