"""What takes room in a data folder, and what is asked for to be taken out of it: nothing ever goes by itself."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from coach.errors import Conflict, StoreError
from coach.store.files import store_error
from coach.store.lock import FolderLock
from coach.store.model import DriveRow
from coach.store.reading import Reader
from coach.store.store import DATABASE, WINDOWS, Store
from coach.store.writer import connect


@dataclass(frozen=True, slots=True)
class Room:
    """What a data folder takes, in bytes: in all, its database with the log, files of windows, and what is free."""

    total: int
    database: int
    windows: int
    free: int


@dataclass(frozen=True, slots=True)
class DriveRoom:
    """What one drive takes, in bytes: its samples in the database (without what SQLite adds), its windows' files."""

    drive: DriveRow
    samples: int
    windows: int


def room(folder: Path) -> Room:
    """Adds up what the data folder takes. Raises StoreError."""
    try:
        files = list(_sizes(folder))
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise store_error(error, folder) from error
    windows = sum(size for p, size in files if p.relative_to(folder).parts[0] == WINDOWS)
    database = sum(size for p, size in files if p.parent == folder and p.name.startswith(DATABASE))
    return Room(sum(size for _, size in files), database, windows, free)


def rooms(folder: Path) -> list[DriveRoom]:
    """The drives with what each takes, the newest first. Raises StoreError."""
    reader = Reader(folder / DATABASE)
    sizes = reader.block_bytes()
    return [DriveRoom(row, sizes.get(row.key, 0), _windows(folder, row.id)) for row in reader.drives()]


def _windows(folder: Path, drive: str) -> int:
    return sum(size for _, size in _sizes(folder / WINDOWS / drive))


def _sizes(folder: Path) -> Iterator[tuple[Path, int]]:
    """Every file below a folder with its size; one that goes meanwhile, while a drive is recorded, is passed over."""
    for path in folder.rglob("*"):
        with contextlib.suppress(FileNotFoundError):
            if path.is_file():
                yield path, path.stat().st_size


def remove_drive(store: Store, drive: str) -> None:
    """Takes a drive out, with its windows' files; what its rows held is overwritten.

    Raises:
        NotFound: there is no such drive.
        Conflict: it is being recorded.
        StoreError: it could not be written; the drive is there or gone, never half.
    """
    row = store.drive(drive)
    if row.phase != "ended":
        raise Conflict("this drive is being recorded; stop it first", where=drive)
    store.delete_drive(drive)
    try:
        # After the rows: files without a row are found by `check`, rows without files would be taken for saved.
        shutil.rmtree(store.folder / WINDOWS / drive, ignore_errors=False)
    except FileNotFoundError:
        return
    except OSError as error:
        raise store_error(error, store.folder) from error


def compact(folder: Path) -> int:
    """Gives room that removed drives have left back to the system; says how many bytes. Nobody may have it open.

    Raises:
        StoreError: another process has the folder, or there is not room for a second copy meanwhile.
    """
    path = folder / DATABASE
    if not path.exists():
        raise StoreError("there is no data here yet", where=str(folder))
    lock = FolderLock(folder)
    try:
        before = room(folder).database
        db = connect(path)
        try:
            db.execute("VACUUM")
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            db.close()
        return max(0, before - room(folder).database)
    except (sqlite3.Error, OSError) as error:
        raise error if isinstance(error, StoreError) else store_error(error, path) from error
    finally:
        lock.release()


def check(folder: Path) -> Iterator[str]:
    """What is wrong with a data folder, a sentence each: damaged pages and blocks, files of windows that changed."""
    reader = Reader(folder / DATABASE)
    try:
        yield from reader.damage()
        drives = reader.drives()
    except StoreError as error:
        yield str(error)
        return
    for row in drives:
        try:
            bad = [n for n in reader.recording(row.id).notes if n.code == "damaged_blocks"]
            windows = reader.windows(row.id)
        except StoreError as error:
            yield f"{row.id}: {error.message}"
            continue
        yield from (f"{row.id}: {n.count} blocks of samples are damaged" for n in bad)
        for window in windows:
            path = folder / window.path
            if not path.is_file():
                yield f"{row.id}: the file {window.path} is gone"
            elif hashlib.sha256(path.read_bytes()).hexdigest() != window.sha256:
                yield f"{row.id}: the file {window.path} is not as it was saved"
