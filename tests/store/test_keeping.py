"""What the data folder takes is told, drives go only when asked and then wholly, and damage is found."""

import os
import sqlite3
import stat
import threading
from pathlib import Path

import pytest

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.errors import Conflict, NotFound, StoreError
from coach.soak.made import Made, setup
from coach.store import NewDrive, Store
from coach.store.keeping import check, compact, remove_drive, room, rooms

NEW = NewDrive(b"title = 'x'", "abc", "x.toml", "X", 2, "{}", "[]", 1)


def record(store, seconds=6.0):
    drive = Drive(setup(Made(seconds)), store, InPlace(store.folder), store.clock, Ring())
    drive.start()
    assert drive.wait(60)
    return drive.id


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "data", HandClock()) as store:
        yield store


def test_the_sizes_are_those_of_the_files(store):
    """In all, and by drive; 16 bytes a sample."""
    drive = record(store)
    taken = room(store.folder)
    files = [p for p in store.folder.rglob("*") if p.is_file()]
    assert taken.total == sum(p.stat().st_size for p in files)
    assert taken.windows == sum(p.stat().st_size for p in files if p.suffix == ".csv") > 0
    assert taken.database == taken.total - taken.windows
    assert taken.free > 0
    (one,) = rooms(store.folder)
    assert (one.drive.id, one.samples, one.windows) == (drive, one.drive.samples * 16, taken.windows)
    assert rooms(store.folder)[0].drive.samples == 900


def test_a_file_that_goes_while_sizes_are_added_is_passed_over(store, monkeypatch):
    """A window's file has another name until it is whole, and SQLite's log comes and goes."""
    (store.folder / "here").write_bytes(b"1234")
    (store.folder / "gone").write_bytes(b"5")
    real = Path.is_file

    def goes(path):
        if path.name == "gone":
            path.unlink(missing_ok=True)
            return True
        return real(path)

    before = room(store.folder).total - 1
    monkeypatch.setattr(Path, "is_file", goes)
    assert room(store.folder).total == before


def test_a_drive_goes_with_everything_and_the_others_stay(store):
    """Rows of every table, files, and the bytes themselves."""
    first = record(store)
    store.clock.now_us += 5_000_000
    second = record(store)
    remove_drive(store, first)
    assert [row.id for row in store.drives()] == [second]
    assert not (store.folder / "windows" / first).exists()
    assert list(check(store.folder)) == []
    db = sqlite3.connect(store.path)
    for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'").fetchall():
        columns = {row[1] for row in db.execute(f"PRAGMA table_info({table})")}
        if "drive" in columns:
            assert {k for (k,) in db.execute(f"SELECT DISTINCT drive FROM {table}")} <= {2}, table
    db.close()
    with pytest.raises(NotFound):
        remove_drive(store, first)


def test_what_was_removed_cannot_be_read_from_the_file(tmp_path):
    """Free pages are overwritten, and given back when asked."""
    folder = tmp_path / "data"
    with Store(folder, HandClock()) as store:
        drive, log = store.create_drive(NewDrive(b"SECRET-RECIPE", "abc", "x.toml", "X", 2, "{}", "[]", 1))
        for k in range(5_000):
            log.samples_at(k * 10_000, {"road_speed": float(k)})
        log.end(0)
        done = threading.Event()
        log.settle(lambda _: done.set())
        assert done.wait(60)
        remove_drive(store, drive)
        with pytest.raises(StoreError, match="another coach"):
            compact(folder)
    before = (folder / "coach.db").stat().st_size
    assert b"SECRET" not in (folder / "coach.db").read_bytes()
    assert compact(folder) > 50_000
    assert (folder / "coach.db").stat().st_size < before / 1.5
    with pytest.raises(StoreError, match="no data here"):
        compact(tmp_path)


def test_a_drive_that_is_being_recorded_is_not_removed(store):
    drive, _ = store.create_drive(NEW)
    with pytest.raises(Conflict, match="stop it first"):
        remove_drive(store, drive)
    with pytest.raises(Conflict, match="stop it first"):
        store.delete_drive(drive)
    assert store.drives()[0].id == drive


def test_files_that_cannot_be_removed_are_said(store, monkeypatch):
    """The rows are gone by then; the files are found by whoever looks."""
    drive = record(store)

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("shutil.rmtree", refuse)
    with pytest.raises(StoreError, match="cannot be written"):
        remove_drive(store, drive)


def test_nothing_goes_by_itself(tmp_path):
    """Opening an old folder years later removes nothing."""
    clock = HandClock()
    with Store(tmp_path / "data", clock) as store:
        drive = record(store)
        taken = sorted(p.name for p in store.folder.rglob("*"))
    clock.now_us += 10 * 365 * 86_400 * 1_000_000
    with Store(tmp_path / "data", clock) as store:
        assert [row.id for row in store.drives()] == [drive]
        assert sorted(p.name for p in store.folder.rglob("*")) == taken


def test_damage_is_found(store):
    """A block whose bytes changed, a file of a window that changed, and one that is gone."""
    drive = record(store, 14.0)
    assert list(check(store.folder)) == []
    store._writer.call(lambda db: db.execute("UPDATE blocks SET data = zeroblob(length(data)) WHERE sequence=2"))
    rows = store.windows(drive)
    (store.folder / rows[0].path).write_text("x")
    (store.folder / rows[1].path).unlink()
    assert list(check(store.folder)) == [
        f"{drive}: 1 blocks of samples are damaged",
        f"{drive}: the file {rows[0].path} is not as it was saved",
        f"{drive}: the file {rows[1].path} is gone",
    ]


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX")
def test_every_file_and_folder_of_a_drive_is_its_owners_alone(tmp_path):
    """With windows, in folders that were made on the way, and whatever the system's default is."""
    before = os.umask(0)
    try:
        with Store(tmp_path / "a" / "b" / "data", HandClock()) as store:
            record(store)
            made = [tmp_path / "a", *(tmp_path / "a").rglob("*")]
            assert len([p for p in made if p.suffix == ".csv"]) >= 1
            assert {"coach.db-wal", "coach.db-shm", "coach.lock"} <= {p.name for p in made}
            for path in made:
                assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path
    finally:
        os.umask(before)
