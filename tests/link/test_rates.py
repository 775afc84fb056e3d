"""From a recipe to the rates that a link is asked for, and what it will give."""

from __future__ import annotations

from coach.plan import resolve
from coach.plan.rates import advice, asked_hz, expect, least_shares
from coach.plan.schedule import VOLTAGE
from coach.recipe import parse_recipe
from coach.sources.link.discover import Found, discover
from coach.sources.link.rates import model_of, pids_of
from tests.link.wired import CATALOGUE, Rig, table_car

RECIPE = """
format = 1
title = "Second revision"
revision = 2
[record]
engine_speed = "8 Hz"
road_speed = "4 Hz"
manifold_pressure = "8 Hz"
barometric_pressure = "0.2 Hz"
gauge_boost = "8 Hz"
pedal = { rate = "8 Hz", need = false }
[[capture]]
id = "part-load"
title = "Steady part load"
place = "road"
hold = "3 min"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
[[capture]]
id = "roll-on"
title = "Full pedal"
place = "closed course"
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", dip = "120 rpm", within = "15 s" }
[capture.limit]
gauge_boost = { max = "95 kPa" }
coolant_temp = { max = "108 degC" }
oil_temp = { max = "130 degC" }
"""


def found(**more: object) -> Found:
    return discover(Rig(table_car(), **more).session(), CATALOGUE)  # type: ignore[arg-type]


def asked() -> dict[str, float]:
    recipe = parse_recipe(RECIPE, name="r.toml", catalogue=CATALOGUE)
    return asked_hz(resolve(recipe, CATALOGUE), CATALOGUE)


def test_rates_are_the_recipes_and_slow_signals_stay_rare() -> None:
    """What gauge boost rests on is as fast as it, but for the air outside; a mere limit is seen thrice in its time."""
    rates = asked()
    assert rates["engine_speed"] == rates["manifold_pressure"] == rates["pedal"] == 8
    assert rates["road_speed"] == 4
    assert rates["barometric_pressure"] == 0.2
    assert rates["coolant_temp"] == rates["oil_temp"] == 3 / 10
    assert "gauge_boost" not in rates
    assert next(iter(rates)) in {"road_speed", "engine_speed"}


def test_a_fast_link_gives_all_and_needs_no_advice() -> None:
    car = found()
    given = {e.signal: e for e in expect(asked(), model_of(car), pids_of(car))}
    assert all(e.enough for e in given.values() if e.offered)
    assert not given["oil_temp"].offered
    assert not given["oil_temp"].enough
    assert given["oil_temp"].expected_hz == 0
    assert advice(list(given.values()), model_of(car)) == ""


def test_a_slow_link_says_what_to_slow_down() -> None:
    """Five requests a second and 28 samples a second asked for."""
    car = found(bus="k-line", latency_s=0.2)
    some = expect(asked(), model_of(car), pids_of(car))
    assert sum(e.expected_hz for e in some) < 5.3
    text = advice(some, model_of(car))
    assert "engine_speed" in text
    assert "Hz at most" in text
    assert "5 samples a second are all there is" in text


def test_a_share_that_will_do_is_the_recipes() -> None:
    recipe = parse_recipe(RECIPE, name="r.toml", catalogue=CATALOGUE)
    shares = least_shares(resolve(recipe, CATALOGUE))
    assert shares["engine_speed"] == 0.8
    assert shares["pedal"] == 0.0
    car = found(bus="k-line", latency_s=0.5)
    given = {e.signal: e for e in expect(asked(), model_of(car), pids_of(car), shares)}
    assert given["pedal"].enough
    assert not given["engine_speed"].enough
    text = advice(list(given.values()), model_of(found()))
    assert "drop" not in text


def test_more_parameters_cost_what_was_measured() -> None:
    from dataclasses import replace

    car = replace(found(), single_us=40_000, batch_us=55_000)
    assert [model_of(car).cost_us(n) for n in (1, 2, 6)] == [40_000, 43_000, 55_000]
    assert model_of(replace(car, batch=1)).cost_us(6) == 40_000
    assert pids_of(car)["adapter_voltage"] == VOLTAGE
