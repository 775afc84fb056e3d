"""Captures as sentences: what a person reads before driving."""

from __future__ import annotations

import json

import pytest

from coach.catalogue import default_catalogue
from coach.plan import capture_sentence, check_plan, describe_recipe, least_us
from coach.recipe import parse_recipe
from coach.shown import Units
from tests.recipe.making import EXAMPLE, hold, sweep

CATALOGUE = default_catalogue()


def said(text: str, system: str | Units = "metric") -> str:
    """The sentence of the one capture."""
    return capture_sentence(parse_recipe(text).captures[0], CATALOGUE, system=system)


def test_the_example_in_sentences():
    """A hold, a sweep and an idle as they stand on the page."""
    assert [capture_sentence(c, CATALOGUE) for c in parse_recipe(EXAMPLE).captures] == [
        "Hold 72 to 88 km/h in fifth for 3 minutes, coolant 80 °C or more.",
        (
            "From 2200 to 4600 rpm in third, within 15 seconds, pedal 90 % or more, begin with coolant 80 °C or more, "
            "twice. Boost never over 95 kPa, coolant never over 108 °C."
        ),
        "Stand still for 90 seconds, engine 650 to 1000 rpm, coolant 80 °C or more.",
    ]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            hold(keep='road_speed = { min = "72 km/h" }\ngear = { min = 4 }'),
            "Hold 72 km/h or more in fourth or more for 1 minute.",
        ),
        (hold(keep="gear = { min = 3, max = 4 }"), "Hold in third to fourth for 1 minute."),
        (hold(keep="gear = { max = 4 }"), "Hold in fourth or less for 1 minute."),
        (
            hold(keep='engine_speed = { min = "2000 rpm", max = "2000 rpm", wander = "150 rpm" }'),
            "Hold 2000 rpm, steady within 150 rpm for 1 minute.",
        ),
        (hold(keep='pedal_travel = { max = "1 %" }'), "Hold pedal 1 % or less for 1 minute."),
        (
            hold(keep='fuel_system_status = "closed loop"').replace(
                "[record]", '[record]\nfuel_system_status = "1 Hz"'
            ),
            "Hold fuel loop closed loop for 1 minute.",
        ),
        (
            hold().replace('hold = "60 s"', 'collect = "10 min"\npiece = "5 s"'),
            "Collect 10 minutes of 72 to 88 km/h, in pieces of 5 seconds or more.",
        ),
        (
            hold('cells = { dwell = "20 s", edges = { engine_speed = ["1500 rpm", "2000 rpm", "2500 rpm"] } }').replace(
                'hold = "60 s"', 'collect = "10 min"'
            ),
            (
                "Collect 10 minutes of 72 to 88 km/h, in pieces of 3 seconds or more, "
                "at least 20 seconds in each of 2 cells of engine."
            ),
        ),
        (
            hold('cells = { dwell = "20 s", edges = { engine_speed = ["1500 rpm", "2000 rpm"] } }').replace(
                'hold = "60 s"', 'collect = "10 min"'
            ),
            (
                "Collect 10 minutes of 72 to 88 km/h, in pieces of 3 seconds or more, "
                "at least 20 seconds in one cell of engine."
            ),
        ),
        (hold("times = 3").replace("60 s", "1 s"), "Hold 72 to 88 km/h for 1 second, 3 times."),
        (hold().replace("60 s", "2 h"), "Hold 72 to 88 km/h for 2 hours."),
        (hold().replace("60 s", "1 min"), "Hold 72 to 88 km/h for 1 minute."),
        (hold().replace("60 s", "2.5 s"), "Hold 72 to 88 km/h for 2.5 seconds."),
        (
            sweep(more='then = "5 s"', tables='[capture.limit]\nengine_speed = { min = "500 rpm" }'),
            "From 2200 to 4600 rpm, then hold on for 5 seconds. Engine never under 500 rpm.",
        ),
    ],
)
def test_each_kind_of_capture(text, sentence):
    """Gears in words, one-sided bands, wander, statuses, repeats, durations."""
    assert said(text) == sentence


def test_sentences_are_in_the_drivers_units():
    """Bounds are the readings that pass, in miles an hour as well."""
    text = hold(keep='road_speed = { min = "45 mph", max = "55 mph" }')
    assert said(text) == "Hold 73 to 88 km/h for 1 minute."
    assert said(text, "imperial") == "Hold 46 to 54 mph for 1 minute."


def test_a_recipe_is_described_for_a_screen():
    """JSON with everything that the page shows before driving, in the recipe's order."""
    recipe = parse_recipe(EXAMPLE)
    page = describe_recipe(recipe, CATALOGUE, check_plan(recipe, CATALOGUE))
    assert json.loads(json.dumps(page)) == page
    assert [(c["id"], c["kind"], c["place_text"], c["least_s"]) for c in page["captures"]] == [
        ("part-load", "hold", "Road", 180.0),
        ("roll-on", "sweep", "Closed course or dyno", 210.0),
        ("settled-idle", "hold", "Parked, in the open", 90.0),
    ]
    assert page["least_s"] == 480.0
    assert (page["sha256"], page["record"]["coolant_temp"]) == (recipe.sha256, 0.5)
    assert page["findings"][0]["code"] == "not_derived"


def test_the_least_time_counts_repeats_and_rests():
    """Two sweeps of 15 s with a rest of 3 min between them."""
    assert least_us(parse_recipe(EXAMPLE).captures[1]) == 210_000_000
