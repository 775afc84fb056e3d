"""A small plan and a drive that meets it, for the loop and its threads."""

import threading
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.clock import HandClock
from coach.core.spec import Asked, Band, Capture, Facts, JudgePlan, Limit
from coach.drive.drive import Setup
from coach.drive.loop import Loop, Parts
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.drive.windows import Windows
from coach.recording import from_pairs
from coach.store import Around, NewDrive, Store
from coach.store.planjson import dump_catalogue, dump_plan

US = 1_000_000


@pytest.fixture
def plan():
    """Three seconds between 72 and 88 km/h with the coolant under 108 degrees; and a sweep-free parked idle, armed."""
    hold = Capture(
        "part-load", hold_us=3 * US, keep=(Band("road_speed", 72.0, 88.0),),
        limits=(Limit("coolant_temp", high=108.0, scope="drive", unseen_us={"coolant_temp": 5 * US}),),
        record=(Asked("road_speed", 4.0, 2 * US),), stale_us={"road_speed": 2 * US},
    )  # fmt: skip
    idle = Capture(
        "idle", hold_us=2 * US, keep=(Band("road_speed", None, 0.0),), stale_us={"road_speed": 2 * US}, arming=True
    )
    facts = {"road_speed": Facts(0.0, 255.0), "coolant_temp": Facts(-40.0, 215.0)}
    return JudgePlan((hold, idle), facts)


@pytest.fixture
def new(plan):
    """What the store keeps of a drive under `plan`."""
    return NewDrive(
        b"recipe", "sha", "r.toml", "Title", 1, dump_plan(plan), dump_catalogue(default_catalogue()), plan.rules,
        around={"part-load": Around(1 * US, 2 * US)},
    )  # fmt: skip


def trace(seconds=20.0, step=0.25, speed=lambda t: 80.0, hot=lambda t: 90.0):
    """A recording of road speed and coolant temperature."""
    stamps = [round(k * step * US) for k in range(int(seconds / step) + 1)]
    pairs = [(t, "road_speed", float(speed(t / US))) for t in stamps]
    pairs += [(t, "coolant_temp", float(hot(t / US))) for t in stamps]
    return from_pairs(pairs, wall_us=1_600_000_000 * US)


class Face:
    """A stand-in for the adviser: shows what it was given."""

    def __init__(self):
        self.closed = 0
        self.told = []

    def update(self, view, events, now_us, link, drive):
        self.told.extend(events)
        return {"drive": drive.json(view.t_us), "link": link.json(), "phases": [c.phase for c in view.captures]}

    def seen(self):
        self.closed += 1


class Bench:
    """A loop on a hand clock with a real store."""

    def __init__(self, folder: Path, plan, new, *, kind="link", capacity=10_000):
        self.clock = HandClock()
        self.store = Store(folder, self.clock)
        self.worker = InPlace(folder)
        self.ring = Ring(capacity)
        self.face = Face()
        self.stop = threading.Event()
        self.id, self.log = self.store.create_drive(new)
        self.windows = Windows(self.id, self.log, self.worker, self.ring, self.clock, new.around)
        self.loop = Loop(
            Parts(self.id, plan, self.log, self.clock, self.ring, self.face, self.windows, self.stop, kind)
        )

    def settle(self):
        """Waits until everything is durable and every window saved."""
        done = threading.Event()
        self.log.flush(lambda _: done.set())
        assert done.wait(60)
        assert self.windows.wait(60)

    def kinds(self, kind):
        """Data of all messages of a kind, oldest first."""
        return [m.data for m in self.ring.since(0) if m.kind == kind]


@pytest.fixture
def bench(tmp_path, plan, new):
    bench = Bench(tmp_path / "data", plan, new)
    yield bench
    bench.store.close()


@pytest.fixture
def setup(plan, new):
    """Makes a drive's setup around a source."""

    def make(source, **more):
        return Setup(new, plan, source, Face(), **more)

    return make


@pytest.fixture(name="trace")
def trace_fixture():
    return trace


@pytest.fixture(name="Bench")
def bench_class():
    return Bench


@pytest.fixture
def store(tmp_path):
    """An empty data folder on a hand clock."""
    with Store(tmp_path / "data", HandClock()) as store:
        yield store
