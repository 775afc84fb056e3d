"""Paired devices and open invitations, in a small database beside the drives. Secrets are kept as hashes only."""

from __future__ import annotations

import contextlib
import hashlib
import secrets
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, Self

from coach.clock import US, Clock, wall_text
from coach.errors import BadInput, CoachError, NotFound
from coach.store.files import make_folder, private_file, store_error

FOLDER = "joining"
DATABASE = "devices.db"
INVITE_S = 600
"""How long an invitation may be taken up."""
UNSEEN_DAYS = 180
"""A device that has not been here for so long has to be paired again."""
SEEN_EVERY_US = 30 * US
"""How much older than this the time of last sight may be."""
SKEW_US = 60 * US
MOST_DEVICES = 50
NAME_LETTERS = 40

DeviceRole = Literal["operator", "onlooker"]

_TABLES = """
CREATE TABLE IF NOT EXISTS facts (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS devices (
  id TEXT PRIMARY KEY, token BLOB NOT NULL UNIQUE, name TEXT NOT NULL, role TEXT NOT NULL,
  paired_wall_us INTEGER NOT NULL, seen_wall_us INTEGER NOT NULL
);
CREATE TABLE IF NOT EXISTS invites (
  secret BLOB PRIMARY KEY, role TEXT NOT NULL, maker TEXT NOT NULL, made_wall_us INTEGER NOT NULL
);
"""


class NotPaired(CoachError):
    """The secret is not, or no longer, one that pairs."""

    code = "bad_secret"
    status = 403


@dataclass(frozen=True)
class Device:
    """One paired device.

    Attributes:
        id: names it to people and commands; no secret.
        paired_wall_us, seen_wall_us: microseconds since 1970-01-01 UTC.
    """

    id: str
    name: str
    role: DeviceRole
    paired_wall_us: int
    seen_wall_us: int

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "id": self.id, "name": self.name, "role": self.role, "paired_at": wall_text(self.paired_wall_us),
            "seen_at": wall_text(self.seen_wall_us),
        }  # fmt: skip


_COLUMNS = "id, name, role, paired_wall_us, seen_wall_us"


