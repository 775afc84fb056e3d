"""What this car cannot do, or only somewhere else: each finding with its place and what to change."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from coach.assets import traces_root
from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.plan.capture_plan import Assumed
from coach.plan.drive_plan import Known, Link, plan_drive
from coach.plan.rates import K_LINE, USUAL_CAN, LinkModel
from coach.recipe import load_recipe, parse_recipe
from coach.vehicle import Vehicle, load_vehicle
from coach.words import load_words
from tests.plan.test_capture_plan import CAR, full
from tests.recipe.making import EXAMPLE, hold, sweep

CATALOGUE = default_catalogue()
MANUAL = replace(CAR, transmission="manual", released_pct=14.9, floored_pct=85.1, start_stop=False)


def found(text, vehicle=MANUAL, known=None, catalogue=CATALOGUE, **assumed):
    """Findings by code."""
    made = plan_drive(parse_recipe(text, catalogue=catalogue), catalogue, vehicle, known, assumed=Assumed(**assumed))
    return {f.code: f for f in made.findings}


SPEED = 'road_speed = { min = "72 km/h", max = "88 km/h" }'


def gear(number, keep=SPEED, more=""):
    """A hold in a gear."""
    return hold(more, keep=f"{keep}\ngear = {number}")


def test_the_bundled_recipe_suits_the_bundled_car():
    """Nothing speaks against it: its one closed-course capture says so itself."""
    traces = traces_root()
    recipe = load_recipe(traces / "demo-recipe.toml", CATALOGUE)
    made = plan_drive(recipe, CATALOGUE, load_vehicle(traces / "demo-vehicle.toml"))
    assert made.findings == ()
    assert made.unknown == ("road",)
    assert made.order == ("part-load", "roll-on", "settled-idle")
    assert made.of("roll-on").main.top_kmh == pytest.approx(110.84, abs=0.01)
    assert made.of("roll-on").course == ("asked", "full_pedal", "speed")
    with pytest.raises(KeyError):
        made.of("none")


# Code, level, where, a piece of the message and of what to change.
CASES = [
    (gear(9), "no_such_gear", "error", "keep.gear", "gear 1, 2, 3, 4, 5, 6", "missing ratio"),
    (full(ends='from = "2000 rpm", to = "5300 rpm"'), "over_rev_limit", "error", "sweep.engine_speed.to", "5200 rpm",
     "5000 rpm or lower"),
    (full(ends='from = "2000 rpm", to = "5100 rpm"'), "near_rev_limit", "warning", "sweep.engine_speed.to",
     "only 100 rpm under", "5000 rpm or lower"),
    (hold(keep='engine_speed = { min = "5300 rpm" }'), "over_rev_limit", "error", "keep.engine_speed.min", "5200 rpm",
     "at most 5000 rpm"),
    (gear(5, SPEED + '\nengine_speed = { min = "2400 rpm", max = "3200 rpm" }'),
     "never_together", "error", "keep.engine_speed", "in fifth this road speed is 1509 to 1844 rpm",
     "It fits in third."),
    (gear(6, 'road_speed = { min = "30 km/h", max = "45 km/h" }'), "engine_too_slow", "error", "keep.gear",
     "45 km/h is only 808 rpm", "lower gear"),
    (gear(6, 'road_speed = { min = "45 km/h", max = "60 km/h" }'), "near_idle", "warning", "keep.gear",
     "45 km/h is only 808 rpm", "lower gear"),
    (gear(5, 'engine_speed = { min = "2000 rpm", max = "2060 rpm" }'), "narrow_band", "warning", "keep.engine_speed",
     "in fifth this band is only 2.9 km/h wide", "84 rpm or more"),
    (full(4).replace('"closed course"', '"road"'), "course_needed", "warning", "sweep.engine_speed",
     "149 km/h, above 100 km/h", 'Write place = "closed course". In second it ends at 71 km/h.'),
    (hold(keep='road_speed = { min = "110 km/h", max = "130 km/h" }'), "course_needed", "warning", "keep.road_speed",
     "110 km/h, above 100 km/h", 'Write place = "closed course".'),
    (full(3) + 'road_speed = { max = "90 km/h" }', "over_speed_band", "error", "keep.road_speed",
     "ends at 108 km/h in third, and keep allows 90 km/h", "In second it ends at 71 km/h."),
    (full(6, 'from = "3000 rpm", to = "5000 rpm"'), "not_reached", "error", "sweep.engine_speed",
     "does not reach the end of the sweep in sixth", "lower gear"),
    (full(4, 'from = "2000 rpm", to = "4000 rpm", within = "9 s"'), "within_too_short", "error",
     "sweep.engine_speed.within", "about 15.1 s in fourth, and within allows 9 s", "Allow 19 s"),
    (full(4, 'from = "2000 rpm", to = "4000 rpm", within = "15 s"'), "within_tight", "warning",
     "sweep.engine_speed.within", "about 15.1 s in fourth, and within allows 15 s", "Allow 19 s"),
    (sweep('from = "2000 rpm", to = "4000 rpm"', tables='[capture.keep]\npedal_travel = { min = "95 %" }\n'),
     "no_gear_named", "warning", "sweep.engine_speed", "37 km/h in first and at 223 km/h in sixth", "Add gear"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "code", "level", "where", "says", "change"), CASES, ids=lambda c: str(c)[:18])
def test_what_the_car_cannot_do(text, code, level, where, says, change):
    """Each with its level, its key, and what to change."""
    finding = found(text)[code]
    assert finding.level == level
    assert finding.where == f'capture "a", {where}'
    assert says in finding.message
    assert change in finding.change
    assert finding.line


def test_the_lowest_gear_that_is_still_too_fast_may_end_earlier():
    """With no lower gear left the sweep ends earlier."""
    change = found(full(1).replace('"closed course"', '"road"'), bound_kmh=20)["course_needed"].change
    assert "Or end it at 2150 rpm in first." in change
    falling = sweep('from = "120 km/h", to = "60 km/h"', signal="road_speed", more='then = "4 s"')
    assert "Lower the speed." in found(falling.replace('"closed course"', '"road"'))["course_needed"].change


def test_tank():
    """A hold longer than the tank lasts; and holds that leave too little for the way."""
    car = replace(MANUAL, range_km=100.0)
    far = found(gear(5, more="times = 100"), car)
    assert far["hold_over_tank"].message == "at 72 km/h and more this takes 120 km, and a tank lasts 100 km"
    assert "tank_low" in far
    some = found(gear(5, more="times = 70"), car)
    assert "hold_over_tank" not in some
    assert some["tank_low"].where == ""
    assert not {"hold_over_tank", "tank_low"} & set(found(gear(5, more="times = 60"), car))


def test_stated_bound_and_deceleration_count():
    """Both are told by whoever plans."""
    assert "course_needed" not in found(full(4).replace('"closed course"', '"road"'), bound_kmh=150)
    soft = plan_drive(parse_recipe(full()), CATALOGUE, MANUAL, assumed=Assumed(stop_ms2=1.0)).captures[0].main
    hard = plan_drive(parse_recipe(full()), CATALOGUE, MANUAL, assumed=Assumed(stop_ms2=4.0)).captures[0].main
    assert soft.stop_m == pytest.approx(4 * hard.stop_m)


# --- kinds of vehicle


@pytest.mark.parametrize(
    ("change", "code", "level", "says"),
    [
        ({"transmission": "CVT"}, "no_gears", "error", "Ask for speed_ratio = { min = 19.3, max = 22.6 } instead."),
        ({"transmission": "CVT", "ratios": None}, "no_gears", "error", "Ask for speed_ratio instead"),
        ({"transmission": "automatic"}, "hold_gear", "warning", "Ask for manual mode"),
        ({"transmission": "dual-clutch"}, "hold_gear", "warning", "Ask for manual mode"),
    ],
)
def test_transmissions(change, code, level, says):
    """A CVT refuses a gear and offers a speed ratio; boxes that shift by themselves are held by hand."""
    finding = found(gear(5), replace(MANUAL, **change))[code]
    assert finding.level == level
    assert says in finding.change
    assert code not in found(gear(5))
    assert code not in found(hold(), replace(MANUAL, **change))


def test_kick_down():
    """Full pedal in an automatic stays short of kick-down; slip is said."""
    finding = found(full(), replace(MANUAL, transmission="automatic"))["hold_gear"]
    assert "short of kick-down" in finding.change
    assert "12 %" in finding.message
    assert "12 %" not in found(full(), replace(MANUAL, transmission="dual-clutch"))["hold_gear"].message


def test_cvt_takes_a_speed_ratio():
    """What is offered instead is accepted: it is derived and nothing objects."""
    text = hold(keep="speed_ratio = { min = 19.3, max = 22.6 }")
    assert not [f for f in found(text, replace(MANUAL, transmission="CVT")).values() if f.level == "error"]
    assert found(text)["not_derived"].level == "error"


def test_naturally_aspirated():
    """No boost figures; the pressure itself is fine."""
    limit = '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n'
    car = replace(MANUAL, induction="naturally aspirated")
    findings = found(hold() + limit, car)
    assert findings["no_boost"].level == "error"
    assert "manifold_pressure" in findings["no_boost"].change
    assert "no_boost" not in found(hold() + limit, replace(MANUAL, induction="turbocharged"))
    loose = hold().replace('pedal = "8 Hz"', 'gauge_boost = { rate = "8 Hz", need = false }')
    assert found(loose, car)["no_boost"].level == "warning"


def test_diesel_and_one_byte():
    """A diesel has no trims; a one-byte pressure ends at 255 kPa, and nobody stops a charged pull before."""
    text = hold().replace('pedal = "8 Hz"', 'short_trim_1 = "1 Hz"\nlong_trim_1 = { rate = "1 Hz", need = false }')
    findings = plan_drive(parse_recipe(text), CATALOGUE, replace(MANUAL, fuel="diesel")).findings
    assert [(f.code, f.level) for f in findings] == [("no_trims", "error"), ("no_trims", "warning")]
    charged = found(full(), replace(MANUAL, induction="turbocharged"))["one_byte_pressure"]
    assert "ends at 255 kPa absolute" in charged.message
    assert "below 145 kPa" in charged.change
    capped = full() + '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n'
    assert "one_byte_pressure" not in found(capped, replace(MANUAL, induction="turbocharged"))
    assert "in two bytes" in found(full(), replace(MANUAL, fuel="diesel"))["one_byte_pressure"].change
    # A car that was found to give it in two bytes has nothing to be warned about.
    wide = CATALOGUE.with_signals([wide_manifold_pressure()])
    for car in (replace(MANUAL, induction="turbocharged"), replace(MANUAL, fuel="diesel")):
        assert "one_byte_pressure" not in found(full(), car, catalogue=wide)
    assert "one_byte_pressure" not in found(full())


@pytest.mark.parametrize(
    ("change", "says"),
    [({"hybrid": True}, "maintenance mode"), ({"start_stop": True}, "button"), ({"hybrid": False}, "")],
)
def test_an_idle_that_the_engine_may_end(change, says):
    """The idle capture says how to keep the engine running."""
    findings = found(EXAMPLE, replace(MANUAL, **change))
    assert (says in findings["engine_may_stop"].change) if says else "engine_may_stop" not in findings


# --- signals


def test_missing_signals_name_their_stand_ins():
    """A stand-in is named with its cost and never taken: the finding stays an error."""
    offered = frozenset(("engine_speed", "road_speed", "manifold_pressure", "pedal", "coolant_temp"))
    text = hold(keep='throttle = { min = "20 %" }') + '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n'
    text = text.replace('pedal = "8 Hz"', 'throttle = "8 Hz"')
    recipe = parse_recipe(text)
    made = plan_drive(recipe, CATALOGUE, MANUAL, Known(offered=offered))
    by_signal = {str(f.path[-1]): f for f in made.findings if f.code == "not_offered"}
    assert {f.level for f in by_signal.values()} == {"error"}
    assert "Could stand in, at a cost: pedal (the plate" in by_signal["throttle"].change
    assert "fixed_barometric" in by_signal["gauge_boost"].change
    assert "not taken by itself" in by_signal["throttle"].change
    rows = {row["signal"]: row for row in made.signals}
    assert rows["throttle"]["how"] == "missing"
    assert [one["signal"] for one in rows["throttle"]["stand_ins"]] == ["pedal"]
    assert rows["road_speed"]["how"] == "offered"
    # The vehicle file may say what the car was seen to offer.
    same = plan_drive(recipe, CATALOGUE, replace(MANUAL, offers=offered))
    assert {f.code for f in same.findings} == {f.code for f in made.findings}


def test_commanded_lambda_never_stands_in():
    """What is aimed at is no measurement, however much it looks like one."""
    text = hold(keep='lambda = { max = "1 lambda" }').replace("[record]", '[record]\nlambda_1 = "4 Hz"')
    made = plan_drive(parse_recipe(text), CATALOGUE, MANUAL, Known(offered=["road_speed", "commanded_lambda"]))
    rows = {row["signal"]: row for row in made.signals}
    assert rows["lambda"]["stand_ins"] == rows["lambda_1"]["stand_ins"] == []


def test_a_declared_stand_in_is_said_and_costs():
    """With fixed_barometric the limit can be judged, under a warning; with the signal there it is not touched."""
    text = hold() + '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n'
    text = text.replace('barometric_pressure = "0.2 Hz"', 'barometric_pressure = { rate = "0.2 Hz", need = false }')
    car, without = (
        replace(MANUAL, fixed_baro_kpa=98.6),
        ["road_speed", "engine_speed", "manifold_pressure", "pedal", "coolant_temp"],
    )
    findings = found(text, car, Known(offered=without))
    assert findings["stand_in"].level == "warning"
    assert "98.6 kPa" in findings["stand_in"].message
    assert not [f for f in findings.values() if f.level == "error"]
    assert "stand_in" not in found(text, car, Known(offered=[*without, "barometric_pressure"]))


def test_what_only_a_drive_showed_is_a_warning():
    """An earlier drive that did not record a signal proves nothing about the car."""
    seen = ["road_speed", "engine_speed"]
    made = found(hold(), MANUAL, Known(offered=seen, offered_by="drive"))
    assert made["not_offered"].level == "warning"
    assert "the earlier drive does not carry" in made["not_offered"].message
    sure = found(hold(), replace(MANUAL, offers=frozenset(seen)), Known(offered=seen, offered_by="drive"))
    assert sure["not_offered"].level == "error"


def test_a_pedal_that_never_reaches_what_is_asked():
    """The open drives' car ends at 85.1 %: an error with its ends known, a warning from a drive.

    Source: Automotive OBD-II Dataset, doi 10.35097/1130: pedal D never exceeds 85.1 %.
    """
    text = hold(keep='pedal = { min = "90 %" }', more='place = "closed course"')
    assert found(text)["pedal_out_of_reach"].level == "error"
    assert "pedal_travel" in found(text)["pedal_out_of_reach"].change
    seen = found(text, replace(MANUAL, floored_pct=None), Known(highest={"pedal": 85.1}))["not_seen_so_high"]
    assert seen.level == "warning"
    assert "never came above 85.1 %" in seen.message
    assert "not_seen_so_high" not in found(text, known=Known(highest={"pedal": 95.0}))
    throttle = hold(keep='throttle = { min = "90 %" }', more='place = "closed course"')
    assert "Ask for less" in found(throttle, known=Known(highest={"throttle": 60.0}))["not_seen_so_high"].change


# --- rates


def test_rates_of_a_fast_and_a_slow_link():
    """A batching adapter carries the example; a K-line does not, and the cheapest change is named."""
    offered = ["engine_speed", "road_speed", "manifold_pressure", "barometric_pressure", "pedal", "coolant_temp"]
    made = plan_drive(parse_recipe(EXAMPLE), CATALOGUE, MANUAL, Known(offered=offered, link=Link(USUAL_CAN)))
    assert made.rates.feasible
    assert made.rates.changes == ()
    assert not [f for f in made.findings if f.code in ("rate_too_low", "tight_rate")]
    slow = plan_drive(parse_recipe(EXAMPLE), CATALOGUE, MANUAL, Known(offered=offered, link=Link(K_LINE)))
    low = [f for f in slow.findings if f.code == "rate_too_low"]
    assert {f.level for f in low} == {"error"}
    assert not slow.rates.feasible
    assert slow.rates.changes
    assert all("cheapest change" in f.change for f in low)
    assert any(f.code == "sweep_rate" for f in slow.findings)
    usual = plan_drive(
        parse_recipe(EXAMPLE), CATALOGUE, MANUAL, Known(offered=offered, link=Link(K_LINE, measured=False))
    )
    assert {f.level for f in usual.findings if f.code == "rate_too_low"} == {"warning"}
    assert all("none was measured" in f.message for f in usual.findings if f.code == "rate_too_low")


def test_a_tight_rate_is_a_warning():
    """Under what is asked and above what is needed."""
    text = hold().replace('"8 Hz"', '"6 Hz"')
    made = plan_drive(parse_recipe(text), CATALOGUE, MANUAL, Known(link=Link(LinkModel(1, 46_000, 46_000))))
    tight = [f for f in made.findings if f.code == "tight_rate"]
    assert tight
    assert all(f.level == "warning" for f in tight)
    assert not [f for f in made.findings if f.code == "rate_too_low"]


def test_a_contradiction_has_no_rates():
    """A recipe with which nothing can be judged asks nothing of a link; the rest is said all the same."""
    text = hold(keep='road_speed = { min = "90 km/h", max = "80 km/h" }')
    made = plan_drive(parse_recipe(text), CATALOGUE, MANUAL, Known(link=Link(USUAL_CAN)))
    assert made.rates is None
    assert [f.code for f in made.findings] == ["band_upside_down"]


def test_every_code_is_in_the_reference():
    """Each code that these checks can give has its line in the reference, and each line a sentence of change."""
    page = (Path(__file__).parents[2] / "docs/reference/recipe.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `([a-z_]+)` \| (?:error|warning)", page, re.MULTILINE))
    source = Path(plan_drive.__code__.co_filename).parent
    given, every = set(), ""
    for name in ("fits", "kinds", "offered", "drive_plan", "check"):
        text = (source / f"{name}.py").read_text(encoding="utf-8")
        given |= set(re.findall(r'"(?:error|warning)"(?: if never else "warning")?,\s*"(?!warning)([a-z_]+)"', text))
        every += text
        given |= set(re.findall(r'(?:return|else \() ?"(not_[a-z_]+)"', text))
    assert len(given) > 20
    assert given <= listed
    words = load_words()
    own = {code for code in listed if f"check.change.{code}" not in words}
    assert not {code for code in own if f'"{code}"' not in every}


def test_no_vehicle_is_no_error():
    """Without a car only the recipe itself is checked."""
    made = plan_drive(parse_recipe(EXAMPLE), CATALOGUE)
    assert made.findings == ()
    assert made.unknown == ("vehicle", "road")
    assert plan_drive(parse_recipe(EXAMPLE), CATALOGUE, Vehicle()).unknown[0] == "ratios"
