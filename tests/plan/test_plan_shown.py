"""The plan as text, JSON and plot: what a calibrator reads, and what a program and a page take."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.plan.capture_plan import plan_capture
from coach.plan.drive_plan import Known, Link, plan_drive
from coach.plan.order import minutes, order_of
from coach.plan.plan_json import plan_json
from coach.plan.plan_text import plan_text
from coach.plan.plot import plan_svg
from coach.plan.rates import K_LINE, USUAL_CAN
from coach.plan.shown_plan import length
from coach.recipe import load_recipe, parse_recipe
from coach.shown import IMPERIAL, METRIC
from coach.vehicle import Vehicle, load_vehicle
from tests.plan.test_capture_plan import CAR
from tests.recipe.making import EXAMPLE, RECORD, hold, sweep

CATALOGUE = default_catalogue()
TRACES = traces_root()
SVG = "{http://www.w3.org/2000/svg}"


def bundled(**more):
    """The bundled recipe in the bundled car."""
    recipe = load_recipe(TRACES / "demo-recipe.toml", CATALOGUE)
    return plan_drive(recipe, CATALOGUE, load_vehicle(TRACES / "demo-vehicle.toml"), **more)


def test_text_of_the_bundled_recipe():
    """Order, speeds by gear, time, room, why a closed course, what is taken for granted, and nothing against it."""
    text = plan_text(bundled(), CATALOGUE)
    for line in (
        "For: Demo hatchback",
        "About 25 minutes, warm-up included.",
        "1  Steady part load in fifth  (Road)",
        "   72 km/h to 88 km/h is 1793 to 2191 rpm in fifth",
        "   2200 to 4600 rpm in third: 53 km/h to 111 km/h",
        "     rpm and km/h: 2200 53, 2500 60, 3000 72, 3500 84, 4000 96, 4500 108, 4600 111",
        "   Closed course or dyno: it asks for full pedal and it implies more than 100 km/h.",
        "Nothing found that speaks against it.",
    ):
        assert line in text.splitlines()
    assert "from the full-load curve" in text
    assert "Gradient, wind and the road's grip are not known" in text
    assert max(map(len, text.splitlines())) <= 100


def test_text_in_miles():
    """The bands are the readings that pass, lengths are in feet."""
    text = plan_text(bundled(), CATALOGUE, units=IMPERIAL)
    assert "45 mph to 54 mph is 1793 to 2191 rpm in fifth" in text
    assert "1800 ft" in text


def test_text_says_what_is_missing():
    """Without a car, without mass, with missing signals and a slow link: each has its words."""
    nobody = plan_text(plan_drive(parse_recipe(EXAMPLE), CATALOGUE), CATALOGUE)
    assert "For no car in particular" in nobody
    assert "time and distance are not known: there is no vehicle file." in nobody
    car = replace(CAR, mass_kg=None, label="x")
    text = sweep(
        'from = "2000 rpm", to = "4000 rpm"', tables='[capture.keep]\npedal_travel = { min = "95 %" }\ngear = 3\n'
    )
    known = Known(offered=["engine_speed", "road_speed", "manifold_pressure"], link=Link(K_LINE))
    told = plan_text(plan_drive(parse_recipe(text), CATALOGUE, car, known), CATALOGUE)
    assert "time and distance are not known: the vehicle file has no mass." in told
    assert "barometric_pressure is missing" in told
    assert "fixed_barometric could stand in" in told
    assert "Smallest change that would do" in told
    assert "Errors: " in told
    tight = plan_text(bundled(known=Known(link=Link(USUAL_CAN, measured=False))), CATALOGUE)
    assert "a usual link, none was measured" in tight


def test_json_is_json_and_complete():
    """Every capture, signal and rate is in it; figures are numbers or null, texts whole sentences."""
    made = plan_json(bundled(known=Known(link=Link(USUAL_CAN))), CATALOGUE)
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    roll = made["captures"][1]
    assert roll["gears"][0]["how"] == "full load"
    assert roll["gears"][0]["points"][0] == {"rpm": 2200.0, "kmh": pytest.approx(53.01, abs=0.01)}
    assert roll["room_text"] == "550 m"
    assert made["rates"]["feasible"] is True
    assert made["unknown"][0]["code"] == "road"
    empty = plan_json(plan_drive(parse_recipe(EXAMPLE), CATALOGUE), CATALOGUE)
    assert empty["vehicle"] is None
    assert empty["captures"][1]["need_text"] == "Which speed it ends at is not known: there is no vehicle file."
    assert empty["captures"][1]["top_kmh"] is None


@pytest.mark.parametrize(
    ("text", "car", "said"),
    [
        (sweep('from = "2000 rpm", to = "4000 rpm"'), Vehicle(ratios={3: 40.0}),
         "It ends at about 100 km/h. How much room it needs is not known."),
        (sweep('from = "2000 rpm", to = "4000 rpm", within = "10 s"'), Vehicle(ratios={3: 40.0}),
         "It ends at about 100 km/h and needs up to 540 m, run-up and stopping included."),
        (sweep('from = "80 km/h", to = "40 km/h"', signal="road_speed"), Vehicle(),
         "It begins at about 80 km/h. How much room it needs is not known."),
        (hold(), Vehicle(ratios={3: 40.0}), ""),
        (sweep('from = "30 %", to = "60 %"', signal="throttle"), Vehicle(ratios={3: 40.0}), ""),
    ],
)  # fmt: skip
def test_the_one_sentence_about_room(text, car, said):
    """What the Arm screen says; empty where it has nothing to say."""
    made = plan_json(plan_drive(parse_recipe(text), CATALOGUE, car), CATALOGUE)
    assert made["captures"][0]["need_text"] == said


def test_lengths_are_rounded_up():
    """Never less road than is needed: 10 m, from 1 km on 0.1 km; 50 ft, from half a mile on 0.1 mi."""
    assert [length(m, METRIC) for m in (0.1, 10, 10.1, 990, 991, 1001)] == [
        "10 m", "10 m", "20 m", "990 m", "1.0 km", "1.1 km",
    ]  # fmt: skip
    assert [length(m, IMPERIAL) for m in (15.24, 15.3, 800, 1610)] == ["50 ft", "100 ft", "0.5 mi", "1.1 mi"]


# --- the plot


def drawn(plan, **more):
    """The plot as a tree."""
    return ET.fromstring(plan_svg(plan, **more))


def test_plot_has_gears_captures_and_bound():
    """A line and a name a gear, a way a capture with its number in the order of driving, a head on the sweep alone."""
    root = drawn(bundled())
    by_class = {}
    for element in root.iter():
        by_class.setdefault(element.get("class", ""), []).append(element)
    assert len(by_class["p-gear"]) == 6
    assert sorted(e.text for e in root.iter() if (e.get("class") or "").startswith("p-gearname")) == list("123456")
    assert len(by_class["p-way"]) == 3
    assert [e.text for e in by_class["p-number"]] == ["1", "1", "2", "2", "3", "3"]
    assert len(root.findall(f"{SVG}polygon")) == 1
    assert by_class["p-boundname"][0].text == "closed course above 100 km/h"
    assert [e.text for e in by_class["p-name"]] == [
        "Steady part load in fifth: 72 to 88 km/h", "Full pedal in third: 53 to 111 km/h", "Warm idle, parked",
    ]  # fmt: skip
    assert root.find(f"{SVG}style") is not None


def test_plot_lies_on_its_gear():
    """The way of a sweep lies on the line of its gear, both ends: the same slope from the origin."""
    root = drawn(bundled())
    gears = [e.get("d") for e in root.iter() if e.get("class") == "p-gear"]
    way = next(e.get("d") for e in root.iter() if e.get("class") == "p-way" and "L" in e.get("d"))

    def ends(d):
        return [tuple(map(float, pair.split())) for pair in d[1:].split("L")]

    def slope(d):
        (x0, y0), (x1, y1) = ends(d)
        return (y1 - y0) / (x1 - x0)

    fifth = gears[4]
    assert slope(way) == pytest.approx(slope(fifth), rel=0.01)


def test_plot_for_a_page_has_no_style():
    """Classes only: the page's colours and its policy. Its text keeps its size on a phone."""
    plain = plan_svg(bundled(), bare=True)
    assert "style" not in plain
    assert 'viewBox="0 0 350' in plain
    assert "72 to 88" not in plain


