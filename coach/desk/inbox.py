"""What the calibrator asked for and what came back: bundles kept as they came, checked once, listed by customer.

Stores what it is told and what the check found; it judges nothing itself and reads no clock.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from coach.bundle.child import check_in_child
from coach.bundle.keys import Pin
from coach.bundle.opening import open_bundle
from coach.desk.standing import Asked, Received, standing
from coach.errors import BadInput, CoachError, NotFound
from coach.recipe import parse_recipe
from coach.store.files import make_folder, private_file, store_error, write_durable

DATABASE = "desk.sqlite3"
RECEIVED = "received"
VERSION = 1
MOST_NAME = 80

_TABLES = """
CREATE TABLE IF NOT EXISTS asked (
    customer TEXT NOT NULL, sha256 TEXT NOT NULL, revision INTEGER NOT NULL, title TEXT NOT NULL, recipe BLOB NOT NULL,
    wall_us INTEGER NOT NULL, sent INTEGER NOT NULL, PRIMARY KEY (customer, sha256)
);
CREATE TABLE IF NOT EXISTS received (
    sha256 TEXT PRIMARY KEY, file TEXT NOT NULL, customer TEXT NOT NULL, signer TEXT, vehicle TEXT NOT NULL,
    wall_us INTEGER NOT NULL, found TEXT NOT NULL
);
"""

Check = Callable[[Path, Sequence[Pin]], dict[str, Any]]


class Inbox:
    """The desk's own folder.

    Args:
        folder: the data folder; the desk keeps a database and a folder of bundles in it.
        check: what checks a bundle; a process of its own by default.

    Raises:
        StoreError: it cannot be used.
        BadInput: its database was made by a later version.
    """

    def __init__(self, folder: Path, check: Check = check_in_child) -> None:
        self.folder = folder
        self.bundles = folder / RECEIVED
        self._check = check
        make_folder(self.bundles)
        path = folder / DATABASE
        try:
            private_file(path)
            self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5.0)
            self._db.execute("PRAGMA journal_mode=WAL")
            self._db.execute("PRAGMA synchronous=FULL")
            (version,) = self._db.execute("PRAGMA user_version").fetchone()
            if version > VERSION:
                raise BadInput("the desk's database was made by a later version of this program", where=str(path))
            self._db.executescript(_TABLES)
            self._db.execute(f"PRAGMA user_version={VERSION}")
        except sqlite3.Error as error:
            raise store_error(error, path) from error

    def close(self) -> None:
        """Closes the database."""
        self._db.close()

    # ---- what was asked --------------------------------------------------------------------------

    def ask(self, customer: str, recipe: bytes, wall_us: int, *, sent: bool = True) -> Asked:
        """Keeps a recipe that was sent to a customer, or begun for one. Raises RecipeErrors, BadInput, StoreError."""
        name = _name(customer)
        parsed = parse_recipe(recipe, name="recipe")
        row = Asked(name, parsed.sha256, parsed.revision, parsed.title, wall_us, sent)
        with self._writing():
            if sent:
                # What was begun has been sent now, perhaps after more edits.
                self._db.execute("DELETE FROM asked WHERE customer=? AND sent=0 AND revision<=?", (name, row.revision))
            else:
                self._db.execute("DELETE FROM asked WHERE customer=? AND sent=0", (name,))
            self._db.execute(
                "INSERT INTO asked VALUES (?,?,?,?,?,?,?)"
                " ON CONFLICT DO UPDATE SET wall_us=excluded.wall_us, sent=excluded.sent",
                (name, row.sha256, row.revision, row.title, recipe, wall_us, int(sent)),
            )
        return row

    def recipe(self, sha: str) -> bytes:
        """A recipe as it was kept. Raises NotFound."""
        found = self._db.execute("SELECT recipe FROM asked WHERE sha256=?", (sha,)).fetchone()
        if found is None:
            raise NotFound("no such recipe was sent from this desk", where=sha[:64])
        return bytes(found[0])

    def asked(self, customer: str | None = None) -> list[Asked]:
        """What was asked for, the newest first."""
        rows = self._db.execute(
            "SELECT customer, sha256, revision, title, wall_us, sent FROM asked ORDER BY wall_us DESC"
        )
        made = [Asked(c, sha, rev, title, at, bool(sent)) for c, sha, rev, title, at, sent in rows]
        return [a for a in made if customer is None or a.customer == customer]

    # ---- what came -------------------------------------------------------------------------------

    def take(
        self, path: Path, wall_us: int, pins: Sequence[Pin] = (), *, customer: str = "", file: str = ""
    ) -> Received:
        """Checks a bundle and keeps it as it came; one that is here already is not taken twice.

        Args:
            path: the file; it is copied and stays where it is.
            wall_us: when it came.
            pins: the keys that are known.
            customer: whose it is, if a person says so; else the signing key, the recipe or the vehicle tells.
            file: what it is called, where `path` is only where it waits.

        Raises:
            BundleError: it is none, or not to be opened. Nothing is kept then.
            BadInput: the file changes while it is read, or nobody can be called `customer`.
            StoreError: it cannot be kept.
        """
        opened = open_bundle(path)
        known = self._one(opened.sha256)
        if known is not None:
            return known
        found = self._check(path, pins)
        if found["sha256"] != opened.sha256:
            raise BadInput("the file changed while it was read; try again", where=path.name)
        signer = found["signed_by"]["public_key"] if found["signed_by"] and found["signed_by"]["good"] else None
        vehicle = ""
        for drive in opened.drives:
            with contextlib.suppress(CoachError):
                car = drive.vehicle()
                vehicle = vehicle or (car.label if car is not None else None) or ""
        name = _name(customer) if customer else self._whose(found, signer, vehicle)

        def copy(file: Any) -> None:
            with path.open("rb") as source:
                shutil.copyfileobj(source, file)

        write_durable(self.bundles / f"{opened.sha256}.zip", copy)
        row = Received(opened.sha256, file or path.name, name, signer, vehicle, wall_us, found)
        with self._writing():
            self._db.execute(
                "INSERT OR IGNORE INTO received VALUES (?,?,?,?,?,?,?)",
                (row.sha256, row.file, name, signer, vehicle, wall_us, json.dumps(found)),
            )
        return row

    def _whose(self, found: dict[str, Any], signer: str | None, vehicle: str) -> str:
        """A pinned name; else whose key it is; else the one customer who was sent this recipe; else the car."""
        signed_by = found["signed_by"] or {}
        if signer and signed_by.get("name"):
            return str(signed_by["name"])
        if signer:
            row = self._db.execute(
                "SELECT customer FROM received WHERE signer=? ORDER BY wall_us DESC", (signer,)
            ).fetchone()
            if row is not None:
                return str(row[0])
        shas = {drive["recipe_sha256"] for drive in found["drives"]}
        sent = {a.customer for a in self.asked() if a.sha256 in shas and a.sent}
        if len(sent) == 1:
            return sent.pop()
        return vehicle or ""

    def received(self, customer: str | None = None) -> list[Received]:
        """The bundles, the newest first."""
        rows = self._db.execute(
            "SELECT sha256, file, customer, signer, vehicle, wall_us, found FROM received ORDER BY wall_us DESC, sha256"
        )
        made = [
            Received(sha, file, c, signer, car, at, json.loads(found)) for sha, file, c, signer, car, at, found in rows
        ]
        return [r for r in made if customer is None or r.customer == customer]

    def path(self, sha: str) -> Path:
        """Where a bundle is kept. Raises NotFound."""
        if self._one(sha) is None:
            raise NotFound("no such bundle came to this desk", where=sha[:64])
        return self.bundles / f"{sha}.zip"

    def assign(self, sha: str, customer: str) -> None:
        """Says whose a bundle is, and with it all that its key signed for that customer. Raises NotFound, BadInput."""
        row = self._one(sha)
        if row is None:
            raise NotFound("no such bundle came to this desk", where=sha[:64])
        name = _name(customer)
        with self._writing():
            self._db.execute("UPDATE received SET customer=? WHERE sha256=?", (name, sha))
            if row.signer:
                self._db.execute(
                    "UPDATE received SET customer=? WHERE signer=? AND customer=?", (name, row.signer, row.customer)
                )

    def remove(self, sha: str) -> None:
        """Removes a bundle; the sender still has it. Raises NotFound, StoreError."""
        path = self.path(sha)
        with self._writing():
            self._db.execute("DELETE FROM received WHERE sha256=?", (sha,))
        with contextlib.suppress(FileNotFoundError):
            path.unlink()

    def _one(self, sha: str) -> Received | None:
        return next((r for r in self.received() if r.sha256 == sha), None)

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            raise store_error(error, self.folder / DATABASE) from error

    # ---- where everybody stands ------------------------------------------------------------------

    def customers(self) -> list[dict[str, Any]]:
        """Every customer, whoever waits for the calibrator first: see `standing`."""
        names = {a.customer for a in self.asked()} | {r.customer for r in self.received()}
        order: dict[str, int] = {"complete": 0, "received": 1, "next": 2, "asked": 3}
        rows = [standing(name, self.asked(name), self.received(name)) for name in names]
        return sorted(rows, key=lambda row: (order[row["state"]], -row["wall_us"], row["customer"]))


def _name(text: str) -> str:
    name = " ".join(text.split())
    if not name or len(name) > MOST_NAME or not name.isprintable():
        raise BadInput(f"a customer's name is 1 to {MOST_NAME} characters", where="customer")
    return name
