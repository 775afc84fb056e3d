"""Estimated power: of cars whose power is known, by our own engine model and by an independent integrator.

The car of the pull is vehicle 1 of the demo sheet in package wltp-gearshift 1.4.0; its full-load points and the times
of the flat-road pull were computed apart from this project (scipy quad and solve_ivp agree).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from coach.errors import BadInput
from coach.recording import Series
from coach.review.power import Effort, effort_of, estimate, power_json, power_of, speed_of
from coach.review.spans import distance_m, fastest_span
from coach.review.summary import window_of
from coach.review.weather import Weather
from coach.sources.simulator.car import DT, Car, Controls, Motion
from tests.review.made import CAR, US, const, series, subject, sweep

FULL_LOAD = {
    800: 9.425, 1000: 19.897, 1250: 35.343, 1500: 50.265, 1750: 58.643, 2000: 67.021, 2250: 75.398, 2500: 83.776,
    2750: 92.153, 3000: 100.531, 3250: 104.824, 3500: 108.123, 3750: 109.563, 4000: 110.0, 4200: 107.757,
    4400: 104.133, 4600: 97.306, 4800: 75.398, 5000: 54.978, 5200: 27.227,
}  # fmt: skip
LOAD = (200.0, 0.35, 0.032)
MASS = 1700.0
RATIO = 45.0
"""rpm per km/h of a gear of our own."""


def pull(low=2000.0, high=4000.0, hz=10.0, *, step=0.25, noise=0.0, seed=1, ratio=RATIO):
    """Engine speed over the flat-road pull, integrated by scipy, sampled as a car answers it."""
    rpm, kw = np.array(list(FULL_LOAD)), np.array(list(FULL_LOAD.values()))

    def rise(_t, v):
        kmh = v[0] * 3.6
        power = np.interp(kmh * ratio, rpm, kw) * 1000
        return [(power / v[0] - LOAD[0] - LOAD[1] * kmh - LOAD[2] * kmh**2) / (MASS * 1.03)]

    made = solve_ivp(rise, (0, 60), [low / ratio / 3.6], rtol=1e-9, atol=1e-9, dense_output=True,
                     events=lambda _t, v: v[0] * 3.6 * ratio - high)  # fmt: skip
    end = float(made.t_events[0][0])
    t = np.append(np.arange(0, end, 1 / hz), end)
    speed = made.sol(t)[0] * 3.6 * ratio + np.random.default_rng(seed).normal(0, noise, len(t)) if noise else (
        made.sol(t)[0] * 3.6 * ratio
    )  # fmt: skip
    return Series(np.round(t * US).astype(np.int64), np.round(speed / step) * step), end


def kmh_of(x):
    return Series(x.t_us, x.value / RATIO)


def test_power_of_a_pull_that_an_independent_integrator_made():
    """The solve_ivp of scipy moves the car; the estimate comes back to its full-load curve within 2 % inside."""
    x, _ = pull()
    made = estimate(kmh_of(x), Effort(MASS, LOAD), RATIO)
    told = np.interp(made.rpm, list(FULL_LOAD), list(FULL_LOAD.values()))
    inner = slice(6, -6)
    assert made.power_kw[inner] == pytest.approx(told[inner], rel=0.02)
    assert (np.abs(made.power_kw - told)[inner] < made.half_kw[inner]).all()
    torque = told * 1000 / (made.rpm * 2 * math.pi / 60)
    assert made.torque_nm[inner] == pytest.approx(torque[inner], rel=0.02)


@pytest.mark.parametrize("noise", [3.0, 10.0])
def test_the_random_range_holds_what_noise_does(noise):
    """Over many pulls of the same car the estimates lie inside the random half of the range about 95 times in 100."""
    inside = []
    for seed in range(30):
        x, _ = pull(noise=noise, seed=seed)
        made = estimate(kmh_of(x), Effort(MASS, LOAD), RATIO)
        clean = estimate(kmh_of(pull()[0]), Effort(MASS, LOAD), RATIO)
        n = min(len(made.power_kw), len(clean.power_kw))
        inside.append(np.abs(made.power_kw[:n] - clean.power_kw[:n])[5:-6] < made.random_kw[:n][5:-6])
    assert 0.88 < np.mean(np.concatenate(inside)) <= 1.0


@pytest.mark.parametrize(("seconds", "metres"), [(2.7680, 41.225), (6.8875, 157.332), (15.0786, 480.541)])
def test_the_worked_pull_takes_its_time_and_its_distance(seconds, metres):
    """Second, third and fourth gear, 2000 to 4000 rpm: the ratio that takes the worked time covers the worked distance.

    Time by our spans and distance by our trapezium, from 10 samples a second of the integrated pull.
    """
    ratio = brentq(lambda r: pull(ratio=r, hz=1)[1] - seconds, 22, 120, xtol=1e-6)
    x, _ = pull(ratio=ratio, low=1999.0, high=4001.0, step=0.01)
    span = fastest_span(x, 2000, 4000)
    assert span.seconds == pytest.approx(seconds, abs=2e-3)
    exact, _ = pull(ratio=ratio, step=0.01)
    assert distance_m(Series(exact.t_us, exact.value / ratio)) == pytest.approx(metres, rel=5e-4)


def test_power_of_the_simulated_car_against_its_own_engine_model():
    """Our simulator floored in third: torque * 0.92 through the gear is what arrives at the wheels, within 4 %."""
    car = Car(coolant_c=85.0)
    motion = Motion(car)
    motion.now.kmh, motion.now.rpm, motion.now.gear = 52.0, 52.0 * 41.5, 3
    t, rpm, true = [], [], []
    while motion.now.rpm < 4700:
        s = motion.step(Controls(pedal=1.0, gear=3))
        if motion.now.run_s > 2.0 and round(motion.now.run_s / DT) % 10 == 0:
            t.append(round(s.run_s * US))
            rpm.append(round(s.rpm * 4) / 4)
            true.append(s.torque_nm * 0.92 * s.rpm * 2 * math.pi / 60 / 1000)
    x = Series(np.array(t, dtype=np.int64), np.array(rpm) / 41.5)
    made = estimate(x, Effort(car.mass_kg, car.road_load, 1.03 + 0.0000125 * 41.5**2), 41.5)
    inner = slice(6, -6)
    told = np.interp(made.t_us, t, true)
    assert made.power_kw[inner] == pytest.approx(told[inner], rel=0.04)


ASK = sweep("pull", "engine_speed", "2000 rpm", "3900 rpm", "gear = 3")


def drive(car=CAR, ask=ASK, **more):
    x, end = pull()
    lead = series(10, 10, const(1900))
    t = np.concatenate([lead.t_us, x.t_us + lead.t_us[-1] + 100_000])
    rpm = Series(t, np.concatenate([lead.value, x.value]) * 40 / RATIO * 1.0)
    rpm = Series(t, np.concatenate([lead.value, x.value]))
    road = Series(t, np.round(np.concatenate([lead.value, x.value]) / RATIO))
    signals = {"engine_speed": rpm, "road_speed": road, "barometric_pressure": series(1, 10 + end, const(98)),
               "ambient_temp": series(1, 10 + end, const(30))}  # fmt: skip
    return subject(ask, {**signals, **more}, car=car.replace("3 = 40.0", f"3 = {RATIO}").replace("1500 kg", "1700 kg"))


def test_power_json_shows_method_range_and_corrections_beside():
    """Peak 110 kW at the wheels within its range; each standard's figure beside the uncorrected one, with a caveat."""
    s = drive()
    made = power_json(window_of(s, "pull", 0), road_load=LOAD)
    assert made["why"] == ""
    assert made["peak"]["low_kw"] < 110 < made["peak"]["high_kw"]
    assert "Savitzky-Golay" in made["method"]
    assert "boosted" in made["caveat"]
    for c in made["corrections"]:
        assert c["peak_kw"] == pytest.approx(c["uncorrected_kw"] * c["factor"], abs=0.06)
    assert {c["standard"] for c in made["corrections"]} == {"j1349_1990", "j1349_2004", "iso_1585", "din_70020"}
    assert made["weather"]["text"] == "98.0 kPa, 30 °C, humidity not known"
    assert any("1700 kg" in i["text"] for i in made["inputs"])


