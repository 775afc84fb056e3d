"""A full-pedal sweep with known curves: bins at own samples, boost figures, faults that were put in."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from coach.review.bins import bins_of, by_speed
from coach.review.summary import window_of
from coach.review.sweep import onset
from tests.review.made import CAR, US, const, figures, series, subject, sweep, tables

ASK = sweep("pull", "engine_speed", "2000 rpm", "5000 rpm", 'pedal_travel = { min = "90 %" }\ngear = 3')
RATE = 500.0
"""Rise of engine speed in rpm a second."""


def rpm(t):
    return np.interp(t, [0, 20, 28, 29, 60], [1800, 1800, 1800 + 8 * RATE, 1500, 1500])


def two(t):
    """Two pulls: from 20 to 28 s and from 60 to 68 s."""
    return np.where(t < 40, rpm(t), rpm(t - 40))


def boost(t):
    """Rises in two seconds from 20 to 90, settles at 80; gauge, kPa."""
    at = np.where(t < 40, t, t - 40)
    return np.interp(at, [20, 22, 24, 28], [20, 90, 80, 80])


def drive(car=CAR, **more):
    signals = {
        "engine_speed": series(10, 80, two, step=0.25),
        "road_speed": series(10, 80, lambda t: two(t) / 40.0, step=1),
        "manifold_pressure": series(10, 80, lambda t: 100 + boost(t)),
        "barometric_pressure": series(0.5, 80, const(100)),
        "pedal": series(10, 80, lambda t: np.where((two(t) > 1805), 85.0, 15.0)),
        "throttle": series(10, 80, const(84)),
        "timing_advance": series(10, 80, lambda t: two(t) / 500, step=0.5),
        "lambda_1": series(5, 80, lambda t: 1.2 - two(t - 0.2) / 10_000),
        "commanded_lambda": series(5, 80, lambda t: 1.18 - two(t) / 10_000),
        "intake_temp": series(1, 80, lambda t: np.interp(t, [20, 28, 60, 68], [25, 33, 30, 40])),
    }
    return subject(ASK, {k: v for k, v in {**signals, **more}.items() if v is not None}, car=car)


@pytest.fixture(scope="module")
def pulls():
    s = drive()
    assert len(s.secured("pull")) == 2, s.attempts
    return s


def test_boost_figures(pulls):
    """Onset is the first 90 % of the peak: 81 of 90 kPa, 1.743 s after 20 s; then it overshoots by 10."""
    found = figures(pulls, "pull")
    onset_s = 20 + 2 * (81 - 20) / 70
    assert found["boost.boost_onset_speed"].value == pytest.approx(1800 + RATE * (onset_s - 20), abs=10)
    start_s = pulls.attempt("pull", 0).start_us / US
    assert found["boost.boost_onset_time"].value == pytest.approx(onset_s - start_s, abs=0.02)
    assert found["boost.boost_peak"].value == pytest.approx(90, abs=2)
    assert found["boost.boost_hold"].value == pytest.approx(80)
    assert found["boost.boost_overshoot"].value == pytest.approx(10, abs=2)


def test_onset_is_interpolated_between_samples():
    """Between the sample before 90 % and the one that reached it."""
    t_us, peak = onset(series(1, 4, lambda t: np.array([0.0, 50, 100, 100, 100])[: len(t)]))
    assert (t_us, peak) == (1_800_000, 100)
    assert onset(series(1, 3, const(-5))) is None
    assert onset(series(1, 0, const(5))) is None
    assert onset(series(1, 3, const(5)))[0] == 0


def test_bins_against_pandas(pulls):
    """250 rpm bins of each signal at its own samples, engine speed interpolated: as a pandas groupby."""
    w = window_of(pulls, "pull", 0)
    for name in ("timing_advance", "gauge_boost", "commanded_lambda", "intake_temp"):
        x = w.series(name)
        speed = np.interp(x.t_us, pulls.series("engine_speed").t_us, pulls.series("engine_speed").value)
        told = pd.Series(x.value).groupby(speed // 250).mean()
        made = bins_of(w, name)
        assert list(made) == [int(k) for k in told.index]
        assert [m[0] for m in made.values()] == pytest.approx(told.tolist())


def test_no_value_is_carried_into_a_bin_without_a_sample(pulls):
    """Intake temperature came once a second, 500 rpm apart: every other bin is empty."""
    table = by_speed(window_of(pulls, "pull", 0))
    column = [c.id for c in table.columns].index("intake_temp")
    cells = [row[column] for row in table.rows]
    assert cells.count(None) >= len(cells) // 2 - 1
    assert all(c is not None for c in [row[0] for row in table.rows])


def test_lambda_is_shifted_by_the_stated_delay():
    """Seen 0.2 s late: shifted back it lies on its own curve of engine speed; unshifted it is 0.01 off."""
    s = drive()
    late, plain = window_of(s, "pull", 0, 0.2), window_of(s, "pull", 0, 0.0)
    for w, off in ((late, 0.0), (plain, 0.01)):
        x = w.series("lambda")
        speed = w.at("engine_speed", x.t_us)
        good = np.isfinite(speed) & (speed > 2200)
        assert np.mean(x.value[good] - (1.2 - speed[good] / 10_000)) == pytest.approx(off, abs=1e-3)


def test_commanded_stands_beside_measured(pulls):
    """Measured lambda minus commanded by bin: 0.02."""
    table = tables(pulls, "pull")["beside"]
    assert [row[2] for row in table.rows if row[2] is not None] == pytest.approx(
        [0.02] * sum(row[2] is not None for row in table.rows), abs=2e-3
    )


def test_distance_time_and_rise(pulls):
    """3,000 rpm at 500 rpm/s are 6 s; the distance is the mean speed of 87.5 km/h times that."""
    found = figures(pulls, "pull")
    assert found["pull.sweep_time"].value == pytest.approx(6.0, abs=0.02)
    assert found["pull.sweep_rate"].value == pytest.approx(RATE, rel=0.01)
    assert found["pull.distance"].value == pytest.approx(87.5 / 3.6 * 6.0, rel=0.03)
    assert found["pull.intake_rise"].value == pytest.approx(5, abs=1.1)


def test_time_since_the_last_pull(pulls):
    """From the end of the first to the start of the second; before the first there was none."""
    a, b = pulls.attempts["pull"]
    assert figures(pulls, "pull", b.number)["pull.since_last_pull"].value == pytest.approx((b.start_us - a.end_us) / US)
    assert "first pull" in figures(pulls, "pull")["pull.since_last_pull"].why


def test_timing_under_the_other_repeat():
    """4 degrees less in the second pull from 3,500 rpm on: found there; from the first pull's side it is not under."""
    s = drive(timing_advance=series(10, 80, lambda t: two(t) / 500 - np.where((t > 40) & (two(t) > 3500), 4.0, 0.0)))
    found = figures(s, "pull", 1)["faults.timing_under"]
    assert found.value == pytest.approx(4, abs=0.2)
    assert "from 3500, 3750" in found.note
    assert figures(s, "pull", 0)["faults.timing_under"].note.startswith("Nowhere")


