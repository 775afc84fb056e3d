"""From recipe to plan: times, rates, which way a signal is derived, what a table without people means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from coach.catalogue import default_catalogue
from coach.core.derive import Derivation, Feed, Stepper
from coach.core.judge import Judge
from coach.core.spec import Asked, Axis, Collect, Facts
from coach.plan import check_plan, resolve
from coach.recipe import RecipeErrors, parse_recipe
from tests.recipe.making import EXAMPLE, RECORD, hold, sweep

CATALOGUE = default_catalogue()
S = 1_000_000


@dataclass(frozen=True)
class Way:
    """A derivation in name only: the plan hands it on and never calls it."""

    name: str
    inputs: tuple[str, ...]

    def stepper(self) -> Stepper:
        raise NotImplementedError

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        raise NotImplementedError


@dataclass(frozen=True)
class Car:
    """A vehicle that hands over derivations."""

    ways: tuple[Derivation, ...]
    last: tuple[Derivation, ...] = ()

    def derivations(self) -> tuple[Derivation, ...]:
        return self.ways

    def stand_ins(self) -> tuple[Derivation, ...]:
        return self.last


GEAR = Way("gear", ("engine_speed", "road_speed"))
TRAVEL = Way("pedal_travel", ("pedal",))
CAR = Car((GEAR, TRAVEL))


def plan(text: str, **more):
    """The plan of a text."""
    return resolve(parse_recipe(text), CATALOGUE, **more)


def test_the_example_becomes_a_plan():
    """Captures in the recipe's order, with what the vehicle and the catalogue add."""
    made = plan(EXAMPLE, vehicle=CAR)
    part, roll, idle = made.captures
    assert [c.id for c in made.captures] == ["part-load", "roll-on", "settled-idle"]
    assert (part.hold_us, part.grace_us, part.arming) == (180 * S, S, False)
    assert (roll.arming, idle.arming, roll.times, roll.rest_us) == (True, True, 2, 180 * S)
    assert (roll.sweep.dip, roll.sweep.within_us, roll.sweep.fastest, roll.sweep.late) == (120, 15 * S, 3000, None)
    assert [way.name for way in made.derivations] == ["gear", "pedal_travel", "gauge_boost"]
    assert made.facts["manifold_pressure"] == Facts(0, 800, 255, None)
    assert "gauge_boost" not in made.facts
    assert set(made.fresh_us) == {"engine_speed", "road_speed", "pedal", "manifold_pressure", "barometric_pressure"}
    assert made.rules == 1


def test_values_hold_in_a_hold():
    """The catalogue's time or three asked periods, whichever is longer, for what each condition rests on."""
    (capture,) = plan(
        hold(keep='gear = 5\ncoolant_temp = { min = "80 degC" }').replace('coolant_temp = "0.5', 'coolant_temp = "0.2'),
        vehicle=CAR,
    ).captures
    assert capture.stale_us == {"engine_speed": 2 * S, "road_speed": 2 * S, "coolant_temp": 15 * S}


def test_values_hold_in_a_sweep():
    """Five asked periods and at least 0.5 s."""
    text = sweep(tables='[capture.start]\ncoolant_temp = { min = "80 degC" }').replace(
        'engine_speed = "8', 'engine_speed = "20'
    )
    (capture,) = plan(text).captures
    assert capture.stale_us == {"engine_speed": 500_000, "coolant_temp": 10 * S}


def test_a_limits_signal_may_be_unseen_for_as_long():
    """Five asked periods and at least 0.5 s for each input, in holds too."""
    (capture,) = plan(hold() + '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n').captures
    (limit,) = capture.limits
    assert limit.unseen_us == {"manifold_pressure": 625_000, "barometric_pressure": 25 * S}
    assert capture.stale_us == {"road_speed": 2 * S}


