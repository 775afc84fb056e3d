"""Databases as earlier versions left them: opened, brought up to date, and the drive in them is judged as it was."""

import json
import sqlite3
from pathlib import Path

import pytest

from coach.clock import HandClock
from coach.core.events import Code, Outcome
from coach.drive.verdict import judge_stored, stored_verdict_json
from coach.recording import Mark
from coach.store import Store
from coach.store.reading import Reader
from coach.store.schema import MIGRATIONS, VERSION, version_of

HERE = Path(__file__).parent
DRIVE = "20231114-221320"


def lay(folder, version):
    """A data folder with the database of that version: as it was kept, or made of the last one that was.

    Every version that was released is kept as `version_N.sql`; those between two releases are steps on the way.
    """
    folder.mkdir()
    kept = max(n for n in range(1, version + 1) if (HERE / f"version_{n}.sql").is_file())
    db = sqlite3.connect(folder / "coach.db")
    db.executescript((HERE / f"version_{kept}.sql").read_text("utf-8"))
    assert version_of(db) == kept
    for step in range(kept, version):
        db.executescript(MIGRATIONS[step])
        db.execute("INSERT INTO schema_versions VALUES (?, 0)", (step + 1,))
    db.commit()
    db.close()
    return folder


@pytest.mark.parametrize("version", range(1, VERSION))
def test_an_old_drive_is_read_and_judged_as_it_was(tmp_path, version):
    """Samples, marks, events, windows, and a verdict that is the same to the last field."""
    with Store(lay(tmp_path / "data", version), HandClock()) as store:
        assert store.schema() == (VERSION, VERSION)
        (row,) = store.drives()
        assert (row.id, row.phase, row.samples, row.title, row.revision) == (DRIVE, "ended", 30, "Version 1", 3)
        recording = store.recording(DRIVE)
        assert recording.series["road_speed"].value.tolist() == [80.0 + k % 3 for k in range(16)] + [95.5] * 4
        assert recording.marks == (Mark(0, "role", None, "passenger"),)
        (attempt,) = store.attempts(DRIVE)
        assert (attempt.outcome, attempt.end_us, attempt.secured_us) == (Outcome.SECURED, 7_500_000, 3_000_000)
        assert attempt.reason.code is Code.HIGH
        _, _, verdict = judge_stored(store, DRIVE)
        assert list(verdict.attempts["cruise"]) == [attempt]
        assert list(verdict.events) == [e.event for e in store.events(DRIVE)]
        assert [(w.capture, w.number, w.whole) for w in store.windows(DRIVE)] == [("cruise", 0, True)]
        assert len(store.recipes()) == 1
        json.dumps(stored_verdict_json(store, DRIVE), allow_nan=False)


@pytest.mark.parametrize("version", range(1, VERSION))
def test_the_second_opening_changes_nothing(tmp_path, version):
    """A step is written down and not taken twice."""
    folder = lay(tmp_path / "data", version)
    for _ in range(2):
        with Store(folder, HandClock()) as store:
            store.create_drive(_new(store))[1].end(0)
    rows = sqlite3.connect(folder / "coach.db")
    assert [v for (v,) in rows.execute("SELECT version FROM schema_versions ORDER BY version")] == list(
        range(1, VERSION + 1)
    )
    rows.close()
    assert len(Reader(folder / "coach.db").drives()) == 3


def _new(store):
    from coach.store import NewDrive

    row = store.drives()[0]
    return NewDrive(row.recipe, row.recipe_sha, "r", "T", 1, row.plan, row.catalogue, row.rules)
