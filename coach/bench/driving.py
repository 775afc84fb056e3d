"""The whole way of a sample while a drive is recorded, from adapter to page; also on less of a processor.

The server is the shipped one in a process of its own (`watched`); the car behind the virtual adapter is in this one.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from coach.bench.client import Client, Listening, Loading
from coach.bench.figures import Figure
from coach.bench.processes import memory_mb, pin, processor_s
from coach.bench.quota import quota
from coach.bench.watched import STAMPS
from coach.catalogue import default_catalogue
from coach.clock import US, Clock
from coach.sources.adapter import AdapterServer, SimulatedCar
from coach.sources.simulator import SCENARIOS

DRIVING = "While driving: six signals, 25 times a second each, through the virtual adapter; a page is open"
SMALL = "On a smaller machine: the same server on one core, with only a part of it"
SHARES = (0.5, 0.25, 0.15, 0.1)
"""Parts of one core that the server is left with, one after the other."""
SLOWER = {"Raspberry Pi 5": 2.0, "Raspberry Pi 4": 4.0, "Raspberry Pi 3 or Zero 2 W": 8.0}
"""How much slower one core of those is for Python than one of the machine in the table: an assumption, from memory.

No such machine was at hand, and no published figure is behind these numbers.
"""
BUSY = 3
"""So many times as long is measured while pages load: 99 of 100 say little when there are only 200 verdicts."""
LATENCY_S, JITTER_S = 0.030, 0.005
RECIPE = """\
format = 1
title = "Benchmark"
revision = 1
[record]
engine_speed = "25 Hz"
road_speed = "25 Hz"
manifold_pressure = "25 Hz"
pedal = "25 Hz"
coolant_temp = "25 Hz"
throttle = "25 Hz"
[[capture]]
id = "cruise"
title = "Steady cruise"
place = "road"
hold = "10 s"
times = 20
[capture.keep]
road_speed = { min = "60 km/h", max = "100 km/h" }
[[capture]]
id = "roll-on"
title = "Rising"
place = "road"
times = 20
[capture.sweep]
engine_speed = { from = "1500 rpm", to = "3000 rpm", dip = "120 rpm", within = "30 s" }
[capture.limit]
coolant_temp = { max = "118 degC" }
[[capture]]
id = "idle"
title = "Standing"
place = "road"
hold = "10 s"
times = 20
[capture.keep]
road_speed = { max = "0 km/h" }
"""


@dataclass(frozen=True)
class Phase:
    """A stretch of the drive and what was seen in it.

    Attributes:
        from_us, to_us: of the steady clock.
        cpu: share of one core that the server and its children took.
        samples: how many samples came.
        memory_mb: of the server, at the end.
    """

    from_us: int
    to_us: int
    cpu: float
    samples: int
    memory_mb: float

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.samples / ((self.to_us - self.from_us) / US)


def percentile(values: list[float], share: float) -> float:
    """The smallest of `values` that at least `share` of them do not exceed; 0 of none."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * share))] if ordered else 0.0


class Bench:
    """A server that records a drive through the virtual adapter; begun on entry, ended on exit.

    Attributes:
        rest_mb: memory of the server before anything was asked of it but one page.
    """

    def __init__(self, folder: Path, clock: Clock, latency_s: float = LATENCY_S) -> None:
        self.folder, self.clock, self._latency_s = folder, clock, latency_s
        self.rest_mb = 0.0
        self._undo = contextlib.ExitStack()

    def __enter__(self) -> Self:
        with contextlib.ExitStack() as undo:
            self._begin(undo)
            self._undo = undo.pop_all()
        return self

    def _begin(self, undo: contextlib.ExitStack) -> None:
        recipe = self.folder / "bench.toml"
        recipe.write_text(RECIPE, "utf-8")
        car = SimulatedCar(SCENARIOS[0], default_catalogue(), self.clock, after="again")
        adapter = undo.enter_context(
            AdapterServer(car, latency_s=self._latency_s, jitter_s=JITTER_S * self._latency_s / LATENCY_S, seed=1)
        )
        command = [sys.executable, "-m", "coach.bench.watched", str(self.folder), str(recipe), adapter.url]
        path = os.pathsep.join(p for p in sys.path if p)
        self.server = subprocess.Popen(  # noqa: S603 - our own module, our own interpreter
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": path}
        )
        undo.callback(self._end)
        assert self.server.stdout is not None
        self.client = Client(self.server.stdout.readline().strip())
        self.client.page()
        self.rest_mb = memory_mb(self.server.pid)

    def __exit__(self, *_: object) -> None:
        self._undo.close()

    def _end(self) -> None:
        if self.server.returncode is None:
            self.server.communicate()

    def start(self) -> None:
        """Plays a bundled drive flat out, so that there is one to export, and starts the drive through the link."""
        sha = self.client.recipe("Benchmark")
        self.earlier = self.client.start(sha, "replay:early-lift", None)
        self.client.over(self.clock, self.earlier)
        self.drive = self.client.start(sha, "link:0", 1.0)

    def phase(self, seconds: float) -> Phase:
        """Lets `seconds` pass."""
        pid = self.server.pid
        began_us, cpu_s, count = self.clock.steady_us(), processor_s(pid), self.client.samples(self.drive)
        self.clock.wait(threading.Event(), seconds)
        took_s, samples = processor_s(pid) - cpu_s, self.client.samples(self.drive) - count
        ended_us = self.clock.steady_us()
        return Phase(began_us, ended_us, took_s * US / (ended_us - began_us), samples, memory_mb(pid))

    def stamps(self) -> list[tuple[int, float]]:
        """Ends the server; when each instant was judged (steady clock), and milliseconds since it was received."""
        self._end()
        lines = (self.folder / STAMPS).read_text("ascii").splitlines()
        return [(int(at), float(took) / 1e3) for at, took in (line.split() for line in lines)]


