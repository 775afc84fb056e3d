"""Speed spans and distance, against the published schedules.

Sources: the schedules are 40 CFR Part 86 App. I and Part 600 App. I, and UN GTR No. 15 Annex 1 (see
tests/helpers/schedules.py). The spans in tests/data/speed_spans.csv were computed from them with numpy, apart from this
project. Those of UDDS and HWFET were computed from speeds that had gone through m/s with 0.447047 instead of 0.44704
and were not rounded again: the same is done here before comparing.
"""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import Series
from coach.review.spans import distance_m, fastest_span, spans
from tests.helpers.schedules import rows, schedule_kmh, schedule_raw

MPH_KMH = 1.609344


def series_in(cycle: str, unit: str) -> Series:
    """A schedule's speed in mph or km/h, as the table of spans has it."""
    raw = schedule_raw(cycle).series["schedule_speed"]
    value = raw.value * (0.447047 / 0.44704) if cycle in ("UDDS", "HWFET") else raw.value
    if cycle == "WLTC3b" and unit == "mph":
        value = value / MPH_KMH
    if cycle != "WLTC3b" and unit == "km/h":
        value = value * MPH_KMH
    return Series(raw.t_us, value)


@pytest.mark.parametrize("row", rows("speed_spans.csv"), ids=lambda r: f"{r['cycle']} {r['lo']}-{r['hi']} {r['unit']}")
def test_spans_of_the_published_schedules(row: dict[str, str]) -> None:
    """The quickest span, its two crossings, how many there are and how many never fall, as the table has them."""
    found = list(spans(series_in(row["cycle"], row["unit"]), float(row["lo"]), float(row["hi"])))
    quickest = fastest_span(series_in(row["cycle"], row["unit"]), float(row["lo"]), float(row["hi"]))
    assert quickest is not None
    assert len(found) == int(row["n"])
    assert sum(s.monotone for s in found) == int(row["n_monotone"])
    assert quickest.monotone == (row["monotone"] == "True")
    assert quickest.seconds == pytest.approx(float(row["fastest_s"]), abs=2e-4)
    assert quickest.start_s == pytest.approx(float(row["t_lo"]), abs=2e-4)
    assert quickest.end_s == pytest.approx(float(row["t_hi"]), abs=2e-4)
    assert quickest.uncertainty_s == 1.0


@pytest.mark.parametrize(
    ("cycle", "metres"),
    [("UDDS", 7.45 * 1609.344), ("HWFET", 10.26 * 1609.344), ("US06", 8.01 * 1609.344), ("WLTC3b", 23266.0)],
)
def test_distance_of_the_published_schedules(cycle: str, metres: float) -> None:
    """Published: UDDS 7.45 mi, HWFET 10.26 mi, US06 8.01 mi, WLTC 3b 23.266 km (the last digit is rounded)."""
    assert distance_m(schedule_kmh(cycle).series["road_speed"]) == pytest.approx(metres, rel=1e-3)


def test_a_rise_over_a_hole_is_no_span() -> None:
    """Between samples further apart than 5 s nobody knows the speed: no span, and no distance."""
    t = np.array([0, 1, 2, 9, 10], dtype=np.int64) * 1_000_000
    series = Series(t, np.array([0.0, 10.0, 20.0, 60.0, 70.0]))
    assert fastest_span(series, 5, 50) is None
    assert [s.seconds for s in spans(series, 5, 15)] == [1.0]
    assert distance_m(series) == pytest.approx((5 + 15 + 65) / 3.6)


def test_a_second_rise_needs_its_own_start() -> None:
    """Falling back between the two and rising again is one span from the last start; going up twice is two."""
    t = np.arange(8, dtype=np.int64) * 1_000_000
    series = Series(t, np.array([0.0, 20, 5, 20, 40, 30, 40, 0]))
    assert [(s.start_s, s.end_s) for s in spans(series, 10, 35)] == [(pytest.approx(7 / 3), pytest.approx(3.75))]


def test_the_lower_value_comes_first() -> None:
    """Anything else is refused with both numbers."""
    with pytest.raises(ValueError, match="not 50 and 50"):
        fastest_span(Series(np.zeros(0, dtype=np.int64), np.zeros(0)), 50, 50)