def test_plot_escapes_and_shortens():
    """A title is text and never markup; a long one is cut on a phone."""
    text = EXAMPLE.replace("Full pedal in third", "<b>&" + "x" * 40)
    made = plan_drive(parse_recipe(text), CATALOGUE, CAR)
    assert "&lt;b&gt;&amp;xxx" in plan_svg(made)
    assert drawn(made, bare=True) is not None
    assert "…" in plan_svg(made, bare=True)


def test_plot_without_ratios_says_so():
    """Nothing is drawn of what is not known."""
    for car in (None, Vehicle(), Vehicle(ratios={1: 100.0}, transmission="CVT")):
        root = drawn(plan_drive(parse_recipe(EXAMPLE), CATALOGUE, car))
        assert "nothing to draw" in "".join(root.itertext())


# --- order and time


def capture(name, head, tables=""):
    """One capture of several."""
    return f'[[capture]]\nid = "{name}"\n{head}\n{tables}'


PULL = (
    '[capture.sweep]\nengine_speed = {{ from = "2000 rpm", to = "{to} rpm" }}\n'
    "[capture.keep]\npedal_travel = {{ {pedal} }}\n"
)
MANY = RECORD + "".join((
    capture("idle", 'place = "parked"\nhold = "60 s"', '[capture.keep]\nroad_speed = { max = "0 km/h" }\n'),
    capture("full-high", 'place = "closed course"', PULL.format(to=5000, pedal='min = "95 %"')),
    capture("full-low", 'place = "closed course"', PULL.format(to=4000, pedal='min = "95 %"')),
    capture("half", 'place = "closed course"', PULL.format(to=5000, pedal='max = "50 %"')),
    capture("part", 'hold = "60 s"', '[capture.keep]\nroad_speed = { min = "70 km/h" }\n'
            'coolant_temp = { min = "80 degC" }\n'),
    capture("cold", 'place = "parked"\nhold = "60 s"', '[capture.start]\ncoolant_temp = { max = "30 degC" }\n'
            '[capture.keep]\nroad_speed = { max = "0 km/h" }\n'),
))  # fmt: skip