class Devices:
    """The devices of one data folder. Several processes may have it open: a removal counts at once in all of them.

    Args:
        data: the data folder; what is needed below it is made.

    Raises:
        StoreError: it cannot be used; so may every method.
    """

    def __init__(self, data: Path, clock: Clock) -> None:
        self.folder = data / FOLDER
        self.path = self.folder / DATABASE
        self._clock = clock
        self._lock = threading.Lock()
        make_folder(self.folder)
        try:
            private_file(self.path)
            self._db = sqlite3.connect(self.path, timeout=5, isolation_level=None, check_same_thread=False)
        except (OSError, sqlite3.Error) as error:
            raise store_error(error, self.path) from error
        try:
            with self._use() as db:
                db.executescript(_TABLES)
        except BaseException:
            self._db.close()
            raise

    def close(self) -> None:
        """May be called twice."""
        with self._lock:
            self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def _use(self, *, change: bool = False) -> Iterator[sqlite3.Connection]:
        """The database for one thread; a change is whole or not at all."""
        with self._lock:
            try:
                if change:
                    self._db.execute("BEGIN IMMEDIATE")
                yield self._db
                if change:
                    self._db.execute("COMMIT")
            except BaseException as error:
                if self._in_transaction():
                    self._db.execute("ROLLBACK")
                if isinstance(error, sqlite3.Error):
                    raise store_error(error, self.path) from error
                raise

    def _in_transaction(self) -> bool:
        try:
            return self._db.in_transaction
        except sqlite3.Error:
            return False

    # --- facts that outlive a start

    def fact(self, name: str, value: str | None = None) -> str | None:
        """What is kept under `name`; with `value` that is kept from now on."""
        with self._use(change=value is not None) as db:
            if value is not None:
                db.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (name, value))
            row = db.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
        return None if row is None else str(row[0])

    # --- invitations

    def invite(self, role: DeviceRole, maker: str) -> str:
        """A new one-time secret; an earlier one for this role by the same maker ends with it.

        Args:
            maker: who shows it (`page`, `terminal`).
        """
        secret = secrets.token_urlsafe(18)
        with self._use(change=True) as db:
            db.execute("DELETE FROM invites WHERE role = ? AND maker = ?", (role, maker))
            db.execute("INSERT INTO invites VALUES (?, ?, ?, ?)", (_hash(secret), role, maker, self._clock.wall_us()))
        return secret

    def invited(self, role: DeviceRole, maker: str) -> bool:
        """Whether the last invitation of `maker` for `role` can still be taken up."""
        with self._use() as db:
            row = db.execute("SELECT made_wall_us FROM invites WHERE role = ? AND maker = ?", (role, maker)).fetchone()
        return row is not None and self._fresh(row[0])

    def _fresh(self, made_wall_us: int) -> bool:
        # A clock that was set back must not make an invitation last longer.
        return -SKEW_US <= self._clock.wall_us() - made_wall_us < INVITE_S * US

    def redeem(self, secret: str, name: str, instead_of: str | None = None) -> tuple[Device, str]:
        """Pairs a device; the secret is used up with it.

        Args:
            name: what people know the device by.
            instead_of: id of the device that this one was until now.

        Returns:
            The device, and the token by which it is known from now on.

        Raises:
            NotPaired: the secret is wrong, used, or too old.
        """
        token, now = secrets.token_urlsafe(32), self._clock.wall_us()
        find = "DELETE FROM invites WHERE secret = ? RETURNING role, made_wall_us"
        with self._use(change=True) as db:
            row = db.execute(find, (_hash(secret),)).fetchone()
            if row is None or not self._fresh(row[1]):
                raise NotPaired("this square was used already or is too old; show a new one on the laptop")
            device = Device(instead_of or secrets.token_hex(4), clean_name(name), row[0], now, now)
            if db.execute("SELECT count(*) FROM devices WHERE id <> ?", (device.id,)).fetchone()[0] >= MOST_DEVICES:
                raise NotPaired(f"{MOST_DEVICES} devices are paired already; remove one on the laptop")
            values = (device.id, _hash(token), device.name, device.role, now, now)
            db.execute("INSERT OR REPLACE INTO devices VALUES (?, ?, ?, ?, ?, ?)", values)
        return device, token

    # --- devices

    def find(self, token: str) -> Device | None:
        """The device with this token, or None; it has been seen now."""
        with self._use() as db:
            row = db.execute(f"SELECT {_COLUMNS} FROM devices WHERE token = ?", (_hash(token),)).fetchone()  # noqa: S608 - no input
        return None if row is None else self._seen(Device(*row))

    def there(self, device: str) -> bool:
        """Whether this device is still paired; it has been seen now."""
        with self._use() as db:
            row = db.execute(f"SELECT {_COLUMNS} FROM devices WHERE id = ?", (device,)).fetchone()  # noqa: S608 - no input
        return row is not None and self._seen(Device(*row)) is not None

    def _seen(self, device: Device) -> Device | None:
        now = self._clock.wall_us()
        if now - device.seen_wall_us > UNSEEN_DAYS * 86_400 * US:
            self._remove(device.id)
            return None
        if abs(now - device.seen_wall_us) > SEEN_EVERY_US:
            with self._use(change=True) as db:
                db.execute("UPDATE devices SET seen_wall_us = ? WHERE id = ?", (now, device.id))
        return device

    def list(self) -> list[Device]:
        """All devices, the one seen last first."""
        with self._use() as db:
            rows = db.execute(f"SELECT {_COLUMNS} FROM devices ORDER BY seen_wall_us DESC, id").fetchall()  # noqa: S608 - no input
        return [Device(*row) for row in rows]

    def remove(self, device: str) -> None:
        """Ends a pairing: from now on the device is a stranger. Raises NotFound."""
        if not self._remove(device):
            raise NotFound("there is no such device; `coach devices list` names them", where=device[:60])

    def _remove(self, device: str) -> bool:
        with self._use(change=True) as db:
            return db.execute("DELETE FROM devices WHERE id = ?", (device,)).rowcount > 0

    def rename(self, device: str, name: str) -> None:
        """Gives a device another name. Raises NotFound, BadInput."""
        name = clean_name(name)
        if not name:
            raise BadInput("a device needs a name of one letter at least", where="name")
        with self._use(change=True) as db:
            if not db.execute("UPDATE devices SET name = ? WHERE id = ?", (name, device)).rowcount:
                raise NotFound("there is no such device", where=device[:60])


def clean_name(name: str) -> str:
    """A name without signs that cannot be seen, on one line, of at most `NAME_LETTERS`."""
    seen = "".join(c if c.isprintable() else " " for c in name)
    return " ".join(seen.split())[:NAME_LETTERS].strip()


def _hash(secret: str) -> bytes:
    # The secrets are random and long: a plain hash cannot be guessed back.
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).digest()
