"""How far a drive is stored, as the page is told; and what it is told when the last moments of one could not be."""

import threading

from coach.errors import StoreError
from coach.sources.base import Ended, Instant

US = 1_000_000


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


def test_a_drive_whose_end_could_not_be_written_says_so(bench):
    """It was over already when the disk failed; the page and the drive's row have the sentence all the same."""
    hold = threading.Event()
    bench.store._writer.post(lambda db: hold.wait(10))
    bench.loop.take(Instant(0, {"road_speed": 80.0}))
    bench.loop.take(Ended("finished"))
    assert bench.loop.error is None
    bench.log.error = StoreError("the disk is full; make room")
    hold.set()
    done = threading.Event()
    bench.log.settle(lambda _: done.set())
    assert done.wait(10)
    bench.loop.not_stored(bench.log.error.message)
    assert bench.ring.state["trouble"] == {"stopped": True, "text": "the disk is full; make room"}
    assert bench.kinds("drive")[-1]["error"] == "the disk is full; make room"
    row = bench.store.drive(bench.id)
    assert (row.phase, row.error, row.samples) == ("ended", "the disk is full; make room", 0)
    before = bench.ring.last
    bench.loop.not_stored("something else")
    assert (bench.loop.error, bench.ring.last) == ("the disk is full; make room", before)