def driving(
    seconds: float, shares: tuple[float, ...] = SHARES, *, latency_s: float = LATENCY_S, reports: bool = True
) -> Iterator[Figure]:
    """Figures of a drive: alone with a page, while pages load and exports run, and on parts of one core.

    Args:
        seconds: of each of these; of the second as often as `BUSY` says.
        shares: the parts of a core.
        latency_s: from a request to its answer.
        reports: whether reports are made as well as bundles.
    """
    clock = Clock()
    with tempfile.TemporaryDirectory(prefix="coach-bench-") as name, Bench(Path(name), clock, latency_s) as bench:
        bench.start()
        with Listening(bench.client):
            clock.wait(threading.Event(), min(2.0, seconds))
            quiet = bench.phase(seconds)
            with Loading(bench.client, bench.earlier, reports=reports) as loading:
                busy = bench.phase(BUSY * seconds)
            small, limit = _small(bench, seconds, shares)
        took = bench.stamps()
        yield from _driving(bench, quiet, busy, loading, took)
        yield from _on_less(quiet, small, limit, took)


def _small(bench: Bench, seconds: float, shares: tuple[float, ...]) -> tuple[dict[float, Phase], str]:
    if not hasattr(os, "sched_setaffinity"):
        return {}, "none: this system cannot keep a process on a core"
    pin(bench.server.pid, max(os.sched_getaffinity(0)))
    limit = quota(bench.server.pid, bench.clock)
    found = {}
    try:
        for share in shares:
            limit.set(share)
            # What is still under way from before is not counted.
            bench.clock.wait(threading.Event(), min(1.0, seconds))
            found[share] = bench.phase(seconds)
    finally:
        limit.close()
    return found, limit.name


def _within(took: list[tuple[int, float]], phase: Phase) -> list[float]:
    return [ms for at_us, ms in took if phase.from_us <= at_us <= phase.to_us]


def _driving(
    bench: Bench, quiet: Phase, busy: Phase, loading: Loading, took: list[tuple[int, float]]
) -> Iterator[Figure]:
    yield Figure(DRIVING, "samples recorded", quiet.rate_hz, "samples/s")
    half = percentile(_within(took, quiet), 0.5)
    yield Figure(DRIVING, "sample received to stored and judged, half are faster than", half, "ms")
    p99 = percentile(_within(took, quiet), 0.99)
    yield Figure(DRIVING, "99 of 100 are faster than", p99, "ms", "1", p99 < 1)
    p99 = percentile(_within(took, busy), 0.99)
    yield Figure(DRIVING, "99 of 100 while pages load and exports run", p99, "ms", "1", p99 < 1)
    yield Figure(DRIVING, "files that pages loaded meanwhile", loading.files, "")
    yield Figure(DRIVING, "bundles exported and reports made meanwhile", loading.exports, "")
    yield Figure(
        DRIVING, "processor time of the whole server", quiet.cpu * 100, "% of a core", "5", quiet.cpu < 0.05
    )  # fmt: skip
    yield Figure(DRIVING, "memory of the server at rest", bench.rest_mb, "MB", "80", bench.rest_mb < 80)
    yield Figure(DRIVING, "and while it drives and exports", busy.memory_mb, "MB", "150", busy.memory_mb < 150)


def _on_less(quiet: Phase, small: dict[float, Phase], limit: str, took: list[tuple[int, float]]) -> Iterator[Figure]:
    if not small:
        yield Figure(SMALL, f"not measured: {limit}", None, "")
        return
    for share, phase in small.items():
        named = f"with {share * 100:.0f} % of a core"
        kept = phase.rate_hz / max(quiet.rate_hz, 1e-9)
        what = f"{named}: samples, of those recorded with all of it"
        yield Figure(SMALL, what, kept * 100, "%", "95", kept >= 0.95)
        yield Figure(
            SMALL, f"{named}: 99 of 100 verdicts are faster than", percentile(_within(took, phase), 0.99), "ms"
        )
    yield Figure(SMALL, f"by {limit}; parts tried", float(len(small)), "")
    for name, times in SLOWER.items():
        what = f"{name}, if its core is {times:g} times slower: share of one core"
        need = quiet.cpu * times
        yield Figure(SMALL, what, need * 100, "% of a core", "50", need < 0.5)