def test_order():
    """Cold first, steady driving, part pedal before full, lower end before higher, parked last; needs come first."""
    recipe = parse_recipe(MANY)
    assert order_of(recipe) == ["cold", "part", "half", "full-low", "full-high", "idle"]
    text = MANY.replace('id = "cold"', 'id = "cold"\nneeds = ["full-high"]')
    assert order_of(parse_recipe(text))[-3:] == ["full-high", "cold", "idle"]
    circle = MANY.replace('id = "cold"', 'id = "cold"\nneeds = ["half"]').replace(
        'id = "half"', 'id = "half"\nneeds = ["cold"]'
    )
    assert sorted(order_of(parse_recipe(circle))) == sorted(order_of(recipe))


def test_minutes():
    """Warm-up, holds and half as much again, what lies between, rests where they are longer; in steps of five."""
    made = bundled()
    # 600 s warm-up; 90 s x 1.5 + 120 s; two pulls with run-up and stop, 120 s aside, 120 s between; 60 s x 1.5 + 60 s.
    pull = made.of("roll-on").main
    cycle = pull.seconds + pull.from_kmh / 3.6 / 1.5 + pull.to_kmh / 3.6 / 2
    seconds = 600 + 255 + (2 * cycle + 240) + 150
    assert 5 * -(-seconds // 300) == made.minutes == 25
    cold = parse_recipe(hold())
    assert minutes(cold, [plan_capture(cold.captures[0], None, {}, made.assumed)], made.assumed) == 5
