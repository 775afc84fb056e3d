"""Reading the database: each call opens a connection, so that any thread or process may read while one writes."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from coach.core.events import Attempt
from coach.errors import NotFound, StoreError
from coach.recording import US, Mark, Note, Recording, Series
from coach.store.blocks import decode, to_series
from coach.store.codec import load_attempt, load_event
from coach.store.files import store_error
from coach.store.labels import Label, read_label, read_labels
from coach.store.model import Around, DriveRow, RecipeRow, StoredEvent, WindowRow

_DRIVE = """
SELECT d.id, d.key, d.created_wall_us, d.ended_wall_us, d.anchor_wall_us,
  coalesce(p.last_us, 0), coalesce(p.samples, 0), p.promised_us,
  d.phase, d.recovered, d.error, d.recipe, d.recipe_sha, d.recipe_name, d.title, d.revision,
  d.vehicle, d.vehicle_name, d.plan, d.catalogue, d.rules, d.source, d.around
FROM drives d LEFT JOIN progress p ON p.drive = d.key
"""


class Reader:
    """What can be asked of the database at `path`."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            db = _read_only(self.path)
            try:
                yield db
            finally:
                db.close()
        except sqlite3.Error as error:
            raise store_error(error, self.path) from error

    def recipes(self) -> list[RecipeRow]:
        """Uploaded recipes, the newest first."""
        with self._open() as db:
            rows = db.execute(
                "SELECT sha, name, body, title, revision, added_wall_us FROM recipes ORDER BY added_wall_us DESC, sha"
            )
            return [RecipeRow(*row) for row in rows]

    def recipe(self, sha: str) -> RecipeRow:
        """One uploaded recipe. Raises NotFound."""
        with self._open() as db:
            row = db.execute(
                "SELECT sha, name, body, title, revision, added_wall_us FROM recipes WHERE sha=?", (sha,)
            ).fetchone()
        if row is None:
            raise NotFound("there is no such recipe", where=sha)
        return RecipeRow(*row)

    def drives(self) -> list[DriveRow]:
        """All drives, the newest first."""
        with self._open() as db:
            return [_drive(row) for row in db.execute(_DRIVE + "ORDER BY d.key DESC")]

    def drive(self, drive: str) -> DriveRow:
        """One drive. Raises NotFound."""
        with self._open() as db:
            row = db.execute(_DRIVE + "WHERE d.id=?", (drive,)).fetchone()
        if row is None:
            raise NotFound("there is no such drive", where=drive)
        return _drive(row)

    def recording(self, drive: str, first_us: int | None = None, last_us: int | None = None) -> Recording:
        """The drive in arrays, or the part of it from `first_us` to `last_us`, both inclusive.

        Blocks whose checksum is wrong are left out; a note says how many. Raises NotFound.
        """
        row = self.drive(drive)
        query = "SELECT first_us, last_us, count, format, checksum, data FROM blocks WHERE drive=?"
        some: list[int] = [row.key]
        if first_us is not None:
            query += " AND last_us >= ?"
            some.append(first_us)
        if last_us is not None:
            query += " AND first_us <= ?"
            some.append(last_us)
        with self._open() as db:
            names = _names(db, row.key)
            samples = decode(db.execute(query + " ORDER BY sequence", some))
            jumps = db.execute("SELECT t_us, jump_us FROM clock_jumps WHERE drive=? ORDER BY sequence", (row.key,))
            clock = tuple(_clock_note(t_us, jump_us) for t_us, jump_us in jumps)
        series, notes = to_series(samples, names)
        if first_us is not None or last_us is not None:
            series = {n: c for n, s in series.items() if len(c := _cut(s, first_us, last_us))}
        end_us = row.promised_us if last_us is None else None
        return Recording(
            series, marks=self.marks(drive), wall_us=row.anchor_wall_us, end_us=end_us, notes=(*notes, *clock),
            meta=dict(row.source),
        )  # fmt: skip

    def block_bytes(self) -> dict[int, int]:
        """Bytes of samples by the drive's key. Raises StoreError."""
        with self._open() as db:
            return {int(k): int(n) for k, n in db.execute("SELECT drive, sum(length(data)) FROM blocks GROUP BY drive")}

    def damage(self) -> list[str]:
        """What SQLite finds wrong with the database; nothing when it is sound. Raises StoreError."""
        with self._open() as db:
            return [str(text) for (text,) in db.execute("PRAGMA integrity_check(20)") if text != "ok"]

    def signals(self, drive: str) -> list[str]:
        """Names of the signals that the drive has samples of, in the order in which they came. Raises NotFound."""
        key = self.drive(drive).key
        with self._open() as db:
            return _names(db, key)

    def marks(self, drive: str) -> tuple[Mark, ...]:
        """What people said, in order. Raises NotFound."""
        key = self.drive(drive).key
        with self._open() as db:
            rows = db.execute("SELECT t_us, kind, capture, text FROM marks WHERE drive=? ORDER BY sequence", (key,))
            return tuple(Mark(*row) for row in rows)

    def events(self, drive: str) -> list[StoredEvent]:
        """Events of the judge as they were said live, in order. Raises NotFound."""
        key = self.drive(drive).key
        with self._open() as db:
            rows = db.execute("SELECT sequence, type, body FROM events WHERE drive=? ORDER BY sequence", (key,))
            return [StoredEvent(n, load_event(kind, body)) for n, kind, body in rows]

    def attempts(self, drive: str, recipe_sha: str | None = None, rules: int | None = None) -> list[Attempt]:
        """Cached attempts under a recipe and rules (the drive's own unless given), by capture and number."""
        row = self.drive(drive)
        asked = (row.key, recipe_sha or row.recipe_sha, row.rules if rules is None else rules)
        with self._open() as db:
            rows = db.execute(
                "SELECT body FROM attempts WHERE drive=? AND recipe_sha=? AND rules=? ORDER BY capture, number", asked
            )
            return [load_attempt(body) for (body,) in rows]

    def secured_counts(self, drive: str) -> dict[str, int]:
        """How many attempts of each capture were secured, under the drive's own recipe and rules. Raises NotFound."""
        row = self.drive(drive)
        with self._open() as db:
            rows = db.execute(
                "SELECT capture, count(*) FROM attempts WHERE drive=? AND recipe_sha=? AND rules=?"
                " AND json_extract(body, '$.secured_us') IS NOT NULL GROUP BY capture",
                (row.key, row.recipe_sha, row.rules),
            )
            return {str(capture): int(count) for capture, count in rows}

    def label(self, drive: str) -> Label:
        """What people wrote on a drive. Raises NotFound."""
        key = self.drive(drive).key
        with self._open() as db:
            return read_label(db, key)

    def labels(self) -> dict[int, Label]:
        """What people wrote, by the key of the drive."""
        with self._open() as db:
            return read_labels(db)

    def unsaved(self) -> list[tuple[str, Attempt]]:
        """Secured attempts of finished drives whose whole file is not durable."""
        with self._open() as db:
            rows = db.execute(
                "SELECT d.id, a.body FROM attempts a JOIN drives d ON d.key = a.drive AND d.recipe_sha = a.recipe_sha"
                " AND d.rules = a.rules LEFT JOIN windows w ON w.drive = a.drive AND w.capture = a.capture"
                " AND w.number = a.number AND w.whole WHERE d.phase = 'ended' AND w.drive IS NULL"
                " AND json_extract(a.body, '$.outcome') = 'secured' ORDER BY d.key, a.capture, a.number"
            )
            return [(drive, load_attempt(body)) for drive, body in rows]

    def verdict(self, drive: str, recipe_sha: str | None = None, rules: int | None = None) -> str | None:
        """The cached verdict as JSON text, or None."""
        row = self.drive(drive)
        asked = (row.key, recipe_sha or row.recipe_sha, row.rules if rules is None else rules)
        with self._open() as db:
            found = db.execute("SELECT body FROM verdicts WHERE drive=? AND recipe_sha=? AND rules=?", asked).fetchone()
        return None if found is None else str(found[0])

    def windows(self, drive: str) -> list[WindowRow]:
        """Window files that are durable. Raises NotFound."""
        key = self.drive(drive).key
        with self._open() as db:
            rows = db.execute(
                "SELECT capture, number, whole, path, sha256, size, saved_wall_us FROM windows WHERE drive=?"
                " ORDER BY capture, number",
                (key,),
            )
            return [WindowRow(c, n, bool(w), p, h, s, t) for c, n, w, p, h, s, t in rows]


