"""A recipe that is right: everything in it arrives, in canonical units, from TOML and from JSON alike."""

from __future__ import annotations

import hashlib
import json
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.core.spec import Band
from coach.recipe import LimitAsked, RecordAsked, SweepAsked, check_recipe, load_recipe, parse_recipe
from tests.recipe.making import EXAMPLE, codes, hold

S = 1_000_000


def test_the_example_arrives_whole():
    """Quantities in catalogue units, times in microseconds, defaults filled in."""
    recipe = parse_recipe(EXAMPLE)
    assert (recipe.title, recipe.revision) == ("Second revision: part load, roll-on, settled idle", 2)
    assert recipe.record["barometric_pressure"] == RecordAsked("barometric_pressure", 0.2)
    part, roll, idle = recipe.captures
    assert (part.id, part.place, part.hold_us, part.grace_us, part.times) == ("part-load", "road", 180 * S, S, 1)
    assert part.keep == (Band("road_speed", 72, 88), Band("coolant_temp", 80), Band("gear", 5, 5))
    assert roll.sweep == SweepAsked("engine_speed", 2200, 4600, dip=120, within_us=15 * S)
    assert roll.limits == (LimitAsked("gauge_boost", high=95), LimitAsked("coolant_temp", high=108))
    assert (roll.times, roll.rest_us, roll.start) == (2, 180 * S, (Band("coolant_temp", 80),))
    assert idle.keep[0] == Band("road_speed", None, 0)
    assert (idle.before_us, idle.after_us, idle.warn_ahead_us, idle.after_limit) == (10 * S, 10 * S, 700_000, "again")
    assert recipe.capture("roll-on") is roll
    with pytest.raises(KeyError):
        recipe.capture("x")


def test_the_example_passes_its_check():
    """The documentation's own example has neither errors nor warnings."""
    assert check_recipe(parse_recipe(EXAMPLE), default_catalogue()) == []


def test_json_and_toml_are_the_same_recipe():
    """The same structure as JSON resolves to the same captures."""
    as_json = json.dumps(tomllib.loads(EXAMPLE))
    one, other = parse_recipe(EXAMPLE), parse_recipe(as_json)
    assert one.captures == other.captures
    assert one.record == other.record
    assert other.lines == {}


def test_the_digest_is_of_the_bytes_as_received():
    """Windows line ends and a byte order mark change the digest, not the recipe."""
    data = b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode()
    recipe = parse_recipe(data)
    assert recipe.source == data
    assert recipe.sha256 == hashlib.sha256(data).hexdigest()
    assert recipe.captures == parse_recipe(EXAMPLE).captures
    assert recipe.lines == parse_recipe(EXAMPLE).lines


def test_a_file_is_named_by_its_name(tmp_path):
    """A recipe knows the name of its file, for errors."""
    file = tmp_path / "second.toml"
    file.write_text(EXAMPLE, encoding="utf-8")
    assert load_recipe(file).name == "second.toml"
    assert load_recipe(str(file)).captures == parse_recipe(EXAMPLE).captures


EVERY_KEY = """\
format = 1
title = "All keys"
revision = 3
note = "n"
vehicle = "blue hatchback"
calibration = ["A1", "B2"]
settle = "31 mi"
[record]
engine_speed = { rate = "8 Hz", gap = "1 s", least = "90 %", need = false }
road_speed = "4 Hz"
[[capture]]
id = "a"
title = "A"
ask = "Gently"
place = "closed course"
times = 3
grace = "500 ms"
max_excursions = 2
stale_after = { engine_speed = "1 s" }
warn_ahead = "1 s"
then = "5 s"
rest = "1 min"
needs = ["b"]
after_limit = "wait"
confirm = ["Air conditioning off"]
before = "5 s"
after = "20 s"
start = { road_speed = { max = "0 km/h" } }
keep = { road_speed = { min = "10 mph", wander = "2 mph" } }
limit = { road_speed = { max = "100 km/h", scope = "drive", after = "1 s", for = "2 s" } }
sweep = { engine_speed = { from = "4000 rpm", to = "2000 rpm", dip = "100 rpm", within = "9 s", late = "50 rpm" } }
record = { engine_speed = "10 Hz", road_speed = "2 Hz" }
[[capture]]
id = "b"
hold = "1 min"
stale_after = "5 s"
keep = { engine_speed = "800 rpm" }
"""


def test_every_key_of_the_format_is_read():
    """Each key of the table in the reference ends up where the plan finds it."""
    recipe = parse_recipe(EVERY_KEY)
    a, b = recipe.captures
    assert (recipe.vehicle, recipe.calibration, recipe.note) == ("blue hatchback", ("A1", "B2"), "n")
    assert recipe.settle_km == pytest.approx(49.889664)
    assert recipe.record["engine_speed"] == RecordAsked("engine_speed", 8, S, 0.9, need=False)
    assert (a.ask, a.times, a.grace_us, a.max_excursions, a.warn_ahead_us) == ("Gently", 3, 500_000, 2, S)
    assert (a.then_us, a.rest_us, a.needs, a.after_limit, a.confirm) == (
        5 * S,
        60 * S,
        ("b",),
        "wait",
        ("Air conditioning off",),
    )
    assert (a.before_us, a.after_us) == (5 * S, 20 * S)
    assert a.keep == (Band("road_speed", 16.09344, None, 3.218688),)
    assert a.limits == (LimitAsked("road_speed", 100, None, "drive", S, 2 * S),)
    assert a.sweep == SweepAsked("engine_speed", 4000, 2000, 100, 9 * S, 50)
    assert (a.stale_after_us, b.stale_after_us) == ({"engine_speed": S}, {"": 5 * S})
    assert recipe.recorded(a)["engine_speed"].rate_hz == 10
    assert recipe.recorded(b) is recipe.record
    assert b.keep == (Band("engine_speed", 800, 800),)
    assert a.signals() == ("engine_speed", "road_speed")


def test_one_calibration_needs_no_list():
    """A single identity is written as a text."""
    assert parse_recipe('calibration = "A1"\n' + EXAMPLE).calibration == ("A1",)


def test_a_status_is_written_in_words():
    """`fuel_system_status = "closed loop"` is a band of that one value."""
    text = hold(keep='fuel_system_status = "closed loop"').replace("[record]", '[record]\nfuel_system_status = "1 Hz"')
    assert parse_recipe(text).captures[0].keep == (Band("fuel_system_status", 2, 2),)
    assert codes(text) == []


speeds = st.integers(1, 250)


@given(speeds, speeds, st.integers(1, 600), st.sampled_from(["km/h", "mph", "m/s"]))
def test_what_is_written_is_what_is_asked(low, high, seconds, unit):
    """Any hold that is written comes back with its numbers, whichever way it is written."""
    factor = {"km/h": 1.0, "mph": 1.609344, "m/s": 3.6}[unit]
    data = {
        "format": 1,
        "title": "t",
        "record": {"road_speed": "4 Hz"},
        "capture": [
            {
                "id": "a",
                "hold": f"{seconds} s",
                "keep": {"road_speed": {"min": f"{low} {unit}", "max": f"{high} {unit}"}},
            }
        ],
    }
    (capture,) = parse_recipe(json.dumps(data)).captures
    assert capture.hold_us == seconds * S
    assert capture.keep[0].low == pytest.approx(low * factor)
    assert capture.keep[0].high == pytest.approx(high * factor)
