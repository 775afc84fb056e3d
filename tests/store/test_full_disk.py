"""A full disk, at every single place where something is written: one sentence, and what was stored stays readable."""

import errno
import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.errors import StoreError
from coach.soak.disk import Disk
from coach.soak.made import Made, recording, setup
from coach.soak.promise import Told, reopen
from coach.soak.sqlite import there
from coach.store import Store
from coach.store.reading import Reader

SECONDS = 4.0
FAULT = "the disk does not take what is written; look after it, what was stored so far stays readable"
SENTENCES = (FAULT, "the data folder cannot be")
FULL = "the disk is full; make room, what was stored so far stays readable"

COACH = "from coach.cli import main; main()"
SERVE = ("serve", "--no-open", "--port", "0", "--data")

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="a disk is watched on Linux only")


class Room:
    """Lets so many writes and syncs pass and no more; or refuses only one."""

    def __init__(self, most, *, once=False):
        self.most, self.once, self.used, self.refused = most, once, 0, []

    def __call__(self, site):
        self.used += 1
        if self.used == self.most + 1 or (self.used > self.most and not self.once):
            self.refused.append(site)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def record(base, room):
    """A drive on a disk with so much room: what was told of it, and every sentence that was said."""
    said, told = [], Told()
    base.mkdir()
    with Disk(base, room).watched():
        try:
            with Store(base / "data", HandClock()) as store:
                ring = Ring(10_000)
                drive = Drive(setup(Made(SECONDS)), store, InPlace(store.folder), store.clock, ring)
                drive.start()
                assert drive.wait(60)
                saved = {(m.data["capture"], m.data["number"]) for m in ring.since(0) if m.kind == "saved"}
                said += [m.data["error"] for m in ring.since(0) if m.kind == "not_saved"]
                said += [drive.error] if drive.error else []
                told = Told(drive.id, drive.stored_us, frozenset(saved))
        except StoreError as error:
            said.append(error.message)
    return told, said


@pytest.mark.skipif(not there(), reason="this Python's SQLite cannot be watched")
@pytest.mark.parametrize("once", [False, True])
def test_whatever_cannot_be_written_costs_no_more_than_what_comes_after_it(tmp_path, once):
    """Every site in turn: no traceback, no hang; a sentence, unless the write was one that nothing rests on."""
    whole = recording(SECONDS)
    room = Room(10**9)
    record(tmp_path / "whole", room)
    sites, silent = room.used, []
    assert sites > 40
    for most in range(0, sites, 5 if once else 1):
        room = Room(most, once=once)
        base = tmp_path / f"{most}"
        told, said = record(base, room)
        if not room.refused:
            continue  # threads shared the writes out otherwise this time, and there were fewer
        if not said:
            silent.append(room.refused[0])
        assert all(s == FULL or s.startswith(SENTENCES) for s in said), (most, said)
        if (base / "data").exists():
            found = reopen(base / "data", told, lambda: whole)
            assert found.broken == [], (most, room.refused[0], said)
    # What was refused without a word was SQLite tidying up: the log is as good as the database.
    assert set(silent) <= {"write", "sync"}
    assert len(silent) < sites / 4


CHILD = """
import json, resource, signal, sys
from pathlib import Path
from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.soak.made import Made, setup
from coach.store import Store
folder, most = Path(sys.argv[1]), int(sys.argv[2])
store = Store(folder, HandClock())
ring = Ring(10_000)
drive = Drive(setup(Made(120.0)), store, InPlace(folder), store.clock, ring)
if most:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
drive.start()
assert drive.wait(60)
print(json.dumps([drive.id, drive.error, drive.stored_us]))
store.close()
if most:
    # What measures this process may write what it likes.
    resource.setrlimit(resource.RLIMIT_FSIZE, (-1, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
"""


def child(folder, most):
    run = subprocess.run(
        [sys.executable, "-c", CHILD, str(folder), str(most)], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert run.stderr == ""
    return json.loads(run.stdout)


def test_the_systems_own_limit_on_a_file_stops_a_drive_as_a_full_disk_does(tmp_path):
    """RLIMIT_FSIZE: the real error of a real write, which SQLite passes on as a fault of the disk."""
    drive, error, stored_us = child(tmp_path / "data", 150_000)
    assert error == FAULT
    assert reopen(tmp_path / "data", Told(drive, stored_us), lambda: recording(120.0)).broken == []
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


def mount(*arguments):
    return subprocess.run(["mount", *arguments], capture_output=True, check=False).returncode == 0


def test_a_real_disk_that_is_full_stops_a_drive(tmp_path):
    """A small file system of its own, where one may be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if not mount("-t", "tmpfs", "-o", "size=360k", "tmpfs", disk):
        pytest.skip("no file system may be mounted here")
    try:
        drive, error, stored_us = child(disk / "data", 0)
        assert error == FULL
        assert stored_us > 0
        kept = tmp_path / "kept"
        subprocess.run(["cp", "-r", disk / "data", kept], check=True)
    finally:
        subprocess.run(["umount", disk], check=True)
    assert reopen(kept, Told(drive, stored_us), lambda: recording(120.0)).broken == []


@pytest.fixture
def read_only_folder(tmp_path):
    """A data folder with a drive in it that may not be written: by its mode, or for the superuser by a mount."""
    disk = tmp_path / "disk"
    disk.mkdir()
    root = os.getuid() == 0
    if root and not mount("-t", "tmpfs", "-o", "size=4m", "tmpfs", disk):
        pytest.skip("no file system may be mounted here")
    try:
        record_plain(disk / "data")
        inside = [disk, *disk.rglob("*")]
        if root:
            assert mount("-o", "remount,ro", disk)
        else:
            for path in inside:
                path.chmod(path.stat().st_mode & ~0o222)
        yield disk / "data"
    finally:
        if root:
            subprocess.run(["umount", disk], check=True)
        else:
            for path in inside:
                path.chmod(path.stat().st_mode | 0o700)


def test_a_folder_that_may_only_be_read_is_refused_for_writing_and_read(read_only_folder):
    """One sentence and exit status 2; and what is in it can be read all the same."""
    with pytest.raises(StoreError, match=r"the data folder cannot be written; allow writing or choose another one$"):
        Store(read_only_folder, HandClock())
    run = subprocess.run(
        [sys.executable, "-c", COACH, *SERVE, str(read_only_folder)], capture_output=True, text=True, check=False,
        timeout=60,
    )  # fmt: skip
    assert run.returncode == 2
    assert run.stderr.endswith("the data folder cannot be written; allow writing or choose another one\n")
    assert len(run.stderr.splitlines()) == 1
    assert Reader(read_only_folder / "coach.db").drives()[0].samples == round(SECONDS * 10) * 15


def test_a_second_server_on_the_same_folder_is_refused(tmp_path):
    """With a sentence and exit status 2, while the first goes on."""
    with Store(tmp_path / "data", HandClock()) as store:
        run = subprocess.run(
            [sys.executable, "-c", COACH, *SERVE, str(store.folder)], capture_output=True, text=True, check=False,
            timeout=60,
        )  # fmt: skip
        assert run.returncode == 2
        assert run.stderr == (
            f"coach: {store.folder}: another coach is using this data folder; stop it, or name another folder\n"
        )
        assert store.drives() == []


def record_plain(folder):
    with Store(folder, HandClock()) as store:
        drive = Drive(setup(Made(SECONDS)), store, InPlace(folder), store.clock, Ring())
        drive.start()
        assert drive.wait(60)
    return Told(drive.id), Path(folder)
