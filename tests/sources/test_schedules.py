"""The four published schedules come out of the reader with their published figures.

Figures: 40 CFR Part 86 and Part 600 (UDDS, HWFET, US06), UN GTR No. 15 Annex 1 (WLTC); see tests/helpers/schedules.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import US
from coach.units import parse_quantity
from tests.helpers.schedules import rows, schedule_kmh, schedule_raw

KM_PER_MILE = 1.609344

# seconds of the table, miles, mean mph, maximum mph. US06 is published as 596 s and tabulated to 600 s.
PUBLISHED_MPH = {
    "UDDS": (1369, 7.45, 19.6, 56.7),
    "HWFET": (765, 10.26, 48.3, 59.9),
    "US06": (600, 8.01, 48.4, 80.3),
}


def distance_km(recording, signal="road_speed"):
    """By the trapezoid rule, from km/h at 1 Hz."""
    series = recording.series[signal]
    return float(np.trapezoid(series.value, series.t_us / US)) / 3600


@pytest.mark.parametrize("name", PUBLISHED_MPH)
def test_durations_distances_and_maxima_in_mph(name):
    """Duration, distance, mean and maximum of the US schedules are the published ones."""
    seconds, miles, mean, top = PUBLISHED_MPH[name]
    recording = schedule_kmh(name)
    series = recording.series["road_speed"]
    assert recording.duration_us == seconds * US
    assert len(series) == seconds + 1
    assert distance_km(recording) / KM_PER_MILE == pytest.approx(miles, abs=0.006)
    assert series.value.max() / KM_PER_MILE == pytest.approx(top, abs=1e-9)
    published_s = 596 if name == "US06" else seconds
    assert distance_km(recording) / KM_PER_MILE / published_s * 3600 == pytest.approx(mean, abs=0.06)


def test_wltc_class_3b():
    """1800 s, 23.266 km, 46.5 km/h mean, 131.3 maximum, 13.4 % stopped; the speeds add up to 83758.6."""
    recording = schedule_kmh("WLTC3b")
    value = recording.series["road_speed"].value
    assert recording.duration_us == 1800 * US
    assert value.sum() == pytest.approx(83758.6, abs=1e-6)
    assert distance_km(recording) == pytest.approx(23.266, abs=0.001)
    assert value[1:].mean() == pytest.approx(46.5, abs=0.05)
    assert value.max() == 131.3
    stopped_s = np.count_nonzero(value[1:] < 1)
    assert stopped_s == 242
    assert stopped_s / 1800 == pytest.approx(0.134, abs=0.001)


def test_phases_of_the_wltc():
    """Its four phases, ending at 589, 1022, 1477 and 1800 s, are 3094.5, 4755.9, 7161.7 and 8254.1 m long."""
    value = schedule_kmh("WLTC3b").series["road_speed"].value
    metres = np.cumsum(value) / 3.6
    ends = metres[[0, 589, 1022, 1477, 1800]]
    assert np.diff(ends) == pytest.approx([3094.5, 4755.9, 7161.7, 8254.1], abs=0.06)


@pytest.mark.parametrize("row", rows("speed_windows.csv"), ids=lambda r: f"{r['cycle']}-{r['lo']}-{r['hi']}{r['unit']}")
def test_samples_in_each_band(row):
    """The band of a recipe admits exactly the samples of the table: both ends are converted by the same figures."""
    low, high = (parse_quantity(f"{row[end]} {row['unit']}", "speed") for end in ("lo", "hi"))
    value = schedule_kmh(row["cycle"]).series["road_speed"].value
    inside = (value >= low) & (value <= high)
    assert np.count_nonzero(inside) == float(row["total_samples_in_band"] or 0)


def test_bounds_are_inclusive_and_tenths_are_kept():
    """HWFET 45 to 55 mph has a longest run of 76 samples; 75 is what binary fractions of m/s would leave."""
    value = schedule_raw("HWFET").series["schedule_speed"].value
    inside = np.flatnonzero(np.diff(np.concatenate([[False], (value >= 45) & (value <= 55), [False]]).astype(int)))
    assert (inside[1::2] - inside[::2]).max() == 76
    kmh = schedule_kmh("HWFET").series["road_speed"].value
    low, high = parse_quantity("45 mph", "speed"), parse_quantity("55 mph", "speed")
    assert np.array_equal((kmh >= low) & (kmh <= high), (value >= 45) & (value <= 55))


@pytest.mark.parametrize("cycle", ["UDDS", "HWFET", "US06", "WLTC3b"])
def test_standstills(cycle):
    """The runs of speed 0 are those of idle_windows.csv, second by second."""
    series = schedule_kmh(cycle).series["road_speed"]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], series.value == 0, [False]]).astype(int)))
    runs = [(a, b - 1) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)]
    expected = [
        (float(r["t_first"]), float(r["t_last"]), int(r["samples"]))
        for r in rows("idle_windows.csv")
        if r["cycle"] == cycle
    ]
    found = [(float(series.t_us[a] / US), float(series.t_us[b] / US), b - a + 1) for a, b in runs]
    assert expected
    assert found == expected
