"""Cells visited: against pandas, and what the recipe wants that is still empty."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from coach.errors import BadInput
from coach.recording import Series
from coach.review.coverage import coverage_json, visited
from tests.review.made import US, const, hold, series, subject

KEEP = 'engine_speed = { min = "1500 rpm", max = "2000 rpm" }\ncalculated_load = { min = "40 %", max = "50 %" }'
ASK = hold("want", 20, KEEP)


def drive(load=lambda t: 20 + 15 * np.sin(t / 7), rpm=lambda t: 1500 + 900 * np.sin(t / 11), recipe=ASK, **more):
    signals = {
        "engine_speed": series(8, 200, rpm), "calculated_load": series(5, 200, load, start=0.03),
        "road_speed": series(1, 200, const(60)),
    }  # fmt: skip
    return subject(recipe, {k: v for k, v in {**signals, **more}.items() if v is not None})


def test_time_in_cells_against_pandas():
    """Dwell by cell as a pandas crosstab of each load sample's share of time; engine speed interpolated to it."""
    s = drive()
    made = visited([s], "calculated_load", 250, 5)
    load, rpm = s.series("calculated_load"), s.series("engine_speed")
    half = np.diff(load.t_us) / US / 2
    seconds = np.concatenate([half[:1], half[:-1] + half[1:], half[-1:]])
    at = np.interp(load.t_us, rpm.t_us, rpm.value)
    known = (load.t_us >= rpm.t_us[0]) & (load.t_us <= rpm.t_us[-1])
    told = pd.crosstab(
        np.floor(load.value[known] / 5) * 5, np.floor(at[known] / 250) * 250, seconds[known], aggfunc="sum"
    ).fillna(0.0)
    for y in told.index:
        for x in told.columns:
            r, c = np.searchsorted(made.y_edges, y), np.searchsorted(made.x_edges, x)
            assert made.dwell_s[r, c] == pytest.approx(told.loc[y, x])
    assert made.dwell_s.sum() == pytest.approx(seconds[known].sum())


def test_two_drives_add_up():
    """All drives of a revision in one table."""
    one, two = drive(), drive(load=const(62))
    a, b = coverage_json([one]), coverage_json([two])
    both = coverage_json([one, two])
    assert both["total_s"] == pytest.approx(a["total_s"] + b["total_s"], abs=0.05)
    assert both["drives"] == ["made", "made"]


def test_a_wanted_cell_that_nobody_visited_is_named():
    """Load never reached 40 %: empty, with its bounds; when a drive gets there it is no longer named."""
    made = coverage_json([drive()])
    assert [e["text"] for e in made["empty_wanted"]] == ["1500 to 2000 rpm, load, calculated 40 to 50 %"]
    x, y = made["x"]["edges"], made["y"]["edges"]
    wanted = {(x[c], y[r]) for r, row in enumerate(made["wanted"]) for c, on in enumerate(row) if on}
    assert wanted == set()
    full = coverage_json([drive(), drive(load=const(45))])
    assert full["empty_wanted"] == []
    x, y = full["x"]["edges"], full["y"]["edges"]
    assert {(x[c], y[r]) for r, row in enumerate(full["wanted"]) for c, on in enumerate(row) if on} == {(1500, 40)}


def test_a_moment_in_a_wanted_cell_is_not_enough():
    """Two samples, 0.4 s of the second that it takes; five of them are enough."""
    for samples, empty in ((2, True), (6, False)):
        load = series(5, 200, lambda t, n=samples: np.where((t > 50) & (t < 50 + n / 5 - 0.01), 45.0, 20.0))
        made = coverage_json([drive(rpm=const(1700), calculated_load=load)])
        assert bool(made["empty_wanted"]) is empty, samples


def test_a_road_speed_in_a_gear_is_an_engine_speed():
    """72 to 88 km/h in fifth at 25 rpm a km/h are 1800 to 2200 rpm; what is left open is open."""
    ask = hold("fifth", 20, 'road_speed = { min = "72 km/h", max = "88 km/h" }\ngear = 5')
    found = coverage_json([drive(recipe=ask, rpm=const(1000))])["empty_wanted"]
    assert [e["text"] for e in found] == ["1800 to 2200 rpm"]
    assert found[0]["y_low"] is None


def test_wanted_cells_of_a_collection():
    """Each wanted cell with its own time: one is visited long enough, the other not."""
    ask = """
format = 1
title = "Made"
[[capture]]
id = "map"
collect = "60 s"
piece = "5 s"
[capture.keep]
road_speed = { min = "20 km/h" }
[capture.cells]
dwell = "30 s"
[capture.cells.edges]
engine_speed = ["1000 rpm", "2000 rpm", "3000 rpm"]
calculated_load = ["40 %", "60 %"]
"""
    s = drive(recipe=ask, rpm=const(1500), load=const(50))
    found = coverage_json([s])["empty_wanted"]
    assert [e["text"] for e in found] == ["2000 to 3000 rpm, load, calculated 40 to 60 %"]


def test_nothing_is_counted_while_the_engine_stands_or_nobody_looks():
    """At 0 rpm nothing counts; without engine speed the time is told as left out; no silence is filled."""
    assert coverage_json([drive(rpm=const(0))])["total_s"] == 0
    load = series(5, 200, const(30))
    keep = (load.t_us < 50 * US) | (load.t_us > 150 * US)
    made = coverage_json([drive(calculated_load=Series(load.t_us[keep], load.value[keep]))])
    assert made["total_s"] == pytest.approx(101, abs=0.5)
    late = coverage_json([drive(engine_speed=series(8, 100, const(1500), start=100))])
    assert late["left_out_s"] == pytest.approx(100, abs=0.5)


@pytest.mark.parametrize("steps", [{"step_rpm": 0}, {"step_load": -1}, {"step_rpm": float("inf")}, {"step_load": 1e-6}])
def test_widths_that_cannot_be_used(steps):
    """One sentence, before any memory is taken."""
    with pytest.raises(BadInput, match="cell"):
        coverage_json([drive()], **steps)


def test_without_load_or_engine_speed():
    """It says so; another load can be chosen by name."""
    assert "no signal of load" in coverage_json([drive(calculated_load=None)])["why"]
    assert "Engine speed" in coverage_json([drive(engine_speed=None)])["why"]
    assert "Load, absolute" in coverage_json([drive()], load="absolute_load")["why"]
    made = coverage_json([drive(mass_airflow=series(2, 200, const(20)))], load="mass_airflow")
    assert made["y"]["signal"] == "mass_airflow"
    assert [x["signal"] for x in made["loads"]] == ["calculated_load", "mass_airflow"]