def test_a_signal_asked_for_nowhere_holds_its_own_time():
    """An input without a rate is not called stale by a period that nobody gave."""
    text = sweep(tables='[capture.limit]\ngauge_boost = { max = "95 kPa" }')
    text = text.replace('barometric_pressure = "0.2 Hz"\n', "").replace('manifold_pressure = "8', 'gauge_boost = "8')
    (capture,) = plan(text).captures
    assert capture.limits[0].unseen_us == {"manifold_pressure": 2 * S, "barometric_pressure": 60 * S}


@pytest.mark.parametrize(
    ("stale", "wanted"),
    [
        ('"5 s"', {"engine_speed": 5 * S, "road_speed": 5 * S, "coolant_temp": 5 * S}),
        ('{ gear = "3 s" }', {"engine_speed": 3 * S, "road_speed": 3 * S, "coolant_temp": 10 * S}),
        ('{ gear = "3 s", engine_speed = "1 s" }', {"engine_speed": S, "road_speed": 3 * S, "coolant_temp": 10 * S}),
    ],
)
def test_a_capture_may_set_how_long_values_hold(stale, wanted):
    """For all its signals, for one, or for a derived one through its inputs; the nearest word counts."""
    text = hold(f"stale_after = {stale}", keep='gear = 5\ncoolant_temp = { min = "80 degC" }')
    assert plan(text, vehicle=CAR).captures[0].stale_us == wanted


def test_an_input_is_fresh_for_as_long_as_any_capture_lets_it_hold():
    """The longest of the catalogue's time, of every capture's and of every limit's."""
    text = hold('stale_after = "9 s"', keep="gear = 5")
    made = plan(text, vehicle=CAR)
    assert made.fresh_us == {"engine_speed": 9 * S, "road_speed": 9 * S}
    assert plan(hold(keep="gear = 5"), vehicle=CAR).fresh_us == {"engine_speed": 2 * S, "road_speed": 2 * S}


def test_gaps_default_to_five_periods():
    """What is asked of each recorded signal, with the recipe's own words kept."""
    text = hold().replace('pedal = "8 Hz"', 'pedal = { rate = "8 Hz", gap = "3 s", least = "50 %", need = false }')
    record = {asked.signal: asked for asked in plan(text).captures[0].record}
    assert record["engine_speed"] == Asked("engine_speed", 8, 625_000, 0.8, need=True)
    assert record["pedal"] == Asked("pedal", 8, 3 * S, 0.5, need=False)


def test_a_captures_own_list_replaces_the_recipes():
    """Slow links cannot carry every list at once."""
    made = plan(hold() + '[capture.record]\nroad_speed = "2 Hz"\n')
    assert [a.signal for a in made.captures[0].record] == ["road_speed"]
    assert made.captures[0].stale_us == {"road_speed": 2 * S}
    assert set(made.facts) == {"road_speed"}


def test_coolant_and_oil_limits_are_watched_all_drive():
    """Unless the recipe says otherwise; all other limits belong to the attempt."""
    text = hold() + (
        '[capture.limit]\ncoolant_temp = { max = "108 degC" }\n'
        'engine_speed = { max = "6000 rpm", after = "1 s", for = "2 s" }\n'
    )
    limits = plan(text).captures[0].limits
    assert [(x.signal, x.scope, x.after_us, x.for_us) for x in limits] == [
        ("coolant_temp", "drive", 0, 0),
        ("engine_speed", "attempt", S, 2 * S),
    ]
    text = text.replace('"108 degC"', '"108 degC", scope = "attempt"')
    assert plan(text).captures[0].limits[0].scope == "attempt"


def test_a_dip_left_out_is_a_twentieth_of_the_span():
    """5 % of the distance between the two ends, rising or falling; only engine speed has spikes by speed."""
    assert plan(sweep()).captures[0].sweep.dip == 120
    falling = (
        plan(sweep('from = "80 km/h", to = "40 km/h"', signal="road_speed", more='then = "4 s"')).captures[0].sweep
    )
    assert (falling.dip, falling.fastest, falling.then_us, falling.rising) == (2, None, 4 * S, False)


