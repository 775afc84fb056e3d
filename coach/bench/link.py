"""Polling a car through the virtual adapter, beside python-obd's own loop over the same one, in real time."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Iterator

from coach.bench.figures import Figure
from coach.catalogue import default_catalogue
from coach.clock import US, Clock
from coach.core.judge import Judge
from coach.core.spec import Band, Capture, JudgePlan
from coach.sources.adapter import AdapterServer, TableCar
from coach.sources.base import Instant, SourceEvent
from coach.sources.link.look import look
from coach.sources.link.source import LinkSource

GROUP = "Polling a car: the virtual adapter at 40 ms, 10 ms more or less"
LATENCY_S, JITTER_S = 0.040, 0.010
NAMES = (
    "engine_speed", "road_speed", "manifold_pressure", "throttle", "calculated_load", "timing_advance", "coolant_temp",
    "intake_temp", "mass_airflow", "short_trim_1", "long_trim_1", "commanded_throttle",
)  # fmt: skip
# The same ones by python-obd's names.
THEIRS = ("RPM", "SPEED", "INTAKE_PRESSURE", "THROTTLE_POS", "ENGINE_LOAD", "TIMING_ADVANCE")


def polling(seconds: float, latency_s: float = LATENCY_S) -> Iterator[Figure]:
    """Samples a second for 3, 6 and 12 signals; python-obd's at 6; frame to verdict; processor time at 150 a second."""
    catalogue = default_catalogue()
    answers: dict[tuple[int, ...], bytes] = {}
    for name in NAMES:
        reading = catalogue[name].reading
        assert reading is not None
        answers[1, reading.pid] = bytes([0x40] * reading.length)
    with AdapterServer(
        TableCar(answers), latency_s=latency_s, jitter_s=JITTER_S * latency_s / LATENCY_S, seed=1
    ) as server:
        found = look(server.url, catalogue, Clock(), threading.Event())
        rates = {}
        for count in (3, 6, 12):
            asked = dict.fromkeys(NAMES[:count], 100.0)
            rate, took_us, _ = _poll(LinkSource(server.url, found, asked, catalogue), seconds)
            rates[count] = rate
            least = 0.9 * min(count, found.batch) / latency_s
            promise = f"{least:.0f}, 90 % of a full request a round trip"
            yield Figure(GROUP, f"{count} signals", rate, "samples/s", promise, rate >= least)
        theirs = _python_obd(server.url, seconds)
        yield Figure(GROUP, "python-obd's own loop, 6 signals", theirs, "samples/s")
        ratio = rates[6] / max(theirs, 1e-9)
        yield Figure(GROUP, "6 signals, beside python-obd", ratio, "times", "3", ratio >= 3)
        asked = dict.fromkeys(NAMES[:6], 25.0)
        _, took_us, share = _poll(LinkSource(server.url, found, asked, catalogue), seconds)
        took_us.sort()
        p99 = took_us[len(took_us) * 99 // 100] / 1e3
        yield Figure(GROUP, "prompt to verdict, 99 of 100 are faster than", p99, "ms", "1", p99 < 1)
        what = "processor time at up to 150 samples/s, adapter included"
        yield Figure(GROUP, what, share * 100, "% of a core", "5", share < 0.05)


def _poll(source: LinkSource, seconds: float) -> tuple[float, list[float], float]:
    """Samples a second, microseconds from an answer's end to its verdict, and the share of a core that it took."""
    clock, stop = Clock(), threading.Event()
    judge = Judge(JudgePlan((Capture("a", hold_us=US, keep=(Band("engine_speed", 0.0, 20_000.0),)),)))
    samples, took, start_us, cpu_s = 0, [0.0], 0, 0.0

    def emit(event: SourceEvent) -> None:
        nonlocal samples, start_us, cpu_s
        if not isinstance(event, Instant):
            return
        begin_ns = clock.fine_ns()
        judge.feed(event.t_us, event.values)
        took.append((clock.fine_ns() - begin_ns) / 1e3)
        now_us = clock.steady_us()
        if not start_us:
            start_us, cpu_s = now_us, _cpu_s()
            return
        samples += len(event.values)
        if now_us - start_us >= seconds * US:
            stop.set()

    source.run(emit, stop, clock)
    span_s = (clock.steady_us() - start_us) / US
    return samples / span_s, took, (_cpu_s() - cpu_s) / span_s


def _cpu_s() -> float:
    times = os.times()
    return times.user + times.system


def _python_obd(url: str, seconds: float) -> float:
    """Samples a second of python-obd asking for six signals one after the other."""
    import obd

    logging.getLogger("obd").setLevel(logging.CRITICAL)
    clock = Clock()
    car = obd.OBD(url, protocol="6", fast=False, timeout=1)
    try:
        commands = [obd.commands[name] for name in THEIRS]
        start_us, samples = clock.steady_us(), 0
        while clock.steady_us() - start_us < seconds * US:
            for command in commands:
                samples += car.query(command, force=True).value is not None
        return samples / ((clock.steady_us() - start_us) / US)
    finally:
        car.close()
