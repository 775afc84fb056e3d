"""Standing between SQLite and its files: every write and sync of it is seen, and only while it is watched."""

import sqlite3
import sys

import pytest

from coach.soak.sqlite import OK, there, watching

pytestmark = pytest.mark.skipif(sys.platform == "win32" or not there(), reason="this SQLite cannot be watched")


class Seen:
    def __init__(self):
        self.calls = []

    def wrote(self, path, offset, data):
        self.calls.append(("wrote", path.rpartition("/")[2], len(data)))
        return OK

    def cut(self, path, size):
        self.calls.append(("cut", path.rpartition("/")[2], size))
        return OK

    def syncing(self, path):
        return OK

    def synced(self, path, *, folder):
        self.calls.append(("synced", path.rpartition("/")[2], folder))


def test_a_commit_is_written_to_the_log_and_synced(tmp_path):
    """The first sync of a new log syncs its folder as well, the next ones do not."""
    seen = Seen()
    with watching(seen):
        db = sqlite3.connect(tmp_path / "x.db", isolation_level=None)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("CREATE TABLE t (x)")
        seen.calls.clear()
        db.execute("INSERT INTO t VALUES (1)")
        assert {name for _, name, _ in seen.calls} == {"x.db-wal"}
        assert seen.calls[-1] == ("synced", "x.db-wal", False)
        assert sum(size for what, _, size in seen.calls if what == "wrote") == 4096 + 24
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        assert ("synced", "x.db", False) in seen.calls
        assert ("cut", "x.db-wal", 0) in seen.calls
        db.close()
    seen.calls.clear()
    after = sqlite3.connect(tmp_path / "x.db", isolation_level=None)
    after.execute("INSERT INTO t VALUES (2)")
    after.close()
    assert seen.calls == []


def test_a_connection_that_outlives_the_watching_goes_on(tmp_path):
    seen = Seen()
    with watching(seen):
        db = sqlite3.connect(tmp_path / "x.db", isolation_level=None)
        db.execute("CREATE TABLE t (x)")
    db.execute("INSERT INTO t VALUES (1)")
    assert db.execute("SELECT x FROM t").fetchall() == [(1,)]
    db.close()
