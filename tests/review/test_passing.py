"""What passes: tip-in, overrun, start, deceleration to idle, each with known times and speeds."""

from __future__ import annotations

import numpy as np
import pytest

from coach.review.summary import summary_json
from tests.review.made import const, figures, hold, series, subject, sweep

TIP = """
format = 1
title = "Made"
[[capture]]
id = "tip"
then = "3 s"
[capture.sweep]
pedal_travel = { from = "15 %", to = "50 %", within = "0.7 s" }
"""


def tip(lam, **more):
    signals = {
        "engine_speed": series(10, 30, const(2000)),
        "road_speed": series(4, 30, const(80)),
        "pedal": series(20, 30, lambda t: np.interp(t, [10, 10.4], [22.0, 57.0])),
        "lambda_1": None if lam is None else series(10, 30, lambda t: lam(t - 0.2)),
    }
    return subject(TIP, {k: v for k, v in {**signals, **more}.items() if v is not None})


def test_tip_in():
    """Lambda leaps to 1.15 half a second after the pedal and comes back in a straight line: within 3 % at 2.5 s."""
    lam = lambda t: np.interp(t, [10.5, 10.6, 13.1, 30], [1.0, 1.15, 1.0, 1.0])  # noqa: E731 - shorter than a def
    s = tip(lam)
    found = figures(s, "tip")
    assert found["tip_in.lambda_peak"].value == pytest.approx(1.15, abs=0.01)
    start_s = s.attempt("tip", 0).start_us / 1e6
    assert found["tip_in.lambda_back"].value == pytest.approx(12.6 - start_s, abs=0.11)
    assert found["tip_in.pedal_time"].value == pytest.approx(0.4 * 35 / 50, abs=0.02)
    assert summary_json(s, "tip", 0)["kind"] == "tip_in"


def test_tip_in_that_never_leaves_or_never_comes_back():
    """Nothing to come back from is 0 s; without an end in the recording it cannot be said; nor without lambda."""
    assert figures(tip(const(1.0)), "tip")["tip_in.lambda_back"].value == 0
    gone = figures(tip(lambda t: np.where(t > 10.5, 1.2, 1.0)), "tip")
    assert "not back" in gone["tip_in.lambda_back"].why
    assert "Lambda" in figures(tip(None), "tip")["tip_in.lambda_peak"].why


OVER = sweep("over", "engine_speed", "3500 rpm", "1500 rpm", 'pedal_travel = { max = "1 %" }')


def over(**more):
    """Falls from 4000 rpm at 20 s by 200 rpm a second; fuel is cut from 21 s to 32 s."""
    signals = {
        "engine_speed": series(10, 45, lambda t: np.interp(t, [20, 36], [4000, 800])),
        "pedal": series(10, 45, lambda t: np.where(t < 20, 40.0, 15.0)),
    }
    return subject(OVER, {k: v for k, v in {**signals, **more}.items() if v is not None})


def cut(t):
    return (t >= 21) & (t < 32)


@pytest.mark.parametrize(
    ("name", "make"),
    [("fuel_rate", lambda t: np.where(cut(t), 0.0, 3.0)), ("lambda_1", lambda t: np.where(cut(t - 0.2), 1.99, 1.0)),
     ("fuel_system_status", lambda t: np.where(cut(t), 4.0, 2.0))],
)  # fmt: skip
def test_overrun_from_each_signal_that_shows_it(name, make):
    """3,800 rpm at the cut, 1,600 rpm at the resume, each give or take half a sample."""
    found = figures(over(**{name: series(5, 45, make)}), "over")
    assert found["overrun.fuel_cut"].value == pytest.approx(3800, abs=45)
    assert found["overrun.fuel_resume"].value == pytest.approx(1600, abs=45)
    assert "give or take" in found["overrun.fuel_cut"].note


