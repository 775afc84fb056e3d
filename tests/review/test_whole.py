"""The review, verdict first: sentences with numbers, what to send, what it rests on."""

from __future__ import annotations

import json

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.recording import Mark, Note
from coach.review.subject import given_subject, identity_part
from coach.review.weather import Weather
from coach.review.whole import head_json, length, review_json
from tests.review.driving import drive, recipe
from tests.review.made import const, hold, series, subject, sweep


def reviewed(recording, text=None):
    asked = recipe() if text is None else recipe(text)
    return review_json(given_subject(asked, recording, default_catalogue(), name="d"))


def test_everything_qualified():
    """One line, one under it, the attempt to send."""
    s = subject(hold("h", 20, 'road_speed = { min = "70 km/h" }'), {"road_speed": series(4, 60, const(80))})
    made = review_json(s)
    assert made["headline"] == "Everything qualified"
    assert made["under"] == "Nothing is left to record. Send it."
    (c,) = made["captures"]
    assert c["sentence"] == "Held 1:00, asked 20.0 s."
    assert c["send"] == {"number": 0, "sentence": "Send this one, the only attempt."}
    assert (c["outcome"], c["qualified"], c["remedy"]) == ("secured", 1, "")
    json.dumps(made, allow_nan=False)


def test_how_close_the_best_attempt_came():
    """Numbers, the bound, the time, and what to do differently."""
    made = reviewed(drive(range(120), speed=lambda t: 80.0 if t < 50 else 91.0))
    load = made["captures"][0]
    assert load["sentence"].startswith("Held 0:49 of 1:00.")
    assert "91 km/h against 88 at 0:51" in load["sentence"]
    assert load["remedy"]
    assert load["send"] is None
    assert made["headline"] == "Nothing qualified yet"
    assert made["under"].startswith("Steady part load: Held 0:49")
    assert made["captures"][1]["never"] is not None or made["captures"][1]["sentence"] == "No attempt."


def test_one_of_two():
    """And the first that is missing stands under the line."""
    made = reviewed(drive(range(120)))
    assert made["headline"] == "One of two qualified"
    assert made["under"].startswith("A pull:")
    assert [s["outcome"] for s in made["strip"]] == ["secured"]
    assert made["strip"][0]["best"]


def test_the_best_of_several_is_named():
    """Two windows of a hold: the longer one."""
    way = lambda t: np.where((t > 30) & (t < 35), 100.0, 80.0)  # noqa: E731 - shorter than a def
    s = subject(hold("h", 20, 'road_speed = { max = "90 km/h" }', "times = 3"), {"road_speed": series(4, 90, way)})
    (c,) = review_json(s)["captures"]
    assert c["send"]["number"] == 1
    assert c["send"]["sentence"] == "Send this one, the best of 2 attempts."
    assert c["sentence"].startswith("Two attempts, the best held 55.0 s")
    assert c["outcome"] == "part"


def test_a_sweep_that_was_given_up():
    """How far it came."""
    s = subject(sweep("p", "engine_speed", "2000 rpm", "4600 rpm"),
                {"engine_speed": series(10, 30, lambda t: np.interp(t, [5, 12, 13], [1500, 4000, 1500]))})  # fmt: skip
    (c,) = review_json(s)["captures"]
    assert c["sentence"].startswith("Reached 4000 of 4600 rpm.")
    whole = subject(sweep("p", "engine_speed", "2000 rpm", "4000 rpm"),
                    {"engine_speed": series(10, 30, lambda t: np.interp(t, [5, 15], [1500, 4500]))})  # fmt: skip
    assert review_json(whole)["captures"][0]["sentence"] == "Swept in 6.7 s."


def test_alarms_are_told():
    """With value, limit and time."""
    text = hold("h", 20, 'road_speed = { min = "70 km/h" }', '[capture.limit]\ncoolant_temp = { max = "108 degC" }')
    s = subject(text, {"road_speed": series(4, 60, const(80)),
                       "coolant_temp": series(1, 60, lambda t: np.where(t > 40, 112.0, 90.0))})  # fmt: skip
    (alarm,) = review_json(s)["alarms"]
    assert alarm["sentence"] == "Alarm at 0:41: Coolant 112 °C, limit 108."


