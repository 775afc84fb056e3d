"""Speed spans and distance, against the published schedules.

Sources: the schedules are 40 CFR Part 86 App. I and Part 600 App. I, and UN GTR No. 15 Annex 1 (see
tests/helpers/schedules.py). The spans in tests/data/speed_spans.csv were computed from them with numpy, apart from this
project. Those of UDDS and HWFET were computed from speeds that had gone through m/s with 0.447047 instead of 0.44704
and were not rounded again: the same is done here before comparing.
"""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import US, Series
from coach.review.spans import acceleration, distance_m, fastest_span, spans, way_of
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


def test_a_standing_start_is_a_rise_from_nought() -> None:
    """US06: the table has it from 0.0001 mph, 27.3333 s from 135 s on; speed is never below 0."""
    span = fastest_span(series_in("US06", "mph"), 0.0, 60.0)
    assert span is not None
    assert (span.start_s, span.end_s) == (135.0, pytest.approx(162.3333, abs=1e-4))
    assert span.seconds == pytest.approx(27.3333, abs=1e-4)
    standing = Series(np.arange(6) * US, np.array([0.0, 0.0, 0.0, 10.0, 20.0, 20.0]))
    assert [(s.start_s, s.end_s) for s in spans(standing, 0.0, 20.0)] == [(2.0, 4.0)]
    assert list(spans(standing, 0.0, 30.0)) == []
    assert list(spans(Series(np.zeros(0, dtype=np.int64), np.zeros(0)), 0.0, 30.0)) == []


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


def test_whole_kmh_add_to_the_uncertainty() -> None:
    """10 km/h a second in steps of 1: half a step is 0.05 s at each end, beside half of 0.1 s for the sampling."""
    t = np.arange(0, 80, dtype=np.int64) * 100_000
    series = Series(t, np.round(t / 1e6 * 10))
    exact, whole = fastest_span(series, 20.5, 60.5), fastest_span(series, 20.5, 60.5, step=1.0)
    assert exact is not None
    assert whole is not None
    assert exact.uncertainty_s == pytest.approx(0.1)
    assert whole.uncertainty_s == pytest.approx(0.1 + 2 * 0.05, abs=0.02)
    assert abs(whole.seconds - 4.0) <= whole.uncertainty_s


def test_a_reading_that_stands_still_is_worth_little() -> None:
    """Where the value does not move around a crossing, the time to the next change is unknown."""
    t = np.arange(6, dtype=np.int64) * 1_000_000
    (span,) = spans(Series(t, np.array([0.0, 10, 11, 10, 10, 30])), 10.5, 20, step=1.0)
    assert span.uncertainty_s > 1.0


@pytest.mark.parametrize("row", rows("speed_spans.csv"), ids=lambda r: f"{r['cycle']} {r['lo']}-{r['hi']} {r['unit']}")
def test_distance_and_acceleration_of_published_spans(row: dict[str, str]) -> None:
    """Distance against numpy's own trapezium over a fine grid, acceleration against speed gained over time taken."""
    if row["unit"] != "km/h":
        return
    low, high = float(row["lo"]), float(row["hi"])
    series = series_in(row["cycle"], "km/h")
    span = fastest_span(series, low, high)
    assert span is not None
    way = way_of(series, span, low, high)
    fine = np.linspace(span.start_s, span.end_s, 20_001)
    kmh = np.interp(fine, series.t_us / 1e6, series.value)
    assert way.metres == pytest.approx(np.trapezoid(kmh / 3.6, fine), rel=1e-3)
    assert way.ms2 == pytest.approx((high - low) / 3.6 / float(row["fastest_s"]), rel=1e-3)
    assert way.metres_uncertainty == pytest.approx(high / 3.6, rel=1e-9)
    assert 0 < way.ms2_uncertainty < way.ms2


def test_acceleration() -> None:
    """A steady 7.2 km/h a second is 2 m/s2 everywhere (arithmetic); alone or in a hole nothing is said."""
    t = np.arange(0, 50, dtype=np.int64) * 200_000
    even = acceleration(Series(t, t / 1e6 * 7.2))
    assert even.value[3:-3] == pytest.approx(np.full(44, 2.0))
    whole = acceleration(Series(t, np.round(t / 1e6 * 7.2)), window_s=2.0)
    assert np.nanmax(np.abs(whole.value[5:-5] - 2.0)) < 0.25
    assert np.isnan(acceleration(Series(t[::10], t[::10] / 1e6 * 7.2)).value).all()


def test_peak_acceleration_of_a_schedule() -> None:
    """US06's hardest second is 8.4 mph/s in its table (40 CFR Part 86 App. I): 3.76 m/s2; over 2 s a little less."""
    series = schedule_kmh("US06").series["road_speed"]
    steepest = float(np.max(np.diff(series.value))) / 3.6
    assert steepest == pytest.approx(3.76, abs=0.02)
    assert 0.8 * steepest < np.nanmax(acceleration(series, window_s=2.0).value) <= steepest
