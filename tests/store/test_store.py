"""The data folder: drives, marks, events, attempts, recipes; one process at a time; errors in one sentence."""

import json
import os
import sqlite3
import stat
import subprocess
import sys
import threading

import pytest

from coach.clock import HandClock
from coach.core.events import (
    Alarm,
    AlarmOver,
    Attempt,
    Began,
    Code,
    Ended,
    Excursion,
    ExcursionBegan,
    ExcursionEnded,
    LimitAhead,
    LimitAheadOver,
    Outcome,
    Reason,
    Secured,
    Withdrawn,
)  # fmt: skip
from coach.errors import Conflict, NotFound, StoreError
from coach.recording import Mark
from coach.store import NewDrive, Store, WindowRow
from coach.store.codec import event_json
from coach.store.reading import Reader
from coach.store.schema import MIGRATIONS, VERSION, migrate, version_of

NEW = NewDrive(b"title = 'x'", "abc", "x.toml", "X", 2, "{}", "[]", 1, source={"kind": "replay"})
ATTEMPT = Attempt(
    "part-load", 0, Outcome.SECURED, 0, 5_000_000, 3_000_000, Reason(Code.HIGH, 5_100_000, "road_speed", 91.0, 88.0),
    (Excursion("road_speed", 1_000_000, 1_500_000, 89.0, Code.HIGH), Excursion("gear", 1, 2, None, Code.UNREADABLE)),
    covers=(2200.0, 4600.0), progress=1.0,
)  # fmt: skip
EVENTS = [
    Began(0, "part-load", 0),
    Withdrawn(1, "roll-on", 0),
    ExcursionBegan(1_000_000, "part-load", 0, "road_speed", Code.HIGH, 89.0),
    ExcursionEnded(1_500_000, "part-load", 0, ATTEMPT.excursions[0]),
    Secured(3_000_000, "part-load", 0, 0),
    LimitAhead(3_500_000, "roll-on", "gauge_boost", 93.0, 95.0),
    LimitAheadOver(3_600_000, "roll-on", "gauge_boost"),
    Alarm(4_000_000, "roll-on", "gauge_boost", 99.0, 95.0),
    AlarmOver(4_500_000, "roll-on", "gauge_boost", 4_000_000, 3, 101.0),
    Ended(5_100_000, "part-load", ATTEMPT),
]


@pytest.fixture
def clock():
    return HandClock()


@pytest.fixture
def store(tmp_path, clock):
    with Store(tmp_path / "data", clock) as store:
        yield store


def settle(log):
    """Waits until everything handed to `log` is durable."""
    done = threading.Event()
    errors = []
    log.flush(lambda error: (errors.append(error), done.set()))
    assert done.wait(60)
    return errors[0]


def test_a_drive_comes_back_as_it_was_recorded(store):
    """Samples, marks, events and attempts of a drive are read back equal."""
    drive, log = store.create_drive(NEW)
    log.anchor(1_700_000_000_000_000)
    for k in range(100):
        log.samples_at(k * 100_000, {"road_speed": float(k), "gear": 5.0})
    log.mark(Mark(50, "arm", "roll-on", "x"))
    for event in EVENTS:
        log.event(event)
    log.end(1_700_000_010_000_000)
    assert settle(log) is None
    recording = store.recording(drive)
    assert recording.series["road_speed"].t_us.tolist() == [k * 100_000 for k in range(100)]
    assert recording.series["road_speed"].value.tolist() == [float(k) for k in range(100)]
    assert recording.samples == 200
    assert recording.marks == (Mark(50, "arm", "roll-on", "x"),)
    assert recording.wall_us == 1_700_000_000_000_000
    assert [e.event for e in store.events(drive)] == EVENTS
    assert store.attempts(drive) == [ATTEMPT]
    assert store.attempts(drive, "another recipe") == []
    row = store.drive(drive)
    assert (row.phase, row.samples, row.last_us, row.recovered, row.error) == ("ended", 200, 9_900_000, False, None)
    assert (row.recipe, row.recipe_sha, row.title, row.revision) == (b"title = 'x'", "abc", "X", 2)
    assert store.signals(drive) == ["road_speed", "gear"]