def test_a_table_says_nothing_of_people():
    """Without a record of what people said, nothing waits for them."""
    text = hold(
        'place = "parked"\nconfirm = ["Lights off"]\nafter_limit = "wait"', keep='road_speed = { max = "0 km/h" }'
    )
    asked, table = plan(text).captures[0], plan(text, people_recorded=False).captures[0]
    assert (asked.arming, asked.confirm, asked.wait_after_limit) == (True, ("Lights off",), True)
    assert (table.arming, table.confirm) == (False, ())


LAMBDA = hold(keep='lambda = { max = "1 lambda" }').replace("[record]", '[record]\nlambda_1 = "4 Hz"')


@pytest.mark.parametrize(
    ("measured", "inputs"),
    [
        (None, ("lambda_1",)),
        (["lambda_1"], ("lambda_1",)),
        (["air_fuel_ratio", "road_speed"], ("air_fuel_ratio",)),
        (["lambda_1", "air_fuel_ratio"], ("lambda_1",)),
        (["lambda", "lambda_1"], None),
        ([], ("lambda_1",)),
    ],
)
def test_the_way_that_the_source_allows_is_taken(measured, inputs):
    """Measured directly wins; else the first way whose inputs are there; else the first, which never comes."""
    made = plan(LAMBDA, measured=measured)
    ways = {way.name: way.inputs for way in made.derivations}
    assert ways.get("lambda") == inputs
    assert set(made.captures[0].stale_us) == set(inputs or ("lambda",))
    assert set(inputs or ("lambda",)) <= set(made.facts)


def test_while_the_source_is_unknown_the_recipes_list_decides():
    """A recipe that records the air-fuel ratio gets lambda from it."""
    text = LAMBDA.replace("lambda_1", "air_fuel_ratio")
    assert [way.inputs for way in plan(text).derivations] == [("air_fuel_ratio",)]


def test_a_vehicles_way_goes_before_the_general_one():
    """A car that knows better how its lambda comes about is believed."""
    own = Way("lambda", ("lambda_1",))
    assert plan(LAMBDA, vehicle=Car((own,))).derivations == (own,)


def test_a_stand_in_is_taken_only_for_want_of_a_better_way():
    """A fixed barometric reading counts where the source carries no barometric pressure, and nowhere else."""
    fixed = Way("gauge_boost", ("manifold_pressure",))
    text = hold() + '[capture.limit]\ngauge_boost = { max = "95 kPa" }\n'
    car = Car((), (fixed,))
    assert plan(text, vehicle=car).derivations[0].inputs == ("manifold_pressure", "barometric_pressure")
    both = ["road_speed", "manifold_pressure", "barometric_pressure"]
    assert plan(text, vehicle=car, measured=both).derivations[0].inputs == ("manifold_pressure", "barometric_pressure")
    assert plan(text, vehicle=car, measured=both[:2]).derivations == (fixed,)
    assert plan(text, vehicle=car, measured=both[:1]).derivations[0] is not fixed


@pytest.mark.parametrize("name", ["gear", "pedal_travel", "gauge_boost"])
def test_what_the_source_measures_is_not_derived(name):
    """A table with a column of a derived name is judged on that column, and nothing is derived."""
    keep = {"gear": "gear = 5", "pedal_travel": 'pedal_travel = { min = "20 %" }'}.get(
        name, 'road_speed = { min = "72 km/h" }'
    )
    text = hold(keep=keep) + ('[capture.limit]\ngauge_boost = { max = "95 kPa" }\n' if name == "gauge_boost" else "")
    inputs = ["engine_speed", "road_speed", "pedal", "manifold_pressure", "barometric_pressure"]
    assert name in {way.name for way in plan(text, vehicle=CAR, measured=inputs).derivations}
    made = plan(text, vehicle=CAR, measured=[*inputs, name])
    assert name not in {way.name for way in made.derivations}
    assert name in made.facts
    judge = Judge(made)
    first, then = {"gear": (5.0, 5.0), "pedal_travel": (30.0, 30.0), "gauge_boost": (60.0, 96.0)}[name]
    others = {"road_speed": 80.0, "engine_speed": 3000.0, "pedal": 0.0}
    seen = judge.feed(0, {**others, name: first}) + judge.feed(100_000, {**others, name: then})
    kinds = {type(event).__name__ for event in seen}
    assert ("Alarm" if name == "gauge_boost" else "Began") in kinds, seen