def test_overrun_that_cannot_be_told():
    """No signal that shows it; never cut; still cut at the end; cut before."""
    assert "no fuel rate" in figures(over(), "over")["overrun.fuel_cut"].why
    never = figures(over(fuel_rate=series(5, 45, const(3))), "over")
    assert "never showed" in never["overrun.fuel_cut"].why
    still = figures(over(fuel_rate=series(5, 45, lambda t: np.where(t >= 21, 0.0, 3.0))), "over")
    assert "still cut" in still["overrun.fuel_resume"].why
    early = figures(over(fuel_rate=series(5, 45, lambda t: np.where(t < 32, 0.0, 3.0))), "over")
    assert "before the recording" in early["overrun.fuel_cut"].why


START = hold("start", 20, 'engine_speed = { min = "500 rpm" }',
             'place = "parked"\n[capture.start]\nrun_time = { max = "5 s" }')  # fmt: skip


def begin(**more):
    """Cranks from 5 s at 200 rpm, runs from 6.2 s, flares to 1,500, settles at 1,000; closed loop at 20 s."""
    way = lambda t: np.interp(t, [0, 5, 5.05, 6.15, 6.5, 9, 60], [0, 0, 200, 200, 1500, 1000, 1000])  # noqa: E731
    signals = {
        "engine_speed": series(10, 60, way),
        "run_time": series(1, 60, lambda t: np.maximum(0, t - 6.2), step=1),
        "coolant_temp": series(1, 60, const(20)),
        "fuel_system_status": series(1, 60, lambda t: np.where(t < 20, 1.0, 2.0)),
    }
    return subject(START, {k: v for k, v in {**signals, **more}.items() if v is not None})


def test_start():
    """Crank time from the first turn to 500 rpm, flare over the settled speed, seconds to closed loop."""
    s = begin()
    found = figures(s, "start")
    assert summary_json(s, "start", 0)["kind"] == "start"
    assert found["start.crank_time"].value == pytest.approx(1.2, abs=0.1)
    assert found["start.flare"].value == pytest.approx(500, abs=20)
    assert found["start.to_closed_loop"].value == pytest.approx(20 - 6.23, abs=0.1)


def test_start_that_cannot_be_told():
    """Running from the first sample; without a status; never closed."""
    running = figures(begin(engine_speed=series(10, 60, const(900))), "start")
    assert "does not show the engine starting" in running["start.crank_time"].why
    assert "status was not recorded" in figures(begin(fuel_system_status=None), "start")["start.to_closed_loop"].why
    open_ = figures(begin(fuel_system_status=series(1, 60, const(1))), "start")
    assert "never in closed loop" in open_["start.to_closed_loop"].why


DECEL = sweep("stop", "engine_speed", "2000 rpm", "1000 rpm")


def decel(way):
    return subject(DECEL, {"engine_speed": series(10, 40, way), "road_speed": series(4, 40, const(20))})


def test_deceleration_to_idle():
    """Falls to 620 before it settles at 800: an undershoot of 180."""
    s = decel(lambda t: np.interp(t, [10, 15, 15.7, 17, 40], [2500, 850, 620, 800, 800]))
    found = figures(s, "stop")
    assert summary_json(s, "stop", 0)["kind"] == "decel_idle"
    assert found["decel_idle.undershoot"].value == pytest.approx(180, abs=15)
    assert found["decel_idle.least_speed"].value == pytest.approx(620, abs=15)
    unsettled = figures(decel(lambda t: np.interp(t, [10, 18, 40], [2500, 850, 3000])), "stop")
    assert "had not settled" in unsettled["decel_idle.undershoot"].why


def test_too_few_samples_say_so():
    """Two lambda samples after a tip-in; an engine speed that begins turning; too short to settle."""
    few = tip(None, lambda_1=series(0.2, 30, const(1.0), start=1.3))
    assert "too few samples" in figures(few, "tip")["tip_in.lambda_peak"].why
    turning = begin(
        engine_speed=series(10, 60, lambda t: np.interp(t, [0, 6.15, 6.5, 9, 60], [200, 200, 1500, 900, 900]))
    )
    assert "engine at rest" in figures(turning, "start")["start.crank_time"].why
    short = begin(engine_speed=series(10, 12, lambda t: np.interp(t, [0, 5, 5.05, 6.15, 6.5], [0, 0, 200, 200, 900])))
    asked = short.attempts["start"]
    assert asked
    if asked[0].end_us < 16_000_000:
        assert "too short" in figures(short, "start")["start.flare"].why