def test_a_part_of_a_drive_is_read_with_both_ends_inside(store):
    """First and last time belong to the part; signals without a sample in it are left out."""
    drive, log = store.create_drive(NEW)
    log.samples_at(0, {"coolant_temp": 80.0})
    for k in range(100):
        log.samples_at(1_000_000 + k * 100_000, {"road_speed": float(k)})
    settle(log)
    part = store.recording(drive, 2_000_000, 3_000_000)
    assert part.series["road_speed"].t_us.tolist() == list(range(2_000_000, 3_000_001, 100_000))
    assert set(part.series) == {"road_speed"}


def test_drives_are_named_by_their_time_and_listed_newest_first(store, clock):
    """Two drives in one second get different names."""
    ids = []
    for _ in range(3):
        drive, log = store.create_drive(NEW)
        log.end(0)
        settle(log)
        ids.append(drive)
    assert ids == ["20231114-221320", "20231114-221320-2", "20231114-221320-3"]
    assert [d.id for d in store.drives()] == ids[::-1]


def test_only_one_drive_at_a_time(store):
    """A second drive is refused while one is open."""
    store.create_drive(NEW)
    with pytest.raises(Conflict, match="stop it first"):
        store.create_drive(NEW)


def test_what_is_not_there_is_said(store):
    """An unknown drive or recipe is NotFound."""
    for ask in (store.drive, store.recording, store.events, store.marks, store.attempts, store.windows, store.recipe):
        with pytest.raises(NotFound):
            ask("nothing")


def test_a_drive_left_open_is_found_and_closed_as_recovered(tmp_path, clock):
    """After a crash the drive is there, with all that was committed, and can be closed as recovered."""
    folder = tmp_path / "data"
    first = Store(folder, clock)
    drive, log = first.create_drive(NEW)
    log.samples_at(0, {"road_speed": 1.0})
    settle(log)
    first.close()
    with Store(folder, clock) as store:
        assert store.left_open() == [drive]
        store.close_recovered(drive)
        assert store.left_open() == []
        row = store.drive(drive)
        assert (row.phase, row.recovered, row.samples) == ("ended", True, 1)


def test_samples_before_an_event_are_durable_with_it(store):
    """An event is never stored without the samples that it rests on."""
    drive, log = store.create_drive(NEW)
    log.samples_at(0, {"road_speed": 1.0})
    log.event(EVENTS[0])
    done = threading.Event()
    store._writer.post(lambda db: None, lambda error: done.set())
    assert done.wait(60)
    assert store.recording(drive).samples == 1
    assert log.durable_us == 0


def test_a_second_process_on_the_same_folder_is_refused(store):
    """The lock is the system's: another process gets a sentence."""
    code = (
        "import sys, pathlib\nfrom coach.store import Store\nfrom coach.clock import Clock\n"
        "from coach.errors import StoreError\n"
        "try:\n    Store(pathlib.Path(sys.argv[1]), Clock())\nexcept StoreError as e:\n    print(e.message)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(store.folder)], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert run.stdout == "another coach is using this data folder; stop it, or name another folder\n"


def test_the_folder_is_free_again_after_close(tmp_path, clock):
    """Closing lets the folder go, also twice."""
    first = Store(tmp_path / "data", clock)
    with pytest.raises(StoreError, match="another coach"):
        Store(tmp_path / "data", clock)
    first.close()
    first.close()
    Store(tmp_path / "data", clock).close()


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX")
def test_files_and_folders_are_private(store):
    """Nobody else on the machine can read a drive."""
    _, log = store.create_drive(NEW)
    settle(log)
    for path in [store.folder, *store.folder.rglob("*")]:
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), path


