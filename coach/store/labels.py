"""What people wrote on a drive: a name, a note, the weather. It changes no verdict."""

from __future__ import annotations

import sqlite3
from dataclasses import astuple, dataclass


@dataclass(frozen=True, slots=True)
class Label:
    """Words and weather that people gave a drive; empty and None where nobody did."""

    name: str = ""
    note: str = ""
    pressure_kpa: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None


_COLUMNS = "name, note, pressure_kpa, temperature_c, humidity_pct"


def read_labels(db: sqlite3.Connection) -> dict[int, Label]:
    """All labels by the drive's key."""
    rows = db.execute(f"SELECT drive, {_COLUMNS} FROM labels")  # noqa: S608 - the names stand above
    return {int(key): Label(*rest) for key, *rest in rows}


def read_label(db: sqlite3.Connection, key: int) -> Label:
    """The label of one drive."""
    row = db.execute(f"SELECT {_COLUMNS} FROM labels WHERE drive=?", (key,)).fetchone()  # noqa: S608 - as above
    return Label() if row is None else Label(*row)


def write_label(db: sqlite3.Connection, key: int, label: Label) -> None:
    """Replaces the label of a drive."""
    db.execute("INSERT OR REPLACE INTO labels VALUES (?, ?, ?, ?, ?, ?)", (key, *astuple(label)))
