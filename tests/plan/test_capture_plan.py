"""One capture in one car: speeds by gear, time and room, and what is said where a value is missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.plan.capture_plan import Assumed, plan_capture
from coach.plan.pulls import EarlierPulls, earlier_pulls
from coach.recipe import parse_recipe
from coach.recording import Recording, Series
from coach.sources.table import read_table
from coach.vehicle import Vehicle, load_vehicle
from coach.vehicle.road import RoadLoad
from tests.plan.test_motion import CURVE, RATIO
from tests.recipe.making import EXAMPLE, hold, sweep

# The car of the worked pulls, as a vehicle.
CAR = Vehicle(
    ratios=RATIO, mass_kg=1700, rotating=0.03, driveline=1.0, road_load=RoadLoad(200, 0.35, 0.032), full_load_kw=CURVE,
    rev_limit_rpm=5200, idle_rpm=800,
)  # fmt: skip
FULL = '[capture.keep]\npedal_travel = { min = "95 %" }\ngear = 3\n'


def plan(text, vehicle=CAR, pulls=None, assumed=None, n=0):
    """The plan of one capture of a text."""
    return plan_capture(parse_recipe(text).captures[n], vehicle, pulls or {}, assumed or Assumed())


def full(gear=3, ends='from = "2000 rpm", to = "4000 rpm"', **more):
    """A full-pedal sweep in a gear."""
    return sweep(ends, tables=FULL.replace("gear = 3", f"gear = {gear}"), **more)


@pytest.mark.parametrize(
    ("gear", "seconds", "metres"), [(2, 2.7680, 41.225), (3, 6.8875, 157.332), (4, 15.0786, 480.541)]
)
def test_worked_pulls_from_recipe_and_vehicle(gear, seconds, metres):
    """The worked pulls come out of the files too (source: see test_motion); room to stop is v v / 2a at 2 m/s2."""
    row = plan(full(gear)).main
    assert (row.seconds, row.metres) == (pytest.approx(seconds, rel=1e-4), pytest.approx(metres, rel=1e-4))
    assert row.how == "full load"
    top = 4000 / RATIO[gear] / 3.6
    assert row.stop_m == pytest.approx(top**2 / 4)
    assert row.run_up_m == pytest.approx((2000 / RATIO[gear] / 3.6) ** 2 / 3)
    assert row.total_m == pytest.approx(row.run_up_m + row.metres + row.stop_m)


def test_speed_in_gear():
    """3000 rpm, gear 1.036, final drive 3.94, 1934.6 mm circumference: 85.312 km/h (arithmetic)."""
    car = Vehicle(ratios={3: 1.036 * 3.94 * 1000 / 60 / 1.9346})
    assert plan(full(3, 'from = "1500 rpm", to = "3000 rpm"'), car).main.to_kmh == pytest.approx(85.312, abs=0.001)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"mass_kg": None}, "no_mass"),
        ({"road_load": None}, "no_road_load"),
        ({"full_load_kw": None}, "no_full_load"),
        ({"full_load_kw": CURVE[:10]}, "beyond_full_load"),
        ({"full_load_kw": CURVE[8:]}, "beyond_full_load"),
        ({"road_load": RoadLoad(9000, 0, 0)}, "not_reached"),
    ],
)
def test_what_is_missing_is_said(change, why):
    """Speeds stand, time and distance do not; `within` bounds both where the recipe has it."""
    car = replace(CAR, **change)
    row = plan(full(3), car).main
    assert row.to_kmh == pytest.approx(107.87, abs=0.01)
    assert (row.seconds, row.metres, row.total_m, row.why) == (None, None, None, why)
    bounded = plan(full(3, 'from = "2000 rpm", to = "4000 rpm", within = "15 s"'), car).main
    assert (bounded.seconds, bounded.how, bounded.why) == (15, "at most", why)
    assert bounded.metres == pytest.approx(15 * 107.87 / 3.6, abs=0.1)


def test_no_vehicle_no_ratios_no_gear():
    """Each is another sentence."""
    assert (plan(full(), None).why, plan(full(), None).rows) == ("no_vehicle", ())
    assert plan(full(), Vehicle()).why == "no_ratios"
    assert plan(full(9)).why == "no_such_gear"
    assert plan(full(), replace(CAR, transmission="CVT")).why == "cvt"


def test_defaults_are_on_the_slow_side():
    """Without a word on driveline and turning parts the pull takes longer than with no loss at all."""
    plain = plan(full(), replace(CAR, driveline=None, rotating=None)).main
    assert plain.seconds > 6.8875


def test_a_sweep_without_full_pedal_is_paced_by_the_driver():
    """Its time is what the recipe allows at most."""
    text = sweep('from = "2000 rpm", to = "4000 rpm"', tables="[capture.keep]\ngear = 3\n")
    assert plan(text).main.why == "part_pedal"
    assert plan(text.replace('"4000 rpm"', '"4000 rpm", within = "9 s"')).main.how == "at most"


def test_a_falling_sweep_coasts():
    """From 80 to 40 km/h with nothing but road load: an upper bound; without gears the speeds stand all the same."""
    text = sweep('from = "80 km/h", to = "40 km/h"', signal="road_speed", more='then = "4 s"')
    row = plan(text, replace(CAR, ratios=None)).main
    assert (row.from_kmh, row.to_kmh, row.how, row.gear) == (80, 40, "coasting", 0)
    assert row.seconds > 40
    assert row.stop_m == pytest.approx((40 / 3.6) ** 2 / 4 + 4 * 40 / 3.6)
    assert plan(text, Vehicle()).main.why == "no_mass"
    assert plan(text, Vehicle(mass_kg=1400)).main.why == "no_road_load"
    assert plan(text, None).main.why == "no_vehicle"
    rising = sweep(
        'from = "40 km/h", to = "80 km/h"',
        signal="road_speed",
        tables='[capture.keep]\npedal_travel = { min = "95 %" }\n',
    )
    assert plan(rising, replace(CAR, ratios=None)).main.why == "no_ratios"
    assert plan(rising).main.how == "full load"


def test_holds():
    """Road speed in gear is engine speed, and the other way round; both are cut with each other; idle has neither."""
    row = plan(hold(keep='road_speed = { min = "72 km/h", max = "88 km/h" }\ngear = 5')).main
    assert (row.from_rpm, row.to_rpm) == (pytest.approx(72 * 20.96), pytest.approx(88 * 20.96))
    row = plan(hold(keep='engine_speed = { min = "2000 rpm", max = "2400 rpm" }\ngear = 5')).main
    assert (row.from_kmh, row.to_kmh) == (pytest.approx(95.42, abs=0.01), pytest.approx(114.50, abs=0.01))
    both = 'road_speed = { min = "72 km/h", max = "88 km/h" }\nengine_speed = { min = "1600 rpm" }\ngear = 5'
    assert plan(hold(keep=both)).main.from_rpm == pytest.approx(1600)
    assert plan(hold(keep=both.replace("1600", "2600"))).rows == ()
    idle = plan(EXAMPLE, n=2)
    assert (idle.rows, idle.low_kmh, idle.high_kmh, idle.course) == ((), 0, 0, ())


def test_closed_course():
    """Because the recipe says so, because of full pedal, because of the implied speed; each by itself."""
    assert plan(full()).course == ("asked", "full_pedal", "speed")
    assert plan(full(2)).course == ("asked", "full_pedal")
    assert plan(full(), assumed=Assumed(bound_kmh=130)).course == ("asked", "full_pedal")
    assert plan(hold(keep='road_speed = { min = "120 km/h" }')).course == ("speed",)
    assert plan(hold(keep='road_speed = { min = "90 km/h", max = "120 km/h" }')).course == ()


def test_no_gear_named_is_every_gear():
    """Rows for all of them; the fastest counts for room, the slowest for whether it is too fast in any case."""
    text = sweep('from = "2000 rpm", to = "4000 rpm"', tables='[capture.keep]\npedal_travel = { min = "95 %" }\n')
    made = plan(text)
    assert [row.gear for row in made.rows] == [1, 2, 3, 4, 5, 6]
    assert made.main.gear == 6
    assert "speed" not in made.course


def test_earlier_pulls_of_the_simulated_car():
    """The bundled drive's own pulls, found in its table, and the full-load curve in the vehicle file agree within 8 %.

    The curve knows no turbocharger lag and the simulated car has one: the pulls are the slower of the two.
    """
    traces = traces_root()
    car = load_vehicle(traces / "demo-vehicle.toml")
    pulls = earlier_pulls([read_table(traces / "everything-qualifies.csv", default_catalogue())], car)
    assert list(pulls) == [3]
    assert pulls[3].count >= 2
    assert pulls[3].covers(2200, 4600)
    by_pulls, by_curve = plan(EXAMPLE, car, pulls, n=1).main, plan(EXAMPLE, car, n=1).main
    assert (by_pulls.how, by_curve.how) == ("earlier pulls", "full load")
    assert by_curve.seconds < by_pulls.seconds < 1.08 * by_curve.seconds
    # In another gear they need the mass and the road load, and come out near the curve again.
    other = full(4, 'from = "2400 rpm", to = "4400 rpm"')
    moved, curved = plan(other, car, pulls).main, plan(other, car).main
    assert moved.how == "earlier pulls"
    assert moved.seconds == pytest.approx(curved.seconds, rel=0.1)
    assert plan(other, replace(car, mass_kg=None), pulls).main.why == "no_mass"
    short = EarlierPulls(3, pulls[3].rpm[:3], pulls[3].ms2[:3], 1)
    assert plan(EXAMPLE, replace(car, full_load_kw=None), {3: short}, n=1).main.why == "pulls_too_short"


def made_pull(pedal_name="pedal_travel", pedal=(0.0, 100.0), ratio=37.08, slope=400.0):
    """Ten seconds of cruise, then five of full pedal: engine speed rises by `slope` rpm a second."""
    t = np.arange(0, 15, 0.1)
    rpm = 2000 + np.maximum(0, t - 10) * slope
    t_us = np.round(t * 1e6).astype(np.int64)
    foot = np.where(t >= 10, pedal[1], pedal[0])
    return Recording({
        "engine_speed": Series(t_us, rpm), "road_speed": Series(t_us, np.round(rpm / ratio)),
        pedal_name: Series(t_us, foot),
    })  # fmt: skip


@pytest.mark.parametrize(
    ("name", "pedal", "car"),
    [
        ("pedal_travel", (20, 100), CAR),
        ("pedal", (14.9, 85.1), replace(CAR, released_pct=14.9, floored_pct=85.1)),
        ("pedal", (14.9, 85.1), CAR),
        ("throttle", (10, 95), CAR),
    ],
)
def test_a_pull_is_found_by_whatever_tells_of_the_pedal(name, pedal, car):
    """Travel, a raw pedal with and without its ends, the throttle: 400 rpm/s in third are 3.0 m/s2 (arithmetic)."""
    found = earlier_pulls([made_pull(name, pedal)], car)
    assert list(found) == [3]
    assert found[3].ms2 == pytest.approx([400 / 37.08 / 3.6] * len(found[3].ms2), rel=0.02)
    assert found[3].low_rpm == 2000
    assert found[3].covers(2000, 3900)
    assert not found[3].covers(1800, 3900)


def test_what_is_no_pull():
    """No pedal signal, a pedal that moves little, a foreign ratio, no ratios, a lift: nothing is found."""
    assert earlier_pulls([made_pull("coolant_temp")], CAR) == {}
    assert earlier_pulls([made_pull("pedal", (20.0, 40.0))], CAR) == {}
    assert earlier_pulls([made_pull(ratio=45.0)], CAR) == {}
    assert earlier_pulls([made_pull()], Vehicle()) == {}
    assert earlier_pulls([made_pull(pedal=(20.0, 60.0))], CAR) == {}
    assert earlier_pulls([made_pull(slope=10.0)], CAR) == {}
    assert earlier_pulls([], CAR) == {}
