"""Outside truth: the longest windows in published drive schedules, found independently with DuckDB, pandas and scipy.

Schedules: UDDS and US06 from 40 CFR Part 86 Appendix I, HWFET from 40 CFR Part 600 Appendix I, WLTC class 3b from UN
GTR No. 15 Annex 1, all at 1 Hz. `speed_windows.csv` gives the longest run of each in a band, `idle_windows.csv` the
standstills.
"""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coach.core.afterwards import judge_instants, judge_recording
from coach.core.spec import Asked, Band, Capture, JudgePlan
from coach.recording import US, Recording, Series

DATA = Path(__file__).parents[1] / "data"
FILES = {"UDDS": "udds", "HWFET": "hwfet", "US06": "us06", "WLTC3b": "wltc_class_3b"}
KMH_PER_MPH = 1.609344


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(file))


BANDS = table("speed_windows.csv")
IDLE = table("idle_windows.csv")


@cache
def schedule(cycle: str, unit: str) -> Recording:
    """The schedule's speed in `unit`, as the judge takes it."""
    rows = table(f"schedule_{FILES[cycle]}.csv")
    own = "mph" if "speed_mph" in rows[0] else "km/h"
    speed = np.array([float(row["speed_mph" if own == "mph" else "speed_kmh"]) for row in rows])
    if own != unit:
        speed = speed * KMH_PER_MPH if own == "mph" else speed / KMH_PER_MPH
    t_us = np.array([round(float(row["t_s"]) * US) for row in rows], dtype=np.int64)
    return Recording({"speed": Series(t_us, speed)})


def windows(cycle: str, unit: str, low: float | None, high: float | None) -> list[tuple[float, float]]:
    """First and last second of every window in a band, as far as the judge claims any."""
    capture = Capture(
        "band",
        hold_us=1,
        keep=(Band("speed", low, high),),
        record=(Asked("speed", 1.0, 1_500_000),),
        stale_us={"speed": 1_500_000},
    )
    verdict = judge_recording(JudgePlan((capture,)), schedule(cycle, unit))
    return [(a.start_us / US, a.end_us / US) for a in verdict.attempts["band"]]


def longest(found: list[tuple[float, float]]) -> tuple[float, float] | None:
    return max(found, key=lambda w: (w[1] - w[0], -w[0]), default=None)


@pytest.mark.parametrize("row", BANDS, ids=lambda r: f"{r['cycle']} {r['lo']}-{r['hi']} {r['unit']}")
def test_longest_window_has_the_published_first_and_last_second(row):
    """Bounds included, the longest window of each schedule in each band is exactly the table's."""
    found = windows(row["cycle"], row["unit"], float(row["lo"]), float(row["hi"]))
    if row["longest_samples"] == "0":
        assert found == []
        return
    assert longest(found) == (float(row["t_first"]), float(row["t_last"]))
    assert len(found) == int(row["runs"])
    assert sum(last - first + 1 for first, last in found) == float(row["total_samples_in_band"])


@pytest.mark.parametrize(
    "row",
    [r for r in BANDS if r["strict_longest_samples"]],
    ids=lambda r: f"{r['cycle']} {r['lo']}-{r['hi']} {r['unit']}",
)
def test_with_the_bounds_left_out_the_windows_are_the_strict_ones(row):
    """A band between the next numbers inside is the band without its bounds; HWFET 40-50 mph falls from 140 to 86."""
    low, high = float(row["lo"]), float(row["hi"])
    found = windows(row["cycle"], row["unit"], math.nextafter(low, high), math.nextafter(high, low))
    best = longest(found)
    assert best is not None
    assert best[1] - best[0] + 1 == float(row["strict_longest_samples"])


@pytest.mark.parametrize("cycle", FILES)
def test_standstills_are_the_published_ones(cycle):
    """Speed of at most 0: every standstill of the schedule, none more, to the second."""
    unit = "km/h" if cycle == "WLTC3b" else "mph"
    expected = [(float(r["t_first"]), float(r["t_last"])) for r in IDLE if r["cycle"] == cycle]
    assert windows(cycle, unit, None, 0.0) == expected


@pytest.mark.parametrize("cycle", FILES)
def test_live_and_stored_say_the_same_of_a_schedule(cycle):
    """What the phone would have said second by second is what the stored drive comes to."""
    captures = tuple(
        Capture(f"{low}", hold_us=5 * US, keep=(Band("speed", low, low + 20.0),), stale_us={"speed": 1_500_000})
        for low in (0.0, 30.0, 50.0)
    )
    plan = JudgePlan(captures)
    recording = schedule(cycle, "km/h")
    assert judge_instants(plan, recording).events == judge_recording(plan, recording).events