def test_pieces_of_a_collection_are_summed():
    """Until the time is together; what there is, before."""
    text = hold("c", 5, 'road_speed = {{ max = "90 km/h" }}').replace(
        'hold = "5 s"', 'collect = "{n} s"\npiece = "5 s"'
    )
    way = lambda t: np.where(t % 20 > 15, 100.0, 80.0)  # noqa: E731 - shorter than a def
    done = subject(text.format(n=40), {"road_speed": series(4, 100, way)})
    c = review_json(done)["captures"][0]
    assert (c["outcome"], c["qualified"]) == ("secured", 1)
    assert c["sentence"].startswith("Collected ")
    short = review_json(subject(text.format(n=400), {"road_speed": series(4, 100, way)}))["captures"][0]
    assert (short["outcome"], short["qualified"]) == ("part", 0)
    assert "of 6:40" in short["sentence"]


FACTS = (Mark(0, "fact", None, "octane=98"), Mark(0, "fact", None, "people_aboard=2"))


def head(s):
    return {h["id"]: h for h in head_json(s)}


def bare(**more):
    return subject(hold("h", 20, 'road_speed = { min = "70 km/h" }'), {"road_speed": series(4, 60, const(80))}, **more)


def test_declared_facts_head_the_review():
    """With their units, and whether somebody confirmed them for this revision."""
    found = head(bare(marks=FACTS))
    assert found["octane"]["text"] == "98 RON"
    assert "nobody confirmed" in found["confirmed"]["why"]
    assert head(bare(marks=(*FACTS, Mark(0, "fact", None, "confirmed=1"))))["confirmed"]["text"] == "For revision 1"
    assert "nobody declared" in head(bare())["facts"]["why"]


def test_identity_heads_the_review():
    """As the car told it; what a person said was flashed; codes by name."""
    source = {"meta": {"ecus": [{"address": "00", "calibrations": ["CAL-1"], "verifications": ["1791BC82"]}],
                       "codes": {"stored": ["P0171"], "pending": ["P0300"]}},
              "flashed": {"revision": 2, "date": "2026-05-04"},
              "warnings": [{"code": "same_calibration", "text": "The number did not change."}]}  # fmt: skip
    s = bare(identity=identity_part(source))
    found = head(s)
    assert found["calibration"]["text"] == "CAL-1 (1791BC82)"
    assert found["codes"]["text"] == "P0171, P0300 (pending)"
    assert found["flashed"]["text"] == "Revision 2, 2026-05-04, as a person said"
    assert "The number did not change." in review_json(s)["notes"]
    assert head(bare(identity=identity_part({"meta": {"codes": {"stored": []}}})))["codes"]["text"] == "None stored"
    assert identity_part({}) == {}


def test_what_nobody_knows_says_so():
    """No identity, codes, weather or vehicle."""
    found = head(bare(car=None))
    for key in ("vehicle", "calibration", "codes", "facts", "weather"):
        assert found[key]["text"] == ""
        assert found[key]["why"].startswith("Cannot be said, because"), key


@pytest.mark.parametrize(("count", "text"), [(0, "None stored"), (1, "One stored"), (3, "3 stored")])
def test_stored_codes_by_their_number(count, text):
    s = subject(hold("h", 20, 'road_speed = { min = "70 km/h" }'),
                {"road_speed": series(4, 60, const(80)), "code_count": series(1, 60, const(count))})  # fmt: skip
    assert head(s)["codes"]["text"] == text


def test_weather_without_an_outside_sensor_is_the_lowest_intake_air():
    """It is at best as cool as outside, and says where it comes from; typed weather stands first."""
    s = subject(hold("h", 20, 'road_speed = { min = "70 km/h" }'), {
        "road_speed": series(4, 60, const(80)), "barometric_pressure": series(1, 60, const(98)),
        "intake_temp": series(1, 60, lambda t: 40 - t / 4),
    })  # fmt: skip
    assert (s.weather.temperature_c, s.weather.temperature_from) == (25, "intake_temp")
    s.typed = Weather(temperature_c=18.0)
    assert (s.weather.temperature_c, s.weather.temperature_from) == (18.0, "typed")


def test_notes_stand_once_and_lengths_read_well():
    s = bare()
    s.notes = (Note("a", "Once."), Note("b", "Once."))
    assert review_json(s)["notes"] == ["Once."]
    assert (length(9_840_000), length(161_000_000)) == ("9.8 s", "2:41")
