"""The five marks of Ready, each state with its sentence."""

from dataclasses import replace

import pytest

from coach.catalogue import default_catalogue
from coach.errors import TableError
from coach.recipe import parse_recipe
from coach.server.ready import BYTES_AN_HOUR, ready_marks
from coach.server.shelf import minutes
from coach.shown import METRIC
from coach.vehicle import Vehicle
from coach.words import load_words

RECIPE = """format = 1
title = "x"
[record]
road_speed = "4 Hz"
engine_speed = "8 Hz"
coolant_temp = "0.5 Hz"
throttle = { rate = "1 Hz", need = false }
[[capture]]
id = "a"
title = "Steady"
hold = "90 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
[[capture]]
id = "b"
title = "Pull"
place = "closed course"
[capture.sweep]
engine_speed = { from = "2000 rpm", to = "4000 rpm", within = "15 s" }
[capture.keep]
gear = 3
"""
GOOD = {"road_speed": 4.0, "engine_speed": 8.0, "coolant_temp": 0.5, "throttle": 1.0, "gear": 4.0}
CAR = Vehicle(ratios={3: 40.0})


class Fake:
    """A garage with one source."""

    def __init__(self, found, coolant=85.0):
        self.found, self.coolant = found, coolant

    def signals(self, source):
        return self.found

    def first_value(self, source, signal):
        return self.coolant

    def entry(self, source):
        return type("E", (), {"kind": "replay", "link": None})


def marks(found=GOOD, *, coolant=85.0, vehicle=CAR, free=10**15, recipe=RECIPE):
    parsed = parse_recipe(recipe, catalogue=default_catalogue())
    made = ready_marks(
        parsed, "s", Fake(found, coolant), vehicle, default_catalogue(), load_words(), free, METRIC
    )  # fmt: skip
    assert [m["id"] for m in made] == ["link", "signals", "engine", "road", "room"]
    assert all(m["text"].strip() for m in made)
    return {m["id"]: (m["state"], m["text"]) for m in made}


def test_everything_found():
    """All good, the closed course named with the speed that the pull reaches."""
    made = marks()
    assert made["link"] == ("ok", "A recorded drive stands in for the car.")
    assert made["signals"] == ("ok", "5 of 5 found, each at the rate asked.")
    assert made["engine"] == ("ok", "Coolant 85 °C.")
    assert made["road"] == ("warn", "Pull reaches about 100 km/h: closed course or dyno only.")
    assert made["room"] == ("ok", "Space for weeks of recording.")


def test_while_it_is_looked_for_the_rest_waits():
    """Marks fill one by one."""
    made = marks(None)
    assert made["link"][0] == "looking"
    assert made["signals"][0] == made["engine"][0] == "todo"
    assert made["room"][0] == "ok"


def test_a_source_that_cannot_be_read():
    """The sentence is the reader's own."""
    made = marks(TableError("has no time column", where="x.csv"))
    assert made["link"] == ("bad", "The recorded drive cannot be read. x.csv: has no time column")


def test_a_signal_that_is_missing_blocks():
    """It is named as on the screen."""
    made = marks({k: v for k, v in GOOD.items() if k != "coolant_temp"})
    assert made["signals"] == ("bad", "4 of 5 found. Missing: coolant.")
    assert marks({k: v for k, v in GOOD.items() if k != "gear"}, vehicle=None)["signals"][0] == "bad"


def test_a_signal_that_is_slow_warns():
    """Under the least share of the asked rate."""
    assert marks({**GOOD, "engine_speed": 6.3})["signals"] == (
        "warn", "5 of 5 found. Slower than asked: engine.",
    )  # fmt: skip
    assert marks({**GOOD, "engine_speed": 6.5})["signals"][0] == "ok"


def test_a_signal_that_is_not_needed_only_warns():
    """`need = false`."""
    assert marks({k: v for k, v in GOOD.items() if k != "throttle"})["signals"] == (
        "warn", "4 of 5 found. Missing, but not needed: throttle.",
    )  # fmt: skip


def test_the_engine_is_cold_unknown_or_of_no_interest():
    """One sentence each."""
    assert marks(coolant=20.0)["engine"] == ("ok", "Coolant 20 °C. The first minutes warm it up.")
    assert marks(coolant=None)["engine"][0] == "warn"
    without = RECIPE.replace('coolant_temp = { min = "80 degC" }\n', "")
    assert marks(recipe=without)["engine"] == ("ok", "The recipe asks nothing of the engine's temperature.")


def test_where_it_has_to_be_done():
    """Closed course without a known ratio, ordinary roads, parked only."""
    assert marks(vehicle=None)["road"] == ("warn", "Pull: closed course or dyno only.")
    assert marks(vehicle=replace(CAR, ratios={4: 30.0}))["road"] == ("warn", "Pull: closed course or dyno only.")
    road = RECIPE[: RECIPE.index('[[capture]]\nid = "b"')]
    assert marks(recipe=road)["road"] == ("ok", "Ordinary roads are enough.")
    parked = road.replace('title = "Steady"', 'title = "Steady"\nplace = "parked"')
    assert marks(recipe=parked)["road"] == ("ok", "Everything is done parked, in the open air.")


@pytest.mark.parametrize(
    ("hours", "state", "words"),
    [(9.5, "ok", "for 9 hours"), (0.5, "warn", "only 30 minutes"), (0.001, "bad", "no room")],
)
def test_room_on_the_disk(hours, state, words):
    """Hours, minutes, none."""
    made = marks(free=int(hours * BYTES_AN_HOUR))
    assert made["room"][0] == state
    assert words in made["room"][1]


def test_how_long_a_recipe_takes():
    """Twice the least time and the warm-up, in steps of five minutes."""
    parsed = parse_recipe(RECIPE, catalogue=default_catalogue())
    # 90 s and 15 s: 3.5 minutes twice over, and ten to warm up.
    assert minutes(parsed) == 15