def test_throttle_closing_at_full_pedal():
    """Closing by 20 points is told with its engine speed; by 5 it is nothing."""
    dip = lambda t, by: 84.0 - np.where((t > 23) & (t < 24), by, 0.0)  # noqa: E731 - shorter than a def
    found = figures(drive(throttle=series(10, 80, lambda t: dip(t, 20))), "pull")["faults.throttle_closing"]
    assert found.value == pytest.approx(20)
    assert "takes torque away" in found.note
    assert "3350 rpm" in found.note
    small = figures(drive(throttle=series(10, 80, lambda t: dip(t, 5))), "pull")["faults.throttle_closing"]
    assert small.note.startswith("Less than 10")


def test_slip_of_a_tyre():
    """Engine speed 7 % over what the road speed makes of it: told; half a km/h of rounding is not slip."""
    found = figures(drive(road_speed=series(10, 80, lambda t: two(t) / 40 / 1.07, step=1)), "pull")["faults.slip"]
    assert found.value == pytest.approx(6.5, abs=0.8)
    assert found.note.startswith("More than 5 %")
    assert figures(drive(), "pull")["faults.slip"].value < 1.0


def test_rail_pressure():
    """Its least, and how far it stayed under what was commanded."""
    more = {
        "rail_pressure": series(10, 80, lambda t: np.where(two(t) > 4000, 14_000.0, 20_000.0)),
        "rail_pressure_commanded": series(10, 80, const(20_000)),
    }
    found = figures(drive(**more), "pull")
    assert found["faults.rail_least"].value == 14_000
    assert found["faults.rail_short"].value == 6_000