def _read_only(path: Path) -> sqlite3.Connection:
    if not path.exists():
        raise StoreError("there is no data here yet", where=str(path.parent))
    address = path.resolve().as_uri()
    waits = path.with_name(path.name + "-wal").exists()
    # In a folder that cannot be written SQLite cannot make its shared index; without a log nothing is missed.
    mode = "ro" if waits or os.access(path.parent, os.W_OK) else "ro&immutable=1"
    try:
        db = sqlite3.connect(f"{address}?mode={mode}", uri=True, timeout=5.0)
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        # No one has the database open, so the index is not there: an ordinary connection makes it.
        db = sqlite3.connect(path, timeout=5.0)
        db.execute("PRAGMA query_only=ON")
    return db


def _clock_note(t_us: int, jump_us: int) -> Note:
    way = "forward" if jump_us > 0 else "back"
    text = (
        f"The system's clock was set {way} by {abs(jump_us) / US:.0f} s, {t_us / US:.1f} s into the drive;"
        " the drive's own times did not follow it."
    )
    return Note("clock_jumped", text)


def _names(db: sqlite3.Connection, key: int) -> list[str]:
    return [n for (n,) in db.execute("SELECT name FROM signals WHERE drive=? ORDER BY number", (key,))]


def _cut(series: Series, first_us: int | None, last_us: int | None) -> Series:
    start = 0 if first_us is None else int(series.t_us.searchsorted(first_us, side="left"))
    stop = len(series) if last_us is None else int(series.t_us.searchsorted(last_us, side="right"))
    return Series(series.t_us[start:stop], series.value[start:stop])


def _drive(row: tuple[object, ...]) -> DriveRow:
    values = list(row)
    values[9] = bool(values[9])
    try:
        values[21] = json.loads(str(values[21]))
        values[22] = {capture: Around(*pair) for capture, pair in json.loads(str(values[22])).items()}
    except (ValueError, TypeError, AttributeError) as error:
        raise StoreError(
            "the database is damaged; `coach data rescue` exports what is readable", where=f"drive {values[0]}"
        ) from error
    return DriveRow(*values)  # type: ignore[arg-type]  # the columns stand in the dataclass's order
