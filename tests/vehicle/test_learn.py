"""Ratios and delay learned from a drive."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import numpy as np
import pytest

from coach.recording import Recording, Series
from coach.vehicle import estimate_delay_us, learn_ratios, number_from

SHARED = Path(__file__).parents[2] / "../shared/open_data"

# Automotive OBD-II Dataset (M. Weber, Karlsruhe Institute of Technology, doi 10.35097/1130, CC BY 4.0):
# steady clusters of its turbocharged six-speed car, rpm per km/h.
PUBLISHED = [114.5, 58.5, 37.24, 25.70, 20.22, 16.86]


def open_drive(number):
    """Engine and road speed of one of the four real drives, every row, as their tables carry them."""
    path = SHARED / f"road_drive_{number}.csv.gz"
    if not path.exists():
        pytest.skip("the open drives are not here (../shared/open_data)")
    columns = {"engine_speed": {}, "road_speed": {}}
    with gzip.open(path, "rt", encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(file)
        header = next(rows)
        at = {
            "engine_speed": next(i for i, h in enumerate(header) if h.startswith("Engine RPM")),
            "road_speed": next(i for i, h in enumerate(header) if h.startswith("Vehicle Speed")),
        }
        last_us = day_us = 0
        for row in rows:
            hours, minutes, seconds = row[0].split(":")
            t_us = (int(hours) * 60 + int(minutes)) * 60_000_000 + round(float(seconds) * 1e6) + day_us
            if t_us < last_us - 12 * 3600 * 1_000_000:
                day_us += 24 * 3600 * 1_000_000  # a clock without a date passed midnight
                t_us += 24 * 3600 * 1_000_000
            last_us = t_us
            for name, i in at.items():
                if row[i]:
                    columns[name].setdefault(t_us, float(row[i]))
    start = min(min(c) for c in columns.values())
    return Recording({
        name: Series(np.array(sorted(c), dtype=np.int64) - start, np.array([c[t] for t in sorted(c)]))
        for name, c in columns.items()
    })  # fmt: skip


@pytest.mark.parametrize(("number", "seen"), [(1, 6), (2, 5), (3, 6), (4, 6)])
def test_published_clusters(number, seen):
    """The clusters of the real drives come out, from one sample a second; drive 2 never stays in first gear."""
    found = [cluster.ratio for cluster in learn_ratios(open_drive(number))]
    assert found == pytest.approx(PUBLISHED[-seen:], rel=0.015)


def synthetic(*, delay_us=0, seed=3, minutes=6):
    """A car in gears 1 to 5 with shifts, slips, stops, whole km/h and noise."""
    ratios = [110.0, 60.0, 40.0, 30.0, 24.0]
    rng = np.random.Generator(np.random.PCG64(seed))
    t = np.arange(0, minutes * 60, 0.1)
    kmh, gear = np.zeros(len(t)), np.zeros(len(t), dtype=int)
    v = 0.0
    for i, second in enumerate(t):
        phase = second % 72
        target = 0.0 if phase < 6 else 20 * max(1, int(phase // 12))
        v += max(-0.6, min(0.35, target - v))
        kmh[i], gear[i] = v, min(4, int(v // 21))
    shifting = np.flatnonzero(np.diff(gear) != 0)
    rpm = np.maximum(kmh * np.array(ratios)[gear] * (1 + rng.normal(0, 0.002, len(t))), 800)
    for i in shifting:
        rpm[i - 2 : i + 6] = rng.uniform(900, 4000, len(rpm[i - 2 : i + 6]))
    t_us = np.round(t * 1e6).astype(np.int64)
    road = Series(t_us + delay_us, np.round(kmh))
    return Recording({"engine_speed": Series(t_us, rpm), "road_speed": road}), ratios


def test_clusters_of_a_rough_drive():
    """Shifts, slip, standstill, noise and whole km/h do not move the ratios by more than 1 %."""
    recording, ratios = synthetic()
    clusters = learn_ratios(recording)
    assert [c.ratio for c in clusters] == pytest.approx(ratios, rel=0.01)
    assert all(c.seconds > 8 and c.spread < 0.04 for c in clusters)
    assert number_from(clusters) == pytest.approx(dict(zip(range(1, 6), ratios, strict=True)), rel=0.01)


@pytest.mark.parametrize("delay_us", [0, 300_000, 800_000])
def test_delay_is_found(delay_us):
    """The delay of road speed comes out to a tenth of a second."""
    recording, _ = synthetic(delay_us=delay_us)
    assert estimate_delay_us(recording) == pytest.approx(delay_us, abs=100_000)


def test_nothing_to_learn():
    """No engine speed, too short a drive, or a standing car: no cluster, and a delay of 0."""
    short = Series(np.array([0, 1_000_000]), np.array([50.0, 51.0]))
    standing = Recording({
        "engine_speed": Series(np.arange(600) * 100_000, np.full(600, 820.0)),
        "road_speed": Series(np.arange(600) * 100_000, np.zeros(600)),
    })  # fmt: skip
    empty = Series(np.zeros(0, dtype=np.int64), np.zeros(0))
    for recording in (
        Recording({"road_speed": short}),
        Recording({"road_speed": short, "engine_speed": short}),
        Recording({"road_speed": empty, "engine_speed": short}),
        standing,
    ):
        assert learn_ratios(recording) == []
        assert estimate_delay_us(recording) == 0
