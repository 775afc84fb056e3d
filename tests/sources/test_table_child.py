from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.errors import ColumnsError, TableError
from coach.recording import Note, Recording, Series
from coach.signals import Signal
from coach.sources import table_child
from coach.sources.columns import Columns, Rule
from coach.sources.table import read_table
from coach.sources.table_child import read_table_in_child
from coach.sources.table_worker import load, save

CATALOGUE = default_catalogue()
TEXT = "time [s],rpm,speed [mph],own\n0,900,10,1\n0.1,901,,2\n0.2,#N/A,11,3\n0.2,5,5,5\n"


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "drive.csv"
    path.write_text(TEXT)
    return path


def test_the_same_recording(table):
    """What comes over is what reading here gives, with own signals and a columns file; progress is told."""
    catalogue = CATALOGUE.with_signals([Signal("mine", "Mine", "Mine", "", "count", 0, 9)])
    columns = Columns(rules={"own": Rule("mine")})
    seen = []
    there = read_table_in_child(table, catalogue, columns=columns, progress=lambda *done: seen.append(done))
    here = read_table(table, catalogue, columns=columns)
    assert there.series.keys() == here.series.keys() == {"engine_speed", "road_speed", "mine"}
    for name, series in here.series.items():
        assert np.array_equal(series.t_us, there.series[name].t_us)
        assert np.array_equal(series.value, there.series[name].value, equal_nan=True)
    assert (there.notes, there.meta, there.wall_us) == (here.notes, here.meta, here.wall_us)
    assert seen[-1] == (len(TEXT), len(TEXT))


def test_the_same_errors(table, tmp_path):
    """Bad input comes back as the error that it is."""
    with pytest.raises(TableError) as caught:
        read_table_in_child(tmp_path / "none.csv", CATALOGUE)
    assert (caught.value.message, caught.value.where) == ("there is no such file", "none.csv")
    with pytest.raises(ColumnsError, match="no signal 'x'"):
        read_table_in_child(table, CATALOGUE, columns=Columns(rules={"own": Rule("x")}))


def test_progress_may_end_it(table):
    """What the callback raises ends the child and goes through."""

    def enough(done, whole):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        read_table_in_child(table, CATALOGUE, progress=enough)


@pytest.mark.parametrize(
    ("code", "message"),
    [
        ("import os, sys; sys.stdin.buffer.read(); os._exit(9)", "ended from outside"),
        ("import os; os.close(0); os._exit(9)", "ended from outside"),
        ("raise RuntimeError('a fault')", "the reader failed: RuntimeError: a fault"),
    ],
)
def test_a_child_that_dies(table, monkeypatch, code, message):
    """A child that is killed or breaks gives a sentence, and waits for nobody."""

    class Dying(subprocess.Popen):
        def __init__(self, command, **more):
            super().__init__([sys.executable, "-c", code], **more)

    monkeypatch.setattr(table_child.subprocess, "Popen", Dying)
    with pytest.raises(TableError, match=message):
        read_table_in_child(table, CATALOGUE)


def test_this_process_stays_free_of_pandas(table):
    """A process that reads tables through a child imports neither pandas nor pint."""
    code = (
        "import sys; from pathlib import Path; from coach.catalogue import default_catalogue;"
        "from coach.sources.table_child import read_table_in_child;"
        f"r = read_table_in_child(Path({str(table)!r}), default_catalogue());"
        "print(r.samples, sorted({'pandas', 'pint'} & set(sys.modules)))"
    )
    root = Path(__file__).parents[2]
    ran = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert ran.stdout == "5 []\n"


def test_save_and_load(tmp_path):
    """Series, shared times, notes and meta come back; nothing is pickled."""
    t_us = np.array([0, 5], dtype=np.int64)
    recording = Recording(
        {"a": Series(t_us, np.array([1.0, np.nan])), "b": Series(t_us, np.array([2.0, 3.0]))},
        wall_us=7, notes=(Note("gap", "one gap", None, 1), Note("absent", "x", "a", 3)), meta={"file": "Ä.csv"},
    )  # fmt: skip
    save(recording, tmp_path / "x.npz")
    back = load(tmp_path / "x.npz")
    assert back.series["a"].t_us is back.series["b"].t_us
    assert np.array_equal(back.series["a"].value, [1.0, np.nan], equal_nan=True)
    assert (back.wall_us, back.notes, back.meta) == (7, recording.notes, recording.meta)