@pytest.mark.parametrize(
    ("change", "figure", "because"),
    [
        ({"barometric_pressure": None}, "boost.boost_peak", "Barometric pressure"),
        ({"throttle": None}, "faults.throttle_closing", "Throttle plate"),
        ({"rail_pressure": None}, "faults.rail_least", "Rail pressure"),
        ({"intake_temp": None}, "pull.intake_rise", "Intake air"),
        ({"timing_advance": None}, "faults.timing_under", "Timing advance"),
        ({"lambda_1": None}, "pull.lambda", "Lambda"),
        ({}, "faults.knock", "no knock signal"),
    ],
)
def test_what_cannot_be_said_says_why(change, figure, because):
    """One sentence that names what is missing."""
    found = figures(drive(**change), "pull")[figure]
    assert found.value is None
    assert because in found.why


def test_naturally_aspirated_and_saturated():
    """No boost figures without a charger; no onset or overshoot where the encoding ended, and the peak is at least."""
    plain = figures(drive(car=CAR.replace("turbocharged", "naturally aspirated")), "pull")
    assert "naturally aspirated" in plain["boost.boost_peak"].why
    full = figures(drive(manifold_pressure=series(10, 80, lambda t: np.minimum(255, 200 + boost(t)))), "pull")
    assert "end of its encoding" in full["boost.boost_onset_speed"].why
    assert "At least this" in full["boost.boost_peak"].note
    low = figures(drive(manifold_pressure=series(10, 80, const(90))), "pull")
    assert "never rose above" in low["boost.boost_peak"].why


def test_knock_where_it_was_recorded():
    """Any signal that the car or recipe names so, with its range."""
    found = figures(drive(knock_retard=series(10, 80, lambda t: np.where(two(t) > 4000, 3.0, 0.0))), "pull")
    assert "0.00 to 3.00" in found["faults.knock"].note


def test_signals_that_have_too_little_to_say():
    """One intake sample, a pedal never floored, no pedal travel, no road speed, no ratios, nothing close together."""
    once = figures(drive(intake_temp=series(1, 0, const(25), start=24)), "pull")["pull.intake_rise"]
    assert "too few samples" in once.why
    ask = sweep("pull", "engine_speed", "2000 rpm", "5000 rpm")
    signals = {"engine_speed": series(10, 80, two), "throttle": series(10, 80, const(80))}
    bare = subject(ask, {**signals, "pedal": series(10, 80, const(30))})
    found = figures(bare, "pull")
    assert "never at 90 %" in found["faults.throttle_closing"].why
    assert "Road speed" in found["faults.slip"].why
    assert "Road speed" in found["pull.distance"].why
    nothing = figures(subject(ask, signals, car=None), "pull")
    assert "pedal's travel is not known" in nothing["faults.throttle_closing"].why
    road = figures(subject(ask, {**signals, "road_speed": series(2, 80, const(60))}, car=None), "pull")
    assert "ratios are not known" in road["faults.slip"].why
    still = figures(subject(ask, {**signals, "road_speed": series(2, 80, const(0))}), "pull")
    assert "close together" in still["faults.slip"].why
    assert "Rail pressure" in found["faults.rail_least"].why


def test_slip_without_a_gear_asked_takes_the_nearest_ratio():
    """Third gear by its ratio, 7 % over it."""
    ask = sweep("pull", "engine_speed", "2000 rpm", "5000 rpm")
    s = subject(ask, {"engine_speed": series(10, 80, two), "road_speed": series(10, 80, lambda t: two(t) / 40 / 1.07)})
    assert figures(s, "pull")["faults.slip"].value == pytest.approx(6.3, abs=0.8)