def test_a_full_disk_stops_the_drive_with_a_sentence_and_keeps_what_was_stored(store):
    """SQLite's own size limit stands in for the disk; the stored beginning stays whole and readable."""
    drive, log = store.create_drive(NEW)
    log.samples_at(0, {"road_speed": 1.0})
    assert settle(log) is None
    pages = store._writer.call(lambda db: db.execute("PRAGMA page_count").fetchone()[0])
    store._writer.call(lambda db: db.execute(f"PRAGMA max_page_count={pages}"))
    for k in range(1, 20_000):
        log.samples_at(k * 10_000, {"road_speed": float(k), "gear": 5.0})
    error = settle(log)
    assert isinstance(error, StoreError)
    assert error.message == "the disk is full; make room, what was stored so far stays readable"
    assert log.error is error
    stored = store.recording(drive).series["road_speed"].t_us.tolist()
    assert stored == [k * 10_000 for k in range(len(stored))]
    assert len(stored) < 20_000
    # Nothing more is tried for this drive, although there is room again; closing it says why it ended.
    store._writer.call(lambda db: db.execute("PRAGMA max_page_count=1000000"))
    log.samples_at(10**9, {"road_speed": 0.0})
    log.end(1)
    done = threading.Event()
    log.settle(lambda _: done.set())
    assert done.wait(60)
    row = store.drive(drive)
    assert row.phase == "ended"
    assert row.error == error.message
    assert row.last_us < 10**9


def test_one_job_that_fails_does_not_spoil_its_neighbours(store):
    """Jobs that share a transaction are tried one by one when it fails."""
    hold, results = threading.Event(), []
    store._writer.post(lambda db: hold.wait(60))
    store._writer.post(lambda db: db.execute("INSERT INTO recipes VALUES ('a', 'n', x'', 't', 1, 0)"), results.append)
    store._writer.post(lambda db: db.execute("INSERT INTO nowhere VALUES (1)"), results.append)
    store._writer.post(lambda db: {}["oops"], results.append)
    store._writer.post(lambda db: db.execute("INSERT INTO recipes VALUES ('b', 'n', x'', 't', 1, 0)"), results.append)
    hold.set()
    assert {r.sha for r in [store.add_recipe("c", "n", b"", "t", 1), *store.recipes()]} == {"a", "b", "c"}
    assert [type(r) for r in results] == [type(None), StoreError, StoreError, type(None)]


def test_the_writer_says_how_far_it_is_behind(store, clock):
    """The age of the oldest job that is not durable."""
    hold, begun = threading.Event(), threading.Event()
    assert store._writer.behind_us() == 0
    store._writer.post(lambda db: (begun.set(), hold.wait(60)))
    assert begun.wait(60)
    clock.now_us += 12_000_000
    assert store._writer.behind_us() == 12_000_000
    hold.set()


def test_a_folder_that_cannot_be_written_gets_a_sentence(tmp_path, clock):
    """A file in the folder's place, and a folder below a file."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError, match="is a file"):
        Store(tmp_path / "file", clock)
    with pytest.raises(StoreError):
        Store(tmp_path / "file" / "below", clock)


def test_a_database_that_is_none_gets_a_sentence(tmp_path, clock):
    """Nonsense in the database's place is said and not overwritten; the lock is let go."""
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "coach.db").write_bytes(b"nonsense" * 1000)
    for _ in range(2):
        with pytest.raises(StoreError, match="damaged"):
            Store(folder, clock)
    assert (folder / "coach.db").read_bytes() == b"nonsense" * 1000


def test_a_newer_database_is_refused(tmp_path, clock):
    """A database of a later version is left alone."""
    with Store(tmp_path / "data", clock) as store:
        store._writer.call(lambda db: db.execute("INSERT INTO schema_versions VALUES (99, 0)"))
    with pytest.raises(StoreError, match="newer coach"):
        Store(tmp_path / "data", clock)


@pytest.mark.parametrize("version", range(VERSION + 1))
def test_every_earlier_version_becomes_the_present_one(version):
    """Migration works from each version, and is written down."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    if version:
        db.execute("CREATE TABLE schema_versions (version INTEGER PRIMARY KEY, applied_wall_us INTEGER NOT NULL)")
        for step in range(version):
            db.executescript(MIGRATIONS[step])
            db.execute("INSERT INTO schema_versions VALUES (?, 0)", (step + 1,))
    migrate(db, 5)
    assert version_of(db) == VERSION
    assert {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'")} >= {"drives", "blocks"}
    db.close()


def test_a_migration_that_fails_leaves_the_database_as_it_was(monkeypatch):
    """Each step is one transaction."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    monkeypatch.setattr("coach.store.schema.MIGRATIONS", ("CREATE TABLE a (x); CREATE TABLE a (x)",))
    monkeypatch.setattr("coach.store.schema.VERSION", 1)
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, 5)
    assert db.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
    db.close()


