"""Revision to revision: differences that were put in are found, noise is called noise, and what would settle it."""

from __future__ import annotations

import json

import numpy as np
import pytest

from coach.errors import NotFound
from coach.review.compare import compare_json
from tests.review.made import const, hold, series, subject, sweep

ASK = sweep("pull", "engine_speed", "2000 rpm", "4500 rpm", "gear = 3", "times = 3")
HOLD = hold("steady", 30, 'road_speed = { min = "70 km/h", max = "90 km/h" }', "times = 3")
PERIOD = 30.0


def pulls(count=3, *, boost=80.0, timing=10.0, spread=0.5, rate=400.0, seed=1, revision=1):
    """Some pulls, one every 30 s; boost and timing differ from pull to pull by a normal spread."""
    rng = np.random.default_rng(seed)
    each = rng.normal(0, spread, count)
    seconds = count * PERIOD

    def rpm(t):
        return np.interp(t % PERIOD, [0, 8, 8 + 2800 / rate, 10 + 2800 / rate, PERIOD], [1800, 1800, 4600, 1500, 1500])

    def off(t):
        return each[np.minimum((t // PERIOD).astype(int), count - 1)]

    signals = {
        "engine_speed": series(10, seconds, rpm, step=0.25),
        "road_speed": series(10, seconds, lambda t: rpm(t) / 40, step=1),
        "manifold_pressure": series(10, seconds, lambda t: 99 + boost + off(t) + rng.normal(0, 0.3, len(t))),
        "barometric_pressure": series(1, seconds, const(99)),
        "timing_advance": series(10, seconds, lambda t: timing + off(t) / 4 + rng.normal(0, 0.1, len(t))),
    }
    s = subject(ASK.replace("format = 1", f"format = 1\nrevision = {revision}"), signals)
    assert len(s.secured("pull")) == count
    return s


def by_id(made, id_, name=None):
    return next(f for f in made["figures"] if f["id"] == id_ and (name is None or f["name"] == name))


def test_a_difference_far_beyond_the_repeats_is_real():
    """10 kPa more boost and 3 degrees less timing over three repeats each."""
    made = compare_json(pulls(), pulls(boost=90, timing=7, seed=2, revision=2), "pull")
    peak = by_id(made, "boost_peak")
    assert peak["real"]
    assert peak["difference"] == pytest.approx(10, abs=1.5)
    assert peak["uncertainty"] < 5
    assert "more than the repeats scatter (3 and 3)" in peak["sentence"]
    assert "Peak" in made["sentence"]
    assert (made["a"]["revision"], made["b"]["revision"], made["b"]["repeats"]) == (1, 2, 3)
    table = next(t for t in made["tables"] if t["id"] == "by_speed_timing_advance")
    assert all(row[4] == pytest.approx(-3, abs=0.6) and row[6] == "yes" for row in table["rows"])
    json.dumps(made, allow_nan=False)


def test_a_difference_within_the_repeats_is_noise_and_says_what_would_settle_it():
    """1 kPa against a spread of 4: not real, and the number of repeats that would tell."""
    made = compare_json(pulls(spread=4.0), pulls(boost=81, spread=4.0, seed=3, revision=2), "pull")
    peak = by_id(made, "boost_peak")
    assert not peak["real"]
    assert "within the noise" in peak["sentence"]
    assert peak["repeats_needed"] is None or peak["repeats_needed"] > 3


def test_the_same_car_is_seldom_called_changed():
    """Ten pairs of drives that differ only by their noise: a figure stands out about as often as 1 in 20."""
    real = []
    for seed in range(10):
        made = compare_json(pulls(seed=seed), pulls(seed=100 + seed, revision=2), "pull")
        real.append(by_id(made, "boost_hold")["real"])
    assert sum(real) <= 2


def test_one_repeat_is_never_enough():
    """However large the difference: it says how many to record."""
    made = compare_json(pulls(1), pulls(3, boost=140, revision=2), "pull")
    assert not any(f["real"] for f in made["figures"])
    assert "record at least three of each" in by_id(made, "boost_peak")["sentence"]
    assert "single qualified attempt" in made["sentence"]
    assert all(row[6] == "one repeat" for t in made["tables"] for row in t["rows"])


def test_a_quicker_pull_is_quicker_in_every_way():
    """25 % more rise: the speed span takes a fifth less, the power in each bin is higher."""
    made = compare_json(pulls(), pulls(rate=500, seed=4, revision=2), "pull")
    (span,) = made["spans"]
    assert span["text"] == "60 to 110 km/h"
    assert span["a_s"] == pytest.approx(50 * 40 / 400, rel=0.01)
    assert span["difference_s"] == pytest.approx(-1.0, abs=0.03)
    assert span["real"]
    rows = made["power"]["table"]["rows"]
    assert all(row[4] > 0 for row in rows[1:-1])
    assert {c["standard"] for c in made["power"]["corrections"]["b"]} == set()
    assert "boosted" in made["caveat"]


def test_without_a_mass_there_is_no_power():
    def bare(s):
        s.vehicle = None
        return s

    made = compare_json(bare(pulls()), bare(pulls(seed=2)), "pull")
    assert "mass is not known" in made["power"]["why"]


def test_the_overlay_has_both_over_engine_speed():
    """At each signal's own samples; a hold is laid over time since its start."""
    made = compare_json(pulls(), pulls(seed=2), "pull")["overlay"]
    assert made["over"]["unit"] == "rpm"
    boost = next(x for x in made["signals"] if x["signal"] == "gauge_boost")
    assert len(boost["a"]["x"]) == len(boost["a"]["values"]) > 20
    assert min(boost["a"]["x"]) >= 1900


def steady(trim, seed, *, revision=1):
    rng = np.random.default_rng(seed)
    gone = lambda t: np.where(t % 50 > 44, 100.0, 80.0)  # noqa: E731 - shorter than a def
    return subject(HOLD.replace("format = 1", f"format = 1\nrevision = {revision}"), {
        "road_speed": series(4, 150, gone), "engine_speed": series(8, 150, const(2000)),
        "short_trim_1": series(2, 150, lambda t: trim + rng.normal(0, 1, len(t))),
        "long_trim_1": series(1, 150, const(0)), "fuel_system_status": series(1, 150, const(2)),
    })  # fmt: skip


def test_trims_of_a_hold():
    """Three windows each; 3 % more short trim stands out."""
    made = compare_json(steady(1.0, 1), steady(4.0, 2, revision=2), "steady")
    trim = by_id(made, "total_trim")
    assert trim["difference"] == pytest.approx(3, abs=0.5)
    assert trim["real"]
    assert made["power"] is None
    assert made["overlay"]["over"]["unit"] == "s"
    assert made["tables"] == []


def test_a_drive_without_a_qualified_window_is_one_sentence():
    """And an unknown capture is another."""
    slow = subject(ASK, {"engine_speed": series(10, 30, const(900)), "road_speed": series(4, 30, const(20))})
    with pytest.raises(NotFound, match="no qualified attempt"):
        compare_json(pulls(), slow, "pull")
    with pytest.raises(NotFound, match="no such capture"):
        compare_json(pulls(), pulls(), "other")
