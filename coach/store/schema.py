"""The tables, and how an older database becomes the present one: one migration a step, each in its own transaction."""

from __future__ import annotations

import sqlite3

from coach.errors import StoreError

FIRST = """
CREATE TABLE recipes (
  sha TEXT PRIMARY KEY, name TEXT NOT NULL, body BLOB NOT NULL, title TEXT NOT NULL,
  revision INTEGER NOT NULL, added_wall_us INTEGER NOT NULL
);
CREATE TABLE drives (
  key INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE,
  created_wall_us INTEGER NOT NULL, ended_wall_us INTEGER, anchor_wall_us INTEGER,
  phase TEXT NOT NULL, recovered INTEGER NOT NULL DEFAULT 0, error TEXT,
  recipe BLOB NOT NULL, recipe_sha TEXT NOT NULL, recipe_name TEXT NOT NULL,
  title TEXT NOT NULL, revision INTEGER NOT NULL,
  vehicle BLOB, vehicle_name TEXT, plan TEXT NOT NULL, catalogue TEXT NOT NULL, rules INTEGER NOT NULL,
  source TEXT NOT NULL, around TEXT NOT NULL
);
CREATE TABLE signals (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, number INTEGER NOT NULL, name TEXT NOT NULL,
  PRIMARY KEY (drive, number)
);
CREATE TABLE blocks (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, sequence INTEGER NOT NULL,
  first_us INTEGER NOT NULL, last_us INTEGER NOT NULL, count INTEGER NOT NULL,
  format INTEGER NOT NULL, checksum INTEGER NOT NULL, data BLOB NOT NULL,
  PRIMARY KEY (drive, sequence)
);
CREATE TABLE progress (
  drive INTEGER PRIMARY KEY REFERENCES drives(key) ON DELETE CASCADE, last_us INTEGER NOT NULL,
  samples INTEGER NOT NULL, promised_us INTEGER
);
CREATE TABLE marks (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, sequence INTEGER NOT NULL,
  t_us INTEGER NOT NULL, kind TEXT NOT NULL, capture TEXT, text TEXT NOT NULL,
  PRIMARY KEY (drive, sequence)
);
CREATE TABLE events (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, sequence INTEGER NOT NULL,
  t_us INTEGER NOT NULL, type TEXT NOT NULL, body TEXT NOT NULL,
  PRIMARY KEY (drive, sequence)
);
CREATE TABLE attempts (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, recipe_sha TEXT NOT NULL, rules INTEGER NOT NULL,
  capture TEXT NOT NULL, number INTEGER NOT NULL, body TEXT NOT NULL,
  PRIMARY KEY (drive, recipe_sha, rules, capture, number)
);
CREATE TABLE verdicts (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, recipe_sha TEXT NOT NULL, rules INTEGER NOT NULL,
  body TEXT NOT NULL, PRIMARY KEY (drive, recipe_sha, rules)
);
CREATE TABLE windows (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, capture TEXT NOT NULL, number INTEGER NOT NULL,
  whole INTEGER NOT NULL, path TEXT NOT NULL, sha256 TEXT NOT NULL, size INTEGER NOT NULL,
  saved_wall_us INTEGER NOT NULL, PRIMARY KEY (drive, capture, number)
);
"""

CLOCK = """
CREATE TABLE clock_jumps (
  drive INTEGER NOT NULL REFERENCES drives(key) ON DELETE CASCADE, sequence INTEGER NOT NULL,
  t_us INTEGER NOT NULL, jump_us INTEGER NOT NULL, PRIMARY KEY (drive, sequence)
);
"""
"""When the system's clock was set during a drive, and by how much: times of the drive do not follow it."""

LABELS = """
CREATE TABLE labels (
  drive INTEGER PRIMARY KEY REFERENCES drives(key) ON DELETE CASCADE, name TEXT NOT NULL, note TEXT NOT NULL,
  pressure_kpa REAL, temperature_c REAL, humidity_pct REAL
);
"""
"""What people wrote on a drive."""

MIGRATIONS: tuple[str, ...] = (FIRST, CLOCK, LABELS)
"""Step n takes a database from version n to n + 1. Steps are never changed once released, only added."""

VERSION = len(MIGRATIONS)


def version_of(db: sqlite3.Connection) -> int:
    """The schema version of `db`; 0 for an empty one."""
    row = db.execute("SELECT name FROM sqlite_master WHERE type='table' AND name='schema_versions'").fetchone()
    if row is None:
        return 0
    return int(db.execute("SELECT coalesce(max(version), 0) FROM schema_versions").fetchone()[0])


def migrate(db: sqlite3.Connection, wall_us: int) -> None:
    """Brings `db` to `VERSION`.

    Raises:
        StoreError: the database comes from a newer program.
    """
    have = version_of(db)
    if have > VERSION:
        raise StoreError(f"the data folder was written by a newer coach (format {have}, this one knows {VERSION})")
    for step in range(have, VERSION):
        db.execute("BEGIN IMMEDIATE")
        try:
            db.execute(
                "CREATE TABLE IF NOT EXISTS schema_versions"
                " (version INTEGER PRIMARY KEY, applied_wall_us INTEGER NOT NULL)"
            )
            for statement in MIGRATIONS[step].split(";"):
                if statement.strip():
                    db.execute(statement)
            db.execute("INSERT INTO schema_versions VALUES (?, ?)", (step + 1, wall_us))
            db.execute("COMMIT")
        except BaseException:
            db.execute("ROLLBACK")
            raise
