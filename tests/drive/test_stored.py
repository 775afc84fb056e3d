"""How far a drive is stored, as the page is told; and what it is told when the last moments of one could not be."""

import threading

import pytest

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.errors import StoreError
from coach.sources.base import Ended, Instant
from coach.sources.replay import Replay
from coach.store import Store
from tests.drive.conftest import trace

US = 1_000_000


@pytest.fixture
def own_store(tmp_path):
    with Store(tmp_path / "whole", HandClock()) as store:
        yield store


def test_the_page_is_told_what_is_durable_and_no_more(bench):
    """Nothing before the first commit; then the time of the last sample in it, also while newer ones wait."""
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.loop.take(Instant(200_000, {"road_speed": 80.0}))
    bench.clock.now_us += 100_000
    bench.loop.tick()
    assert bench.ring.state["drive"]["stored_s"] == 0.0
    bench.settle()
    bench.loop.take(Instant(400_000, {"road_speed": 80.0}))
    bench.clock.now_us += 100_000
    bench.loop.tick()
    assert bench.ring.state["drive"]["stored_s"] == 0.2


def test_a_drive_that_is_over_says_how_far_it_is_stored_once_all_of_it_is(bench):
    """The last moments are durable only after the end: told then, once, with all else as it was said."""
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.loop.take(Instant(300_000, {"road_speed": 80.0}))
    hold = threading.Event()
    bench.store._writer.post(lambda db: hold.wait(60))
    bench.loop.take(Ended("finished"))
    before = bench.ring.state
    assert (before["drive"]["phase"], before["drive"]["stored_s"]) == ("ended", 0.0)
    hold.set()
    bench.settle()
    bench.loop.stored()
    told = bench.ring.state
    assert told["drive"]["stored_s"] == 0.3
    assert {**told, "drive": {**told["drive"], "stored_s": 0.0}} == before
    last = bench.ring.last
    bench.loop.stored()
    assert bench.ring.last == last
    bench.ring.publish("state", {"drive": {"id": "the next one", "stored_s": 0.0}})
    bench.loop.stored()
    assert bench.ring.state["drive"]["id"] == "the next one"


def test_a_drive_with_its_threads_ends_with_all_of_it_stored(setup, own_store):
    """Whoever looks at the state after the end reads the time of the last sample."""
    ring = Ring()
    ring.amend(lambda state: state)
    assert ring.last == 0
    drive = Drive(setup(Replay(trace(3.0), None)), own_store, InPlace(own_store.folder), HandClock(), ring)
    drive.start()
    assert drive.wait(60)
    assert ring.state["drive"]["stored_s"] == ring.state["drive"]["t_s"] == 3.0


def test_a_drive_whose_end_could_not_be_written_says_so(bench):
    """It was over already when the disk failed; the page and the drive's row have the sentence all the same."""
    hold = threading.Event()
    bench.store._writer.post(lambda db: hold.wait(60))
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.loop.take(Ended("finished"))
    assert bench.loop.error is None
    bench.log.error = StoreError("the disk is full; make room")
    hold.set()
    done = threading.Event()
    bench.log.settle(lambda _: done.set())
    assert done.wait(60)
    bench.loop.not_stored(bench.log.error.message)
    assert bench.ring.state["trouble"] == {"stopped": True, "text": "the disk is full; make room"}
    assert bench.kinds("drive")[-1]["error"] == "the disk is full; make room"
    row = bench.store.drive(bench.id)
    assert (row.phase, row.error, row.samples) == ("ended", "the disk is full; make room", 0)
    before = bench.ring.last
    bench.loop.not_stored("something else")
    assert (bench.loop.error, bench.ring.last) == ("the disk is full; make room", before)
