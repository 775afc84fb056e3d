"""Steady part load: what counts, trims with known values, and what cannot be said."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from coach.recording import Series
from coach.review.part_load import total_trim
from coach.review.summary import summary_json, window_of
from tests.review.made import US, const, figures, hold, ramp, series, subject, tables

ASK = hold("steady", 60, 'road_speed = { min = "60 km/h", max = "100 km/h" }')


def drive(**more):
    """Two minutes at 80 km/h in fifth; trims of +4 % short and -2 % long, at 2 Hz."""
    signals = {
        "road_speed": series(8, 120, const(80), step=1),
        "engine_speed": series(8, 120, ramp(1800, 2200, 0, 120)),
        "manifold_pressure": series(8, 120, const(65)),
        "mass_airflow": series(4, 120, ramp(12, 28, 0, 120)),
        "short_trim_1": series(2, 120, const(4.0)),
        "long_trim_1": series(1, 120, const(-2.0)),
        "fuel_system_status": series(1, 120, const(2)),
        "pedal": series(8, 120, const(30)),
    }
    return subject(ASK, {k: v for k, v in {**signals, **more}.items() if v is not None})


def test_total_trim_is_the_product():
    """(1 + 0.04)(1 - 0.02) - 1 = 1.92 %, not 2 %."""
    found = figures(drive(), "steady")
    assert found["bank_1.total_trim"].value == pytest.approx(1.92)
    assert found["bank_1.short_trim"].value == 4
    assert found["bank_1.long_trim"].value == -2
    assert found["bank_1.total_trim"].note.startswith("Purge was not recorded")


def test_open_loop_is_left_out():
    """In open loop the trims read something else; none of it is in the mean, and the time is told."""
    status = series(1, 120, lambda t: np.where(t < 40, 4.0, 2.0))
    short = series(2, 120, lambda t: np.where(t < 40, -20.0, 4.0))
    found = figures(drive(fuel_system_status=status, short_trim_1=short), "steady")
    assert found["bank_1.total_trim"].value == pytest.approx(1.92)
    assert found["bank_1.left_out"].value == pytest.approx(40, abs=0.6)
    assert found["every.closed_loop"].value == pytest.approx(100 * 80 / 120, abs=1)


def test_overrun_is_left_out():
    """A released pedal while the car rolls: neither trims nor lambda of those moments count."""
    pedal = series(8, 120, lambda t: np.where((t > 50) & (t < 60), 15.0, 30.0))
    lam = series(4, 120, lambda t: np.where((t > 50) & (t < 60), 1.99, 1.0))
    found = figures(drive(pedal=pedal, lambda_1=lam), "steady")
    assert found["steady.lambda"].value == pytest.approx(1.0, abs=0.005)
    assert found["bank_1.left_out"].value == pytest.approx(10, abs=1)


def test_purge_is_kept_apart():
    """With the tank's vapour the trims are others; each has its own mean."""
    purge = series(1, 120, lambda t: np.where(t < 60, 0.0, 30.0))
    short = series(2, 120, lambda t: np.where(t < 60, 4.0, -6.0))
    found = figures(drive(purge=purge, short_trim_1=short), "steady")
    assert found["bank_1.total_trim"].value == pytest.approx(1.92)
    assert found["bank_1.total_trim_purge"].value == pytest.approx(((0.94 * 0.98) - 1) * 100)
    assert found["bank_1.purge_time"].value == pytest.approx(60, abs=0.6)


@pytest.mark.parametrize(
    ("missing", "figure", "because"),
    [
        ("fuel_system_status", "bank_1.total_trim", "trims mean nothing in open loop"),
        ("short_trim_1", "bank_1.total_trim", "no signal “Short fuel trim, bank 1”"),
        ("long_trim_1", "bank_1.total_trim", "no signal “Long fuel trim, bank 1”"),
        ("mass_airflow", "bank_1.trim_by_airflow", "no signal “Mass airflow”"),
        ("short_trim_2", "bank_2.total_trim", "bank 2 were not recorded"),
    ],
)
def test_what_cannot_be_said_says_why(missing, figure, because):
    """One sentence that names what is missing."""
    found = figures(drive(**{missing: None}), "steady")[figure]
    assert found.value is None
    assert found.why.startswith("Cannot be said, because")
    assert because in found.why