@pytest.mark.parametrize(
    "text",
    [
        hold(keep='road_speed = { min = "2 km/h", max = "1 km/h" }'),
        hold().replace('hold = "60 s"', 'collect = "1 s"'),
        sweep('from = "1000 rpm", to = "1000 rpm"'),
        hold() + hold()[len(RECORD) :],
        hold('needs = ["a"]'),
    ],
)
def test_a_recipe_that_contradicts_itself_is_not_judged(text):
    """The same sentence as the check's, as an error."""
    with pytest.raises(RecipeErrors):
        plan(text)


def test_what_is_collected_is_judged_as_holds_of_one_piece():
    """Three seconds where the recipe names no piece; the signals of cells hold as conditions do."""
    text = hold().replace('hold = "60 s"', 'collect = "5 min"')
    (capture,) = plan(text).captures
    assert (capture.hold_us, capture.collect, capture.times) == (3_000_000, Collect(300_000_000), 1)
    more = 'piece = "8 s"\ncells = { dwell = "20 s", edges = { manifold_pressure = ["20 kPa", "60 kPa", "90 kPa"] } }'
    (capture,) = plan(text.replace("[capture.keep]", f"{more}\n[capture.keep]")).captures
    axis = Axis("manifold_pressure", (20.0, 60.0, 90.0))
    assert capture.hold_us == 8_000_000
    assert capture.collect == Collect(300_000_000, (axis,), 20_000_000, ((0,), (1,)))
    assert capture.stale_us["manifold_pressure"] == 2_000_000


def test_a_recipe_that_is_only_unsafe_can_judge_what_was_driven():
    """What the check refuses to ask for may still be looked at afterwards."""
    text = hold(keep='pedal = { min = "80 %" }')
    assert plan(text).captures[0].id == "a"


def test_what_the_car_cannot_tell_is_a_finding():
    """Gear without ratios, pedal travel without ends: the plan stands, and the check says what is missing."""
    recipe = parse_recipe(EXAMPLE)
    made = resolve(recipe, CATALOGUE)
    assert [way.name for way in made.derivations] == ["gauge_boost"]
    assert [(f.where, f.code, f.level, f.line is not None) for f in check_plan(recipe, CATALOGUE)] == [
        ('capture "part-load", keep.gear', "not_derived", "error", True),
        ('capture "roll-on", keep.pedal_travel', "not_derived", "error", True),
        ('capture "roll-on", keep.gear', "not_derived", "error", True),
    ]
    assert "ratios" in check_plan(recipe, CATALOGUE)[0].message
    assert check_plan(recipe, CATALOGUE, CAR) == []


def test_what_the_source_does_not_carry_is_a_finding():
    """Each signal once a capture; what is only reported is a warning; a measured gear needs no ratios."""
    text = hold(keep='gear = 5\ncoolant_temp = { min = "80 degC" }').replace(
        'pedal = "8 Hz"', 'pedal = { rate = "8 Hz", need = false }'
    )
    recipe = parse_recipe(text)
    measured = ["gear", "engine_speed", "road_speed", "manifold_pressure"]
    findings = check_plan(recipe, CATALOGUE, measured=measured)
    assert [(f.where, f.code, f.level) for f in findings] == [
        ('capture "a", keep.coolant_temp', "not_offered", "error"),
        ("record.barometric_pressure", "not_offered", "error"),
        ("record.pedal", "not_offered", "warning"),
    ]
    findings = check_plan(recipe, CATALOGUE, CAR, measured=["engine_speed", "pedal", "barometric_pressure"])
    assert findings[0].message == "gear needs road_speed, which the source does not carry"