def test_typed_weather_stands_before_the_sensors():
    s = drive()
    s.typed = Weather(95.0, 12.0, 40.0)
    made = power_json(window_of(s, "pull", 0))
    assert made["weather"]["text"] == "95.0 kPa, 12 °C, humidity 40 %"
    outside = next(c for c in made["corrections"] if c["standard"] == "j1349_2004")
    assert (outside["valid"], "Outside" in outside["note"]) == (False, True)


def test_what_the_estimate_rests_on():
    """The vehicle's mass and road load where it has them, else a guess that is named as one; nothing without a mass."""
    w = window_of(drive(), "pull", 0)
    assert not effort_of(w, None, None).given
    assert effort_of(w, 1500.0, LOAD) == Effort(1500.0, LOAD)
    own = CAR + '[road_load]\nconstant = "200 N"\nlinear = "0.35 N/(km/h)"\nsquare = "0.032 N/(km/h)^2"\n'
    assert effort_of(window_of(drive(own), "pull", 0), None, None).road_load == pytest.approx(LOAD)
    bare = window_of(drive(CAR.replace('mass = "1500 kg"\n', "")), "pull", 0)
    assert power_of(bare) == "no_mass"
    assert "mass is not known" in power_json(bare)["why"]
    with pytest.raises(BadInput, match="between 100 and 60000"):
        power_of(w, 5.0)


def test_without_a_gear_the_road_speed_serves():
    """In whole km/h, so with a wider range; without either it cannot be said; nor from a handful of samples."""
    plain = window_of(drive(ask=sweep("pull", "engine_speed", "2000 rpm", "3900 rpm")), "pull", 0)
    assert speed_of(plain)[1] is None
    geared = window_of(drive(), "pull", 0)
    assert power_of(plain).random_kw.mean() > 2 * power_of(geared).random_kw.mean()
    assert "road speed in whole km/h" in power_json(plain)["inputs"][2]["text"]
    assert estimate(series(10, 0.5, const(50)), Effort(1500, LOAD)) is None
    x = series(10, 6, const(50))
    keep = (x.t_us < 2 * US) | (x.t_us > 4 * US)
    assert estimate(Series(x.t_us[keep], x.value[keep]), Effort(1500, LOAD)) is None
    unknown = estimate(series(10, 6, const(50)), Effort(1500, LOAD))
    assert np.isnan(unknown.rpm).all()