def test_never_closed():
    """Open loop all the time: no trim at all."""
    found = figures(drive(fuel_system_status=series(1, 120, const(4))), "steady")
    assert "never in closed loop" in found["bank_1.total_trim"].why
    assert "closed loop with the pedal pressed" in found["steady.road_speed"].why


def test_bank_2_has_its_own_group():
    """Banks are never mixed."""
    found = figures(drive(short_trim_2=series(2, 120, const(-3)), long_trim_2=series(1, 120, const(1))), "steady")
    assert found["bank_2.total_trim"].value == pytest.approx((0.97 * 1.01 - 1) * 100)
    assert found["bank_1.total_trim"].value == pytest.approx(1.92)


def test_trim_by_airflow_and_by_cell_against_pandas():
    """The same means by bin as a pandas groupby over the same samples; time adds up to the window."""
    rng = np.random.default_rng(2)
    short = series(2, 120, lambda t: 3 * np.sin(t / 9) + rng.normal(0, 1, len(t)), step=100 / 128)
    s = drive(short_trim_1=short)
    w = window_of(s, "steady", 0)
    total = total_trim(w, 1)
    frame = pd.DataFrame({
        "air": np.interp(total.t_us, *_xy(s, "mass_airflow")), "rpm": np.interp(total.t_us, *_xy(s, "engine_speed")),
        "trim": total.value,
    })  # fmt: skip
    by_air = frame.groupby((frame.air // 5) * 5).trim.agg(["mean", "count"])
    made = tables(s, "steady")["trim_by_airflow"]
    assert [(r[0], r[3], r[5]) for r in made.rows] == [
        (k, pytest.approx(m), n) for k, m, n in zip(by_air.index, by_air["mean"], by_air["count"], strict=True)
    ]
    assert sum(r[2] for r in made.rows) == pytest.approx(120, abs=0.6)
    by_cell = frame.groupby((frame.rpm // 500) * 500).trim.agg(["mean", "count"])
    cells = tables(s, "steady")["trim_by_cell"]
    assert [(r[0], r[5], r[7]) for r in cells.rows] == [
        (k, pytest.approx(m), n) for k, m, n in zip(by_cell.index, by_cell["mean"], by_cell["count"], strict=True)
    ]
    assert {(r[2], r[3]) for r in cells.rows} == {(60.0, 70.0)}


def _xy(s, name):
    x = s.series(name)
    return x.t_us, x.value


def test_means_against_pandas():
    """Mean and standard deviation of the window's own samples."""
    s = drive()
    found, w = figures(s, "steady"), window_of(s, "steady", 0)
    told = pd.Series(w.series("engine_speed").value)
    assert found["steady.engine_speed"].value == pytest.approx(told.mean())
    assert found["steady.engine_speed"].spread == pytest.approx(told.std())


def test_achieved_rate_and_gaps_stand_beside_each_signal():
    """A signal that fell silent before the end has a gap up to the end."""
    air = series(4, 120, ramp(12, 28, 0, 120))
    keep = (air.t_us < 30 * US) | ((air.t_us > 33 * US) & (air.t_us < 110 * US))
    made = summary_json(drive(mass_airflow=Series(air.t_us[keep], air.value[keep])), "steady", 0)
    rates = {r["signal"]: r for r in made["rates"]}
    assert rates["road_speed"]["rate_hz"] == pytest.approx(8)
    assert rates["road_speed"]["max_gap_s"] == pytest.approx(0.125)
    assert rates["mass_airflow"]["max_gap_s"] == pytest.approx(10.25)
    assert made["kind"] == "part_load"
    assert not math.isnan(made["end_s"])
