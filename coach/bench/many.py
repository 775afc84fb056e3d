"""Judging an archive of drives on one core and on all of them, and what a drive of eight hours takes."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from coach.assets import traces_root
from coach.bench.figures import Figure, timed
from coach.desk.archive import Task, find_tasks, judge_archive
from coach.desk.runners import Here, Pool, cores
from coach.store.blocks import decode
from coach.store.store import DATABASE

ARCHIVE = "Judging an archive: copies of the bundled drives, as tables"
LONG = "A drive of eight hours at 150 samples a second, recorded flat out by the server's own loop"
TRACES = ("everything-qualifies", "cold-engine", "wrong-gear", "speed-lost")


def archive(copies: tuple[int, ...]) -> Iterator[Figure]:
    """Drives a second on one core and on all; a loop of pandas that answers one hold of each beside it.

    Args:
        copies: how many of each of four drives, one archive after the other; of the last, the largest, it is promised
            that it goes by the cores. None at all is one copy of one drive, judged in this process.
    """
    root = traces_root()
    recipe, vehicle = ((root / f"demo-{name}.toml").read_bytes() for name in ("recipe", "vehicle"))
    rates: dict[int, float] = {}
    tasks: list[Task] = []
    with tempfile.TemporaryDirectory(prefix="coach-bench-") as name:
        for part in copies or (0,):
            folder = Path(name) / f"drives-{part}"
            folder.mkdir()
            for trace in TRACES if copies else TRACES[-1:]:
                for n in range(max(part, 1)):
                    shutil.copyfile(root / f"{trace}.csv", folder / f"{trace}-{n:03}.csv")
            tasks = find_tasks(folder, recipe, vehicle)
            rates.clear()
            for processes in dict.fromkeys((1, cores() if copies else 1)):
                out = Path(name) / f"out-{part}-{processes}"
                seconds = timed(partial(judge_archive, tasks, out, Pool(processes) if copies else Here()), repeats=1)
                rates[processes] = len(tasks) / seconds
                yield Figure(ARCHIVE, f"{len(tasks)} drives, by {processes} at a time", rates[processes], "drives/s")
            most = max(rates)
            share = rates[most] / (rates[1] * most)
            what = f"that is, of {most} times one process"
            if part == max(copies, default=0):
                yield Figure(ARCHIVE, what, share * 100, "%", "80: linear to the cores", share >= 0.8)
            else:
                yield Figure(ARCHIVE, what, share * 100, "%")
        theirs = len(tasks) / timed(lambda: [_by_pandas(Path(task.path)) for task in tasks], repeats=1)
        what = "a loop of pandas, one process, one hold of each and no reason why not"
        yield Figure(ARCHIVE, what, theirs, "drives/s")
        yield Figure(ARCHIVE, "judging all three captures with reasons, beside it", rates[1] / theirs, "times")


def _by_pandas(path: Path) -> int:
    """Seconds of the longest steady part load in a drive."""
    import pandas as pd

    frame = pd.read_csv(path)
    speed = next(c for c in frame.columns if c.startswith("road_speed"))
    time = frame.columns[0]
    known = frame[speed].ffill()
    met = known.between(72, 88)
    island = (met != met.shift()).cumsum()
    spans = frame.loc[met, time].groupby(island[met]).agg(["first", "last"])
    return int((spans["last"] - spans["first"]).max()) if len(spans) else 0


def long_drive(hours: float) -> Iterator[Figure]:
    """What the soak test's long drive takes in memory, and how soon it opens, beside its CSV in pandas."""
    with tempfile.TemporaryDirectory(prefix="coach-bench-") as name:
        done = subprocess.run(  # noqa: S603 - our own module, our own interpreter
            [sys.executable, "-m", "coach.soak.long", str(Path(name) / "data"), str(hours)],
            check=True, capture_output=True, text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        )  # fmt: skip
        made = json.loads(done.stdout)
        blocks_s = timed(lambda: _blocks(Path(name) / "data" / DATABASE))
        table_s = _table_s(Path(name), hours)
    most, grown = made["most_mb"], made["end_mb"] - made["early_mb"]
    yield Figure(LONG, "drive", made["hours"], "h")
    yield Figure(LONG, "samples", made["samples"], "")
    yield Figure(LONG, "memory at its most", most, "MB", "150", most < 150)
    yield Figure(LONG, "grown from its first eighth to its end", max(0.0, grown), "MB", "flat: under 10", grown < 10)
    yield Figure(LONG, "to read its blocks, sample after sample", blocks_s, "s", "0.2", blocks_s <= 0.2)
    yield Figure(LONG, "to open all of it, an array a signal", made["open_s"], "s", "1", made["open_s"] <= 1)
    yield Figure(LONG, "pandas reading the same drive as CSV", table_s, "s")
    yield Figure(LONG, "opening it, beside that", made["open_s"] / table_s, "times")


def _blocks(database: Path) -> None:
    """All samples of the one drive in `database`, as they came."""
    with contextlib.closing(sqlite3.connect(database)) as db:
        (key,) = db.execute("SELECT key FROM drives").fetchone()
        columns = "first_us, last_us, count, format, checksum, data"
        decode(db.execute(f"SELECT {columns} FROM blocks WHERE drive=? ORDER BY sequence", (key,)))  # noqa: S608 - our own names


def _table_s(folder: Path, hours: float) -> float:
    """Seconds that pandas takes for a table with as many rows and columns of numbers."""
    import numpy as np
    import pandas as pd

    rows, path = int(hours * 36_000), folder / "drive.csv"
    wave = np.sin(np.arange(rows) / 50)
    pd.DataFrame({f"signal {n}": np.round(50 + n + wave, 3) for n in range(15)}).to_csv(path)
    return timed(lambda: pd.read_csv(path), repeats=1)
