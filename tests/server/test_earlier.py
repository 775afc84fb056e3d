"""Which drives a plan's pulls come from, that they are looked for once, and that nothing waits or fails for them."""

from concurrent.futures import Future
from dataclasses import replace

from coach.errors import StoreError
from coach.server import earlier
from coach.server.earlier import PullsKnown, drives_of

CAR = b'label = "One"\nrpm_per_kmh = { 3 = 40.0 }\n'
FOUND = [{"gear": 3, "rpm": [2100.0, 2300.0], "ms2": [2.0, 1.9], "count": 2}]


class Later:
    """A worker that answers when it is told to."""

    def __init__(self):
        self.asked = []

    def submit(self, task, ask):
        self.asked.append((task, ask, Future()))
        return self.asked[-1][2]

    def close(self, seconds=1.0):
        pass


def rows_of(services, drive, **changes):
    """Rows like that of a real drive, newest first."""
    row = services.store.drive(drive().id)
    return [replace(row, **change) for change in changes["each"]]


def test_only_finished_drives_of_the_same_car_count_and_only_the_newest(services, drive):
    """A car is its label, or the source where its file has none; a file that is refused today has no label."""
    rows = rows_of(services, drive, each=[
        {"id": "a", "vehicle": CAR}, {"id": "b", "vehicle": CAR.replace(b"One", b"Two")},
        {"id": "c", "vehicle": CAR, "phase": "recording"}, {"id": "d", "vehicle": CAR, "samples": 10_000_000},
        {"id": "e", "vehicle": None}, {"id": "f", "vehicle": b"label = "}, {"id": "g", "vehicle": b"mass = '1 t'"},
        {"id": "h", "vehicle": CAR, "samples": 0}, *({"id": str(n), "vehicle": CAR} for n in range(9)),
    ])  # fmt: skip
    assert drives_of("label One", rows) == ["a", "0", "1", "2", "3"]
    assert drives_of(f"source {rows[0].source['id']}", rows) == ["e", "f", "g"]
    worker = Later()
    assert PullsKnown().of("label Three", CAR, rows, worker) == {}
    assert worker.asked == []


def test_what_is_not_found_yet_is_not_waited_for_and_asked_once(services, drive, monkeypatch):
    """The plan that comes meanwhile has none; the next has them, without a second search. A failed one is repeated."""
    rows = rows_of(services, drive, each=[{"id": "a", "vehicle": CAR}])
    worker, known = Later(), PullsKnown()

    def ask(vehicle=CAR):
        return known.of("label One", vehicle, rows, worker, 0.0)

    assert ask() == {}
    worker.asked[0][2].set_exception(StoreError("it is gone"))
    assert ask() == {}
    assert [task for task, _, _ in worker.asked] == ["pulls", "pulls"]
    worker.asked[1][2].set_result(FOUND)
    assert ask()[3].acceleration(2200.0) == 1.95
    assert ask()[3].count == 2
    assert len(worker.asked) == 2
    monkeypatch.setattr(earlier, "KEPT", 1)
    ask(CAR + b"mass = '1400 kg'\n")
    ask()
    assert len(worker.asked) == 4
