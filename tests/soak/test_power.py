"""A drive on a disk that forgets what was not synced, with the power cut at many moments of it."""

import sys

import pytest

from coach.soak.power import cut_power
from coach.soak.sqlite import there
from coach.store import files, store, writer

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or not there(), reason="a disk can be watched on Linux, where SQLite's library is shared"
)
SECONDS = 6.0


def test_nothing_that_was_promised_is_lost(tmp_path):
    """At every moment looked at, with nothing of what was not synced on the disk, and with a part of it."""
    cuts = cut_power(tmp_path, 24, seconds=SECONDS)
    assert cuts.broken == []
    assert cuts.images >= 20
    assert cuts.told >= 10
    assert cuts.saved >= 2
    assert set(cuts.sites) == {"folder", "sync", "open", "write", "rename", "end"}


def no_sync(monkeypatch):
    """A database that leaves the syncing to the system."""

    def connect(path):
        db = original(path)
        db.execute("PRAGMA synchronous=OFF")
        return db

    original = writer.connect
    monkeypatch.setattr(store, "connect", connect)


def lazy(monkeypatch):
    """A database that syncs only when it tidies up: what a commit returned for may be gone."""

    def connect(path):
        db = original(path)
        db.execute("PRAGMA synchronous=NORMAL")
        return db

    original = writer.connect
    monkeypatch.setattr(store, "connect", connect)


def no_names(monkeypatch):
    """Folders whose names nobody syncs."""
    monkeypatch.setattr(files, "sync_folder", lambda path: None)


class Forgetting:
    """A file that is never synced."""

    def __init__(self, real):
        self.real = real

    def __getattr__(self, name):
        if name == "fsync":
            return lambda handle: None
        return getattr(self.real, name)


def no_content(monkeypatch):
    """Files that get their name before their content."""
    monkeypatch.setattr(files, "os", Forgetting(files.os))


@pytest.mark.parametrize("fault", [no_sync, lazy, no_names, no_content])
def test_the_disk_shows_what_a_program_without_care_loses(tmp_path, monkeypatch, fault):
    """The check of the check: each of these breaks a promise."""
    fault(monkeypatch)
    assert cut_power(tmp_path, 12, seconds=4.5).broken
