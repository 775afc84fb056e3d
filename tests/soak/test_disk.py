"""The disk that forgets: content counts from its sync on, a name from the sync of its folder."""

import os
import random
import sqlite3
import sys

import pytest

from coach.soak.disk import Disk
from coach.soak.sqlite import there

pytestmark = pytest.mark.skipif(sys.platform != "linux" or not there(), reason="watched on Linux only")


def sync(path):
    handle = os.open(path, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)


def laid(disk, folder, chance=None):
    disk.image().lay(folder, chance)
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def base(tmp_path):
    folder = tmp_path / "base"
    folder.mkdir()
    return folder


def test_a_file_is_there_once_it_and_its_folder_are_synced(base, tmp_path):
    disk = Disk(base)
    with disk.watched():
        (base / "a").write_bytes(b"first")
        assert laid(disk, tmp_path / "1") == {}
        sync(base / "a")
        assert laid(disk, tmp_path / "2") == {}
        sync(base)
        assert laid(disk, tmp_path / "3") == {"a": b"first"}
        (base / "a").write_bytes(b"second")
        assert laid(disk, tmp_path / "4") == {"a": b"first"}
        (base / "b").write_bytes(b"x")
        sync(base)
        assert laid(disk, tmp_path / "5") == {"a": b"first", "b": b""}


def test_a_rename_counts_from_the_sync_of_the_folder(base, tmp_path):
    disk = Disk(base)
    with disk.watched():
        (base / "a").write_bytes(b"old")
        (base / "a.part").write_bytes(b"new")
        sync(base / "a")
        sync(base / "a.part")
        sync(base)
        (base / "a.part").replace(base / "a")
        assert laid(disk, tmp_path / "1") == {"a": b"old", "a.part": b"new"}
        sync(base)
        assert laid(disk, tmp_path / "2") == {"a": b"new"}


def test_a_folder_needs_its_own_name_too(base, tmp_path):
    disk = Disk(base)
    with disk.watched():
        (base / "x").mkdir()
        (base / "x" / "a").write_bytes(b"1")
        sync(base / "x" / "a")
        sync(base / "x")
        assert laid(disk, tmp_path / "1") == {}
        sync(base)
        assert laid(disk, tmp_path / "2") == {"x/a": b"1"}


def test_a_commit_with_sync_is_there_and_one_without_is_not(base, tmp_path):
    """SQLite is watched too; what it wrote and did not sync may be there in part."""
    disk = Disk(base)
    with disk.watched():
        db = sqlite3.connect(base / "x.db", isolation_level=None)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("CREATE TABLE t (x)")
        db.execute("INSERT INTO t VALUES (1)")
        disk.image().lay(tmp_path / "1")
        db.execute("PRAGMA synchronous=OFF")
        db.execute("INSERT INTO t VALUES (2)")
        disk.image().lay(tmp_path / "2")
        disk.image().lay(tmp_path / "3", random.Random(1))
        db.close()
    assert rows(tmp_path / "1") == rows(tmp_path / "2") == [1]
    assert rows(tmp_path / "3") in ([1], [1, 2])


def rows(folder):
    db = sqlite3.connect(folder / "x.db")
    found = [x for (x,) in db.execute("SELECT x FROM t")]
    db.close()
    return found


def test_what_is_refused_is_not_done(base):
    """An error of the watcher is the program's error; SQLite's has its own words."""
    refuse = []

    def at_each(site):
        if site in refuse:
            raise OSError(28, "No space left on device")

    with Disk(base, at_each).watched():
        db = sqlite3.connect(base / "x.db", isolation_level=None)
        db.execute("CREATE TABLE t (x)")
        refuse.append("write")
        with pytest.raises(sqlite3.OperationalError, match="full"):
            db.execute("INSERT INTO t VALUES (1)")
        refuse[:] = ["sync"]
        with pytest.raises(sqlite3.OperationalError, match="I/O"):
            db.execute("INSERT INTO t VALUES (1)")
        refuse[:] = ["open", "folder", "rename"]
        for work in (
            lambda: os.open(base / "n", os.O_CREAT | os.O_WRONLY), (base / "n").mkdir,
            lambda: (base / "x.db").replace(base / "n"),
        ):  # fmt: skip
            with pytest.raises(OSError, match="No space"):
                work()
        refuse.clear()
        db.execute("INSERT INTO t VALUES (3)")
        assert db.execute("SELECT x FROM t").fetchall() == [(3,)]
        db.close()
    assert [p.name for p in base.iterdir()] == ["x.db"]