def test_recipes_are_kept_as_received(store):
    """The same recipe again stays as it was first."""
    row = store.add_recipe("abc", "a.toml", b"body", "Title", 3)
    again = store.add_recipe("abc", "b.toml", b"body", "Title", 3)
    assert row == again == store.recipes()[0]
    assert (row.name, row.body, row.title, row.revision) == ("a.toml", b"body", "Title", 3)


def test_windows_and_verdicts_are_replaced_by_newer_ones(store):
    """A window's first file gives way to the whole one; a verdict is a cache."""
    drive, log = store.create_drive(NEW)
    log.window(WindowRow("part-load", 0, False, "p", "h1", 10, 5))
    settle(log)
    store.put_window(drive, WindowRow("part-load", 0, True, "p", "h2", 20, 6))
    assert store.windows(drive) == [WindowRow("part-load", 0, True, "p", "h2", 20, 6)]
    assert store.verdict(drive) is None
    store.put_verdict(drive, "abc", 1, "{}")
    store.put_verdict(drive, "abc", 1, "[]")
    assert store.verdict(drive) == "[]"
    store.put_attempts(drive, "abc", 1, [ATTEMPT])
    store.put_attempts(drive, "abc", 1, [])
    assert store.attempts(drive) == []


def test_events_are_told_to_people_in_seconds():
    """The page's form has seconds and the same names."""
    told = event_json(EVENTS[-1])
    assert told["type"] == "ended"
    assert told["t_s"] == 5.1
    assert told["attempt"]["outcome"] == "secured"
    assert told["attempt"]["secured_s"] == 3.0
    assert told["attempt"]["reason"] == {
        "code": "high",
        "t_s": 5.1,
        "signal": "road_speed",
        "value": 91.0,
        "bound": 88.0,
    }
    assert told["attempt"]["excursions"][0]["start_s"] == 1.0
    assert event_json(EVENTS[2])["type"] == "excursion_began"
    json.dumps([event_json(e) for e in EVENTS])


def test_another_process_reads_while_one_writes(store):
    """A reader needs no lock and sees what is durable."""
    drive, log = store.create_drive(NEW)
    log.samples_at(0, {"road_speed": 1.0})
    settle(log)
    assert Reader(store.path).recording(drive).samples == 1
    assert store.schema() == (VERSION, VERSION)
    assert store.free_bytes() > 0


def test_a_closed_folder_can_be_read(tmp_path, clock):
    """Reading works when nobody has the folder open; where there is none a sentence comes."""
    with pytest.raises(StoreError, match="no data here"):
        Reader(tmp_path / "data" / "coach.db").drives()
    with Store(tmp_path / "data", clock) as store:
        drive, log = store.create_drive(NEW)
        settle(log)
    assert [d.id for d in Reader(tmp_path / "data" / "coach.db").drives()] == [drive]
    with pytest.raises(StoreError, match="closed"):
        log.flush(None) or log.mark(Mark(0, "arm"))


def test_a_folder_that_may_only_be_read_is_read(tmp_path, clock, monkeypatch):
    """A medium without write permission: what is stored can be read; opening it for writing gets a sentence."""
    with Store(tmp_path / "data", clock) as store:
        drive, log = store.create_drive(NEW)
        log.samples_at(0, {"road_speed": 1.0})
        settle(log)
    monkeypatch.setattr("coach.store.reading.os.access", lambda *_: False)
    assert Reader(tmp_path / "data" / "coach.db").recording(drive).samples == 1

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("coach.store.lock.os.open", refuse)
    with pytest.raises(StoreError, match="cannot be written"):
        Store(tmp_path / "data", clock)
