"""The data folder as a whole: lock, database, writer, window files."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Self
from urllib.parse import quote

from coach.clock import Clock, wall_text
from coach.core.events import Attempt, Event
from coach.errors import Conflict, StoreError
from coach.store.codec import dump_event, type_name
from coach.store.drivelog import DriveLog, insert_attempt, insert_window
from coach.store.files import make_folder, private_file, store_error, sweep, sync_folder
from coach.store.labels import Label, write_label
from coach.store.lock import FolderLock
from coach.store.model import NewDrive, RecipeRow, WindowRow
from coach.store.reading import Reader
from coach.store.schema import VERSION, migrate, version_of
from coach.store.writer import Writer, connect

DATABASE = "coach.db"
WINDOWS = "windows"


class Store(Reader):
    """One data folder, opened for writing by one process.

    Args:
        folder: made when missing.
        clock: for times of creation.

    Raises:
        StoreError: the folder cannot be used, or another process has it.
    """

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder = folder
        self.clock = clock
        super().__init__(folder / DATABASE)
        make_folder(folder)
        self._lock = FolderLock(folder)
        try:
            private_file(self.path)
            sync_folder(folder)
            db = connect(self.path)
            try:
                migrate(db, clock.wall_us())
            except BaseException:
                db.close()
                raise
            sweep(folder)
        except (sqlite3.Error, OSError) as error:
            self._lock.release()
            raise error if isinstance(error, StoreError) else store_error(error, self.path) from error
        self._writer = Writer(db, self.path, clock)

    def close(self) -> None:
        """Writes what is queued and lets the folder go. May be called twice."""
        self._writer.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- recipes

    def add_recipe(self, sha: str, name: str, body: bytes, title: str, revision: int) -> RecipeRow:
        """Keeps a recipe as received; one that is there already stays as it was. Raises StoreError."""
        row = (sha, name, body, title, revision, self.clock.wall_us())
        self._writer.call(lambda db: db.execute("INSERT OR IGNORE INTO recipes VALUES (?, ?, ?, ?, ?, ?)", row))
        return self.recipe(sha)

    # --- drives

    def create_drive(self, new: NewDrive) -> tuple[str, DriveLog]:
        """A new drive, durable when this returns: its id and its writing end.

        Raises:
            Conflict: a drive is open already.
            StoreError: it could not be written.
        """
        now = self.clock.wall_us()
        name = wall_text(now)[:19].replace("-", "").replace("T", "-").replace(":", "")

        def work(db: sqlite3.Connection) -> tuple[str, int]:
            if db.execute("SELECT 1 FROM drives WHERE phase <> 'ended'").fetchone():
                raise Conflict("a drive is being recorded already; stop it first")
            drive, n = name, 2
            while db.execute("SELECT 1 FROM drives WHERE id=?", (drive,)).fetchone():
                drive, n = f"{name}-{n}", n + 1
            cursor = db.execute(
                "INSERT INTO drives (id, created_wall_us, phase, recipe, recipe_sha, recipe_name, title, revision,"
                " vehicle, vehicle_name, plan, catalogue, rules, source, around)"
                " VALUES (?, ?, 'recording', ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    drive, now, new.recipe, new.recipe_sha, new.recipe_name, new.title, new.revision, new.vehicle,
                    new.vehicle_name, new.plan, new.catalogue, new.rules, json.dumps(dict(new.source)),
                    json.dumps({capture: [a.before_us, a.after_us] for capture, a in new.around.items()}),
                ),
            )  # fmt: skip
            return drive, int(cursor.lastrowid or 0)

        drive, key = self._writer.call(work)
        return drive, DriveLog(self._writer, key, new.recipe_sha, new.rules)

    def left_open(self) -> list[str]:
        """Drives that nobody closed, oldest first: after a crash, those to recover."""
        return [d.id for d in reversed(self.drives()) if d.phase != "ended"]

    def close_recovered(self, drive: str) -> None:
        """Closes a drive that a crash left open, and says so in it. Raises NotFound, StoreError."""
        key = self.drive(drive).key
        self._writer.call(lambda db: db.execute("UPDATE drives SET phase='ended', recovered=1 WHERE key=?", (key,)))

    def delete_drive(self, drive: str) -> None:
        """Takes the rows of a drive out and overwrites what they held. Raises NotFound, Conflict, StoreError."""
        key = self.drive(drive).key

        def work(db: sqlite3.Connection) -> None:
            if db.execute("SELECT 1 FROM drives WHERE key=? AND phase <> 'ended'", (key,)).fetchone():
                raise Conflict("this drive is being recorded; stop it first", where=drive)
            db.execute("DELETE FROM drives WHERE key=?", (key,))

        self._writer.call(work)

    def put_attempts(self, drive: str, recipe_sha: str, rules: int, attempts: Sequence[Attempt]) -> None:
        """Replaces the cached attempts of a drive under a recipe and rules. Raises NotFound, StoreError."""
        key = self.drive(drive).key

        def work(db: sqlite3.Connection) -> None:
            db.execute("DELETE FROM attempts WHERE drive=? AND recipe_sha=? AND rules=?", (key, recipe_sha, rules))
            for attempt in attempts:
                insert_attempt(db, key, recipe_sha, rules, attempt)

        self._writer.call(work)

    def put_events(self, drive: str, events: Sequence[Event]) -> None:
        """Replaces the stored events of a drive: after a crash those of the verdict stand. Raises StoreError."""
        key = self.drive(drive).key

        def work(db: sqlite3.Connection) -> None:
            db.execute("DELETE FROM events WHERE drive=?", (key,))
            rows = ((key, n, e.t_us, type_name(e), dump_event(e)) for n, e in enumerate(events))
            db.executemany("INSERT INTO events VALUES (?, ?, ?, ?, ?)", rows)

        self._writer.call(work)

    def put_verdict(self, drive: str, recipe_sha: str, rules: int, body: str) -> None:
        """Caches a verdict's JSON text. Raises NotFound, StoreError."""
        key = self.drive(drive).key
        row = (key, recipe_sha, rules, body)
        self._writer.call(lambda db: db.execute("INSERT OR REPLACE INTO verdicts VALUES (?, ?, ?, ?)", row))

    def put_label(self, drive: str, label: Label) -> None:
        """Replaces what people wrote on a drive. Raises NotFound, StoreError."""
        key = self.drive(drive).key
        self._writer.call(lambda db: write_label(db, key, label))

    def put_window(self, drive: str, row: WindowRow) -> None:
        """Records that a window's file is durable. Raises NotFound, StoreError."""
        key = self.drive(drive).key
        self._writer.call(lambda db: insert_window(db, key, row))

    # --- the folder

    def window_path(self, drive: str, capture: str, number: int) -> Path:
        """Where the file of a window stands."""
        return window_path(self.folder, drive, capture, number)

    def free_bytes(self) -> int:
        """Room left where the folder is. Raises StoreError."""
        try:
            return shutil.disk_usage(self.folder).free
        except OSError as error:
            raise store_error(error, self.folder) from error

    def settle(self, done: Callable[[], None]) -> None:
        """Calls `done`, in another thread, once all that was handed in until now is durable or has failed."""
        self._writer.post(lambda _: None, lambda _: done(), wait=False)

    def schema(self) -> tuple[int, int]:
        """Version of the database's schema, and the one this program writes."""
        with self._open() as db:
            return version_of(db), VERSION


def window_path(folder: Path, drive: str, capture: str, number: int) -> Path:
    """Where the file of a window stands below a data folder; numbers in file names count from 1."""
    return folder / WINDOWS / drive / f"{quote(capture, safe='')}-{number + 1}.csv"
