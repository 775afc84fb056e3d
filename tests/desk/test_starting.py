"""Starting points: each is a recipe that the check lets through, alone and all together."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.desk.starting import KINDS, RATES, missing_rates, new_recipe, start
from coach.errors import BadInput
from coach.plan import check_plan, resolve
from coach.recipe import check_recipe, parse_recipe
from coach.vehicle import load_vehicle, parse_vehicle
from coach.words import load_words

CATALOGUE = default_catalogue()
DEMO = load_vehicle(Path(__file__).parents[2] / "replay_traces/demo-vehicle.toml")


@pytest.mark.parametrize("kind", KINDS)
def test_each_can_be_asked_for_as_it_is(kind):
    """No error and no warning of the check, in the demo car no error either; the judge takes it."""
    recipe = parse_recipe(new_recipe([kind], DEMO), catalogue=CATALOGUE)
    assert [str(f) for f in check_recipe(recipe, CATALOGUE)] == []
    assert [str(f) for f in check_plan(recipe, CATALOGUE, DEMO) if f.level == "error"] == []
    (capture,) = resolve(recipe, CATALOGUE, DEMO).captures
    assert capture.id == kind
    assert recipe.vehicle == "Demo hatchback"


def test_all_together_are_one_recipe():
    """Every kind once, and one twice under a name of its own."""
    recipe = parse_recipe(new_recipe([*KINDS, "idle"], DEMO))
    assert [c.id for c in recipe.captures] == [*KINDS, "idle-2"]
    assert {name for c in recipe.captures for name in c.signals()} - {"gear", "pedal_travel"} <= {
        *recipe.record, "intake_over_ambient", "coolant_over_intake",
    }  # fmt: skip


def test_the_trade_is_covered():
    """Every kind of capture that is asked for in the trade (common practice, no source) has a starting point."""
    assert set(KINDS) == {
        "steady", "cells", "tip-in", "overrun", "half-pedal", "full-pedal", "idle", "idle-loads", "to-idle",
        "cold-start", "hot-restart", "warm-up", "voltage", "free",
    }  # fmt: skip
    words = load_words()
    assert all(words(f"desk.start.{kind}.title") and words(f"desk.start.{kind}.about") for kind in KINDS)


def test_figures_come_from_the_car():
    """A sweep ends 200 rpm under the rev limit, an idle band lies around the car's own idle speed."""
    car = parse_vehicle('label = "Slow"\nidle_speed = "700 rpm"\nrev_limit = "4200 rpm"\n')
    recipe = parse_recipe(new_recipe(["full-pedal", "idle"], car))
    assert recipe.captures[0].sweep.to == 4000
    band = next(b for b in recipe.captures[1].keep if b.signal == "engine_speed")
    assert (band.low, band.high) == (550, 900)


def test_full_pedal_is_for_a_closed_course_and_a_warm_engine():
    """Whatever else is edited later: that is where it begins."""
    for kind in ("full-pedal", "half-pedal"):
        (capture,) = parse_recipe(new_recipe([kind])).captures
        assert capture.place == "closed course"
        assert any(b.signal == "coolant_temp" and b.low == 80 for b in capture.start)


def test_what_is_recorded_already_is_not_asked_for_again():
    """Only the missing rates."""
    one = start("voltage")
    assert missing_rates(one, {"record": {"engine_speed": "20 Hz"}}) == {
        n: RATES[n] for n in ("road_speed", "coolant_temp", "module_voltage")
    }


def test_a_title_with_quotes_stays_toml():
    """What a person typed is a text, whatever is in it."""
    title = 'The "second"\\ one\n'
    assert tomllib.loads(new_recipe(["free"], title=title))["title"] == 'The "second"\\ one '


def test_an_unknown_kind_is_a_sentence():
    """It lists the kinds."""
    with pytest.raises(BadInput, match="there are steady, cells"):
        start("nonsense")


def test_pulls_are_staged():
    """Half pedal before full, and a second full pull after the first."""
    captures = parse_recipe(new_recipe(["half-pedal", "full-pedal", "full-pedal"], DEMO)).captures
    assert [c.needs for c in captures] == [(), ("half-pedal",), ("full-pedal",)]
    assert parse_recipe(new_recipe(["full-pedal"], DEMO)).captures[0].needs == ()
