"""Two samples of each signal per 250 rpm: enough, ask for more, a higher gear, fewer signals, or not at all."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from coach.catalogue import default_catalogue
from coach.plan import resolve
from coach.plan.rates import K_LINE, SINGLES, USUAL_CAN, LinkModel
from coach.plan.sweeps import SweepNeed, rise_rpm_s, sweep_needs
from coach.recipe import parse_recipe

CATALOGUE = default_catalogue()
KEYS = {n: i for i, n in enumerate(("engine_speed", "road_speed", "manifold_pressure", "pedal", "timing_advance",
                                    "mass_airflow", "short_trim_1", "coolant_temp"))}  # fmt: skip


@dataclass(frozen=True)
class Car:
    """Rpm per km/h of a middling hatchback."""

    ratios: dict[int, float]


CAR = Car({1: 118.0, 2: 62.0, 3: 41.5, 4: 31.0, 5: 24.9})


def need(
    record: str, model: LinkModel, gear: int | None = 2, keep: str = "", car: Car | None = CAR, *,
    within: str = "15 s", place: str = "closed course",
) -> SweepNeed:  # fmt: skip
    text = f"""
format = 1
title = "Pull"
revision = 1
[record]
{record}
[[capture]]
id = "pull"
title = "Full pedal"
place = "{place}"
[capture.sweep]
engine_speed = {{ from = "2200 rpm", to = "4600 rpm", within = "{within}" }}
[capture.keep]
pedal = {{ min = "80 %" }}
coolant_temp = {{ min = "80 degC" }}
{f"gear = {gear}" if gear else ""}
{keep}
"""
    recipe = parse_recipe(text, name="r.toml", catalogue=CATALOGUE)
    plan = resolve(recipe, CATALOGUE)
    (found,) = sweep_needs(recipe, plan, CATALOGUE, car, model, KEYS)
    return found


def record(rate: str, *names: str) -> str:
    every = ("engine_speed", "pedal", *names)
    return "\n".join(f'{n} = "{rate}"' for n in every) + '\ncoolant_temp = "0.5 Hz"'


def test_the_figures_of_the_trade_come_out() -> None:
    """760 rpm/s in second wants 6 Hz, a fourth near 150 rpm/s wants about 1.2 to 1.5 (common practice, no source)."""
    assert rise_rpm_s(62.0) == pytest.approx(760, rel=0.01)
    assert rise_rpm_s(62.0) / 125 == pytest.approx(6, abs=0.1)
    assert 150 <= rise_rpm_s(31.0) <= 200


def test_a_fast_link_is_enough() -> None:
    found = need(record("8 Hz", "manifold_pressure", "timing_advance"), USUAL_CAN)
    assert not found.short
    assert found.text == ""
    assert found.need_hz == pytest.approx(6.1, abs=0.1)
    assert dict(found.signals)["engine_speed"] >= 7.9
    # What holds for long is no curve.
    assert "coolant_temp" not in dict(found.signals)


def test_a_recipe_that_asks_too_rarely_is_told_so() -> None:
    found = need(record("3 Hz", "manifold_pressure"), USUAL_CAN)
    assert found.short
    assert found.ask_more
    assert "at 6.1 Hz; the link can give that" in found.text
    assert found.gear is None
    assert found.drop == ()


def test_a_higher_gear_is_offered_inside_the_speed_that_the_capture_allows() -> None:
    """Single requests at 40 ms, five signals: 5 Hz each; third gear rises at 341 rpm/s and wants 2.7."""
    some = record("8 Hz", "manifold_pressure", "timing_advance", "mass_airflow")
    found = need(some, SINGLES)
    assert found.short
    assert found.gear is not None
    assert found.gear.gear == 3
    assert found.gear.kmh == pytest.approx(4600 / 41.5)
    assert found.gear.need_hz == pytest.approx(2.7, abs=0.1)
    assert "third gear, up to 111 km/h" in found.text
    slow = need(some, SINGLES, keep='road_speed = { max = "100 km/h" }')
    assert slow.gear is None
    assert slow.drop
    assert "leave out" in slow.text.lower()


def test_a_gear_is_never_offered_that_is_dangerous_or_in_which_the_sweep_takes_too_long() -> None:
    """On a K-line only tall gears are slow enough: sixth would end at 224 km/h, and takes 29 s of 15."""
    tall = Car({2: 62.0, 3: 41.5, 6: 20.5})
    found = need(record("8 Hz"), K_LINE, gear=3, car=tall)
    assert found.short
    assert found.gear is None
    assert "km/h" not in found.text
    # Second ends at 128 km/h and rises by 257 rpm/s: 9.4 s.
    crawler, five = Car({1: 118.0, 2: 36.0}), LinkModel(1, 200_000, 200_000)
    for within, offered in (("15 s", True), ("8 s", False)):
        found = need(record("8 Hz"), five, gear=1, car=crawler, within=within)
        assert (found.gear is not None) is offered
    # That is offered on a closed course, and not on a road.
    assert need(record("8 Hz"), five, gear=1, car=crawler, place="road").gear is None


def test_what_may_be_missing_is_left_out_first_and_nothing_that_is_judged() -> None:
    some = record("8 Hz", "manifold_pressure", "timing_advance", "mass_airflow")
    found = need(
        some.replace('manifold_pressure = "8 Hz"', 'manifold_pressure = { rate = "8 Hz", need = false }'), SINGLES
    )
    assert found.drop[0] == "manifold_pressure"
    assert not {"engine_speed", "pedal"} & set(found.drop)


def test_a_k_line_cannot_carry_a_second_gear_sweep_and_says_so() -> None:
    """Four samples a second in all: two signals are two hertz each; no gear and no leaving out helps up to 100 km/h."""
    found = need(record("8 Hz"), K_LINE, keep='road_speed = { max = "90 km/h" }')
    assert found.short
    assert not found.ask_more
    assert (found.gear, found.drop) == (None, ())
    assert "cannot be recorded well enough" in found.text
    # In fourth it can.
    fourth = need(record("8 Hz"), K_LINE, gear=4)
    assert fourth.need_hz < 1.6
    assert not fourth.short


def test_without_a_gear_or_a_vehicle_usual_figures_stand_in() -> None:
    third = need(record("8 Hz"), USUAL_CAN, gear=None, car=None)
    assert third.rise_rpm_s == pytest.approx(rise_rpm_s(42.0))
    assert need(record("8 Hz"), USUAL_CAN, gear=2, car=None).rise_rpm_s == pytest.approx(rise_rpm_s(62.0))
    # The slowest sweep allowed, 2,400 rpm in 15 s, is a floor: sixth alone would rise more slowly.
    assert need(record("8 Hz"), USUAL_CAN, gear=9, car=Car({9: 10.0})).rise_rpm_s == pytest.approx(160)
