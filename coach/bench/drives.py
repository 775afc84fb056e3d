"""Made-up drives for the benchmark: ten signals at 10 Hz, with as many edges as asked, and three captures."""

from __future__ import annotations

import numpy as np

from coach.core.spec import Asked, Axis, Band, Capture, Collect, JudgePlan, Limit, Sweep
from coach.recording import US, Recording, Series

MEANS = {
    "road_speed": 80.0, "engine_speed": 2000.0, "manifold_pressure": 100.0, "coolant_temp": 90.0, "pedal": 20.0,
    "throttle": 20.0, "intake_temp": 30.0, "mass_airflow": 20.0, "lambda_1": 1.0, "timing_advance": 20.0,
}  # fmt: skip
RATE_HZ = 10
PERIOD_US = US // RATE_HZ


def steady_drive(rows: int, samples_per_edge: int) -> Recording:
    """A drive of `rows` instants of ten signals; road and engine speed jump out of their bands and back.

    Args:
        rows: instants; the drive has ten times as many samples.
        samples_per_edge: samples of all signals together for each jump.
    """
    n = np.arange(rows)
    t = (n * PERIOD_US).astype(np.int64)
    values = {name: mean * (1 + 0.02 * np.sin(n / 50 + i)) for i, (name, mean) in enumerate(MEANS.items())}
    half = max(1, round(samples_per_edge * 2 / len(MEANS)))
    values["road_speed"][(n // half) % 2 == 1] = 120.0
    values["engine_speed"][((n + half // 2) // half) % 2 == 1] = 4000.0
    return Recording({name: Series(t, v) for name, v in values.items()})


def noisy_drive(rows: int, seed: int = 1) -> Recording:
    """A drive in town with a cool engine: conditions in and out of their bands all the time, seldom all at once."""
    chance = np.random.default_rng(seed)
    warmth = {"coolant_temp": 0.76}
    t = (np.arange(rows) * PERIOD_US).astype(np.int64)
    series = {}
    for name, mean in MEANS.items():
        noise = chance.standard_normal(rows) * mean * 0.06
        series[name] = Series(t, mean * warmth.get(name, 0.85) + noise)
    return Recording(series)


def plan(hold_s: float = 20.0) -> JudgePlan:
    """Two holds and a sweep over ten recorded signals, with a limit."""
    record = tuple(Asked(name, float(RATE_HZ), 5 * PERIOD_US) for name in MEANS)
    stale = dict.fromkeys(MEANS, 2 * US)
    hold = round(hold_s * US)
    limit = Limit("manifold_pressure", high=200.0, unseen_us={"manifold_pressure": US})
    return JudgePlan(
        (
            Capture(
                "part-load", hold_us=hold, keep=(Band("road_speed", 72, 88), Band("coolant_temp", 80)),
                record=record, stale_us=stale,
            ),
            Capture(
                "cruise", hold_us=hold, keep=(Band("engine_speed", 1500, 2500), Band("coolant_temp", 80)),
                limits=(limit,),
                record=record, stale_us=stale,
            ),
            Capture(
                "roll-on", sweep=Sweep("engine_speed", 2200, 3800, dip=100, fastest=3000),
                keep=(Band("pedal", 90),), limits=(limit,), record=record, stale_us=stale,
            ),
        )
    )  # fmt: skip


def collecting() -> JudgePlan:
    """One capture that sums up pieces over four by four cells of engine speed and manifold pressure."""
    axes = (Axis("engine_speed", (1900.0, 1950.0, 2000.0, 2050.0, 2100.0)),
            Axis("manifold_pressure", (97.0, 98.5, 100.0, 101.5, 103.0)))  # fmt: skip
    wanted = tuple((i, k) for i in range(axes[0].cells) for k in range(axes[1].cells))
    capture = Capture(
        "cells", hold_us=5 * US, collect=Collect(600 * US, axes, 10 * US, wanted),
        keep=(Band("road_speed", 72, 88), Band("coolant_temp", 80)),
        record=tuple(Asked(name, float(RATE_HZ), 5 * PERIOD_US) for name in MEANS),
        stale_us=dict.fromkeys(MEANS, 2 * US),
    )  # fmt: skip
    return JudgePlan((capture,))
