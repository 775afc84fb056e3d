"""Files that are there whole or not at all."""

import errno
import os

import pytest

from coach.errors import StoreError
from coach.store.files import make_folder, store_error, sweep, write_durable


def test_a_file_is_replaced_whole(tmp_path):
    """The new one has the digest and size that are given back."""
    path = tmp_path / "a" / "window.csv"
    assert write_durable(path, lambda f: f.write(b"abc")) == (
        # SHA-256 of "abc": FIPS 180-2, appendix B.1.
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        3,
    )
    write_durable(path, lambda f: f.write(b"defg"))
    assert path.read_bytes() == b"defg"
    assert [p.name for p in path.parent.iterdir()] == ["window.csv"]


@pytest.mark.parametrize("site", ["write", "fsync", "replace"])
def test_a_disk_that_fills_up_leaves_the_old_file(tmp_path, monkeypatch, site):
    """Wherever writing fails, the old file stays, nothing is left over, and a sentence says why."""
    path = tmp_path / "window.csv"
    path.write_bytes(b"old")
    full = OSError(errno.ENOSPC, "No space left on device")

    def fail(*_):
        raise full

    if site == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    if site == "replace":
        monkeypatch.setattr(type(path), "replace", fail)
    with pytest.raises(StoreError, match="disk is full"):
        write_durable(path, fail if site == "write" else lambda f: f.write(b"new"))
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["window.csv"]


def test_the_file_is_synced_before_it_takes_its_name_and_the_folder_after(tmp_path, monkeypatch):
    """The order that survives a power cut: write, fsync, rename, fsync of the folder."""
    told = []
    path = tmp_path / "window.csv"
    sync, replace = os.fsync, type(path).replace
    monkeypatch.setattr(os, "fsync", lambda handle: (told.append(("sync", path.exists())), sync(handle)))
    monkeypatch.setattr(type(path), "replace", lambda a, b: (told.append("rename"), replace(a, b)))
    write_durable(path, lambda f: f.write(b"abc"))
    assert told == [("sync", False), "rename", ("sync", True)]


def test_what_a_crash_left_is_swept_away(tmp_path):
    """Half-written files go when the folder is opened."""
    (tmp_path / "w").mkdir()
    (tmp_path / "w" / "a.csv.part").write_text("half")
    (tmp_path / "w" / "a.csv").write_text("whole")
    assert sweep(tmp_path) == 1
    assert [p.name for p in (tmp_path / "w").iterdir()] == ["a.csv"]


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.ENOSPC, "x"), "disk is full"),
        (OSError(errno.EROFS, "x"), "cannot be written"),
        (OSError(errno.EACCES, "x"), "cannot be written"),
        (OSError(errno.EIO, "input/output error"), "input/output error"),
        (RuntimeError("database disk image is malformed"), "damaged"),
        (RuntimeError("database is locked"), "another program"),
    ],
)
def test_every_failure_has_its_sentence(error, words):
    """The system's errors become words."""
    assert words in store_error(error, "folder").message


def test_a_folder_is_made_with_all_above_it(tmp_path):
    """Missing folders are made, private."""
    make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()
