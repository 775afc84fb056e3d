"""Runs the benchmark and prints it. Tests never assert these figures; the command does not judge a machine."""

from __future__ import annotations

import argparse
import gc
import json
import sys
import tempfile
import tracemalloc
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from coach.bench.drives import collecting, noisy_drive, plan, steady_drive
from coach.bench.driving import driving
from coach.bench.figures import Figure, machine, table, timed
from coach.bench.holds import duckdb_query, frame_of, with_pandas, with_pandas_and_silence
from coach.bench.link import polling
from coach.bench.many import archive, long_drive
from coach.bench.opening import opening
from coach.bench.page import page
from coach.bench.starting import starting
from coach.bench.written import write
from coach.clock import Clock
from coach.core.afterwards import Verdict, judge_recording
from coach.core.events import Outcome
from coach.core.judge import Judge
from coach.core.spec import JudgePlan
from coach.recording import Recording

AFTER = "Judging a stored drive: three captures over ten signals, arrays in memory"
ONLINE = "Judging while it happens: the same captures"
READING = "Reading a CSV drive"


def afterwards(rows: int) -> Iterator[Figure]:
    """Samples judged a second over arrays, and the holds alone by pandas and DuckDB."""
    judged = plan()
    drive = steady_drive(rows, 1000)
    holds = [c for c in judged.captures if c.hold_us is not None]
    frame = frame_of(drive)
    query = duckdb_query(frame)
    # In turns, so that a machine that is busy for a while is so for all.
    works: list[Callable[[], object]] = [
        lambda: judge_recording(judged, drive),
        lambda: [with_pandas(frame, c) for c in holds],
        lambda: [with_pandas_and_silence(frame, c) for c in holds],
        *([] if query is None else [lambda: [query(c) for c in holds]]),
    ]
    seconds, bands_s, pandas_s, *others = map(
        min, zip(*[[timed(w, repeats=1) for w in works] for _ in range(5)], strict=True)
    )
    rate = drive.samples / seconds / 1e6
    yield Figure(AFTER, "one edge per 1,000 samples", rate, "million samples/s", "50", rate >= 50)
    noisy = noisy_drive(rows)
    noisy_rate = noisy.samples / timed(lambda: judge_recording(judged, noisy)) / 1e6
    edges = _edges(noisy, judged)
    what = f"a noisy drive, one edge per {noisy.samples / max(1, edges):.0f} samples"
    yield Figure(AFTER, what, noisy_rate, "million samples/s", "10", noisy_rate >= 10)
    cells = collecting()
    rate = drive.samples / timed(lambda: judge_recording(cells, drive)) / 1e6
    yield Figure(AFTER, "the same drive, collecting over 16 cells of two signals", rate, "million samples/s")
    restless = steady_drive(rows // 10, 20)
    ended = sum(len(a) for a in judge_recording(judged, restless).attempts.values())
    each = timed(lambda: judge_recording(judged, restless)) / max(1, ended)
    yield Figure(AFTER, "a drive that is nothing but attempts, each", each * 1e6, "µs")
    mine = _windows(judge_recording(judged, drive))
    yield Figure(AFTER, "wall time, one edge per 1,000 samples", seconds * 1e3, "ms")
    yield Figure(
        AFTER, "a pandas query for the holds alone, silence looked for", pandas_s * 1e3, "ms", "slower than judging",
        pandas_s > seconds,
    )  # fmt: skip
    yield Figure(AFTER, "that beside judging", pandas_s / seconds, "times as long")
    yield Figure(AFTER, "a pandas query for their bands alone, as if nothing were ever silent", bands_s * 1e3, "ms")
    yield Figure(AFTER, "that beside judging", bands_s / seconds, "times as long")
    _same("pandas", mine, [with_pandas(frame, c) for c in holds])
    _same("pandas", mine, [with_pandas_and_silence(frame, c) for c in holds])
    if query is None:
        return
    duck_s = others[0]
    yield Figure(
        AFTER, "a DuckDB query for their bands alone", duck_s * 1e3, "ms", "slower than judging", duck_s > seconds
    )
    yield Figure(AFTER, "DuckDB beside judging", duck_s / seconds, "times as long")
    _same("DuckDB", mine, [query(c) for c in holds])


def _edges(drive: Recording, judged: JudgePlan) -> int:
    """How often any condition of any capture is entered or left."""
    edges = 0
    for band in (b for c in judged.captures for b in c.keep):
        value = drive.series[band.signal].value
        inside = value >= (float("-inf") if band.low is None else band.low)
        if band.high is not None:
            inside &= value <= band.high
        edges += int((inside[1:] != inside[:-1]).sum())
    return edges


def _windows(verdict: Verdict) -> list[list[tuple[int, int]]]:
    return [
        [(a.start_us, a.end_us) for a in attempts if a.outcome is Outcome.SECURED]
        for name, attempts in verdict.attempts.items()
        if name != "roll-on"
    ]


def _same(other: str, mine: list[list[tuple[int, int]]], theirs: list[list[tuple[int, int]]]) -> None:
    if mine != theirs:
        raise SystemExit(f"{other} and the judge disagree about the holds: the benchmark compares nothing")


def online(rows: int) -> Iterator[Figure]:
    """Samples judged a second one by one and in whole instants, and the time from sample to verdict."""
    drive = steady_drive(rows, 1000)
    instants = list(drive.instants())
    judge = Judge(plan())
    seconds = timed(lambda: [judge.feed(t, values) for t, values in instants], repeats=1)
    rate = drive.samples / seconds
    yield Figure(ONLINE, "ten samples an instant", rate, "samples/s", "300,000", rate >= 300_000)
    singles = list(_one_by_one(drive))
    judge_2 = Judge(plan())
    single_rate = len(singles) / timed(lambda: [judge_2.feed(t, values) for t, values in singles], repeats=1)
    yield Figure(ONLINE, "one sample an instant", single_rate, "samples/s", "100,000", single_rate >= 100_000)
    clock, judge_3 = Clock(), Judge(plan())
    took = []
    for t, values in instants:
        start = clock.fine_ns()
        judge_3.feed(t, values)
        took.append(clock.fine_ns() - start)
    took.sort()
    p50, p99 = took[len(took) // 2] / 1e6, took[len(took) * 99 // 100] / 1e6
    yield Figure(ONLINE, "sample to verdict, half are faster than", p50, "ms")
    yield Figure(ONLINE, "sample to verdict, 99 of 100 are faster than", p99, "ms", "1", p99 < 1)


def _one_by_one(drive: Recording) -> Iterator[tuple[int, dict[str, float]]]:
    for t, values in drive.instants():
        for i, (name, value) in enumerate(values.items()):
            yield t + i, {name: value}


def memory(rows: int) -> Iterator[Figure]:
    """What the live judge keeps: the same after a long drive as after a short one."""
    for part in (rows // 10, rows):
        instants = list(steady_drive(part, 100_000).instants())
        gc.collect()
        tracemalloc.start()
        judge = Judge(plan())
        for t, values in instants:
            judge.feed(t, values)
        kept, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        yield Figure(ONLINE, f"memory kept after {part * 10:,} samples", kept / 1024, "KiB")


def reading(rows: int, repeats: int = 9) -> Iterator[Figure]:
    """Reading a wide table, beside pandas reading the same file."""
    import pandas as pd

    from coach.catalogue import default_catalogue
    from coach.csvout import write_table
    from coach.sources.table import read_table

    catalogue = default_catalogue()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        write_table(steady_drive(rows, 1000), path, catalogue)
        # In turns, so that a machine that is busy for a while is so for both.
        pairs = [
            (timed(lambda: pd.read_csv(path), repeats=1), timed(lambda: read_table(path, catalogue), repeats=1))
            for _ in range(repeats)
        ]
    theirs, mine = (min(times) for times in zip(*pairs, strict=True))
    ratio = mine / theirs
    yield Figure(READING, f"{rows * 10:,} samples, beside pandas alone", ratio, "times", "1.3", ratio <= 1.3)
    yield Figure(READING, "wall time", mine * 1e3, "ms")


def lanes(*, quick: bool) -> list[list[Callable[[], Iterable[Figure]]]]:
    """What is measured, in order. `quick`: a hundredth of it or less, to see that it runs."""
    few = 100 if quick else 1
    return [
        [
            lambda: afterwards(1_000_000 // few),
            lambda: online(30_000 // few),
            lambda: memory(30_000 // few),
            lambda: reading(200_000 // few, 1 if quick else 9),
            lambda: archive(() if quick else (10, 100)),
            lambda: starting(1 if quick else 10),
            lambda: long_drive(0.002 if quick else 8.0),
        ],
        [lambda: polling(0.2, 0.005) if quick else polling(5.0)],
        [lambda: driving(0.2, (0.5,), latency_s=0.002, reports=False) if quick else driving(8.0)],
        [lambda: page(1, 0.3, 0.1) if quick else page(5, 10.0), lambda: opening(0.01, 1) if quick else opening(1.0, 5)],
    ]


def figures(*, quick: bool = False) -> list[Figure]:
    """All figures. `quick`: a hundredth of the samples, and four things at a time: to see that it runs."""

    def measured(lane: list[Callable[[], Iterable[Figure]]]) -> list[Figure]:
        return [figure for part in lane for figure in part()]

    with ThreadPoolExecutor(4 if quick else 1) as threads:
        return [figure for lane in threads.map(measured, lanes(quick=quick)) for figure in lane]


def main(arguments: Sequence[str] | None = None) -> int:
    """The command `coach bench`."""
    parser = argparse.ArgumentParser(prog="coach bench", description="Measure how fast this machine judges.")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--quick", action="store_true", help="few samples: to see that it runs, not how fast")
    parser.add_argument("--write", type=Path, help="write the page docs/explanation/performance.md there, too")
    chosen = parser.parse_args(arguments)
    where = machine()  # before: afterwards the load would be our own
    found = figures(quick=chosen.quick)
    if chosen.write is not None:
        write(chosen.write, where, found)
    if chosen.json:
        print(json.dumps({"machine": where, "figures": [f.as_dict() for f in found]}, indent=1))
    else:
        sys.stdout.write(
            "\n".join(f"{name:<10} {value}" for name, value in where.items()) + "\n\n" + table(found) + "\n"
        )
    return 0
