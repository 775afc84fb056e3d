"""The verdict as JSON: the shape that was promised, and what stands in it."""

from __future__ import annotations

import json
import math

import pytest

from coach.catalogue import default_catalogue
from coach.core.afterwards import judge_recording
from coach.core.events import Alarm, Attempt, Code, Outcome, Reason
from coach.core.spec import Band
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.recording import Note, from_pairs
from coach.review.never import never_part
from coach.review.verdict import alarm_json, all_qualified, best_of, signal_json, verdict_json
from coach.review.verdict_text import verdict_text
from coach.shown import IMPERIAL
from tests.advice.making import make_lines
from tests.review.driving import S, drive, judged, recipe

KEYS = {
    "": {"recipe", "drive", "rules", "alarms", "captures", "notes"},
    "recipe": {"title", "revision", "sha256"},
    "drive": {"duration_s", "samples", "signals"},
    "signal": {"count", "rate_hz", "max_gap_s"},
    "alarm": {"capture", "signal", "value", "bound", "t_s"},
    "capture": {"id", "asked", "qualified", "attempts"},
    "attempt": {"outcome", "start_s", "end_s", "duration_s", "secured_s", "reason", "excursions", "crossings"},
    "reason": {"code", "signal", "value", "bound", "t_s", "text"},
    "excursion": {"signal", "start_s", "duration_s", "peak"},
    "crossings": {"from_s", "to_s"},
}


def made(recording, **more):
    plan, verdict = judged(recording)
    return verdict_json(recipe(), recording, verdict, default_catalogue(), plan=plan, **more)


def revs(t):
    return 1500.0 if t < 100 else min(5000.0, 2000.0 + 300.0 * (t - 100))


BUSY = drive(
    speed=lambda t: 91.0 if t == 30 else 80.0 if t < 70 else 95.0,
    rpm=revs,
    coolant=lambda t: 109.0 if t == 104 else 90.0,
)


def test_has_every_key_that_was_promised():
    """The shape of the issue; more keys may stand beside."""
    result = made(BUSY)
    capture, pull = result["captures"]
    attempt = capture["attempts"][0]
    assert set(result) >= KEYS[""]
    assert set(result["recipe"]) >= KEYS["recipe"]
    assert set(result["drive"]) >= KEYS["drive"]
    assert set(result["drive"]["signals"]["road_speed"]) >= KEYS["signal"]
    assert set(result["alarms"][0]) >= KEYS["alarm"]
    assert set(capture) >= KEYS["capture"]
    assert set(attempt) >= KEYS["attempt"]
    assert set(attempt["reason"]) >= KEYS["reason"]
    assert set(attempt["excursions"][0]) >= KEYS["excursion"]
    assert pull["id"] == "pull"
    json.dumps(result, allow_nan=False)


def test_times_are_seconds_from_the_first_sample():
    result = made(BUSY)
    attempt = result["captures"][0]["attempts"][0]
    assert attempt["outcome"] == "secured"
    assert (attempt["start_s"], attempt["end_s"], attempt["duration_s"], attempt["secured_s"]) == (
        0.0,
        69.0,
        69.0,
        60.0,
    )
    assert attempt["reason"]["text"] == "Too fast: 95 km/h against 88 at 1:11."
    assert (
        attempt["reason"] | {"code": "high", "signal": "road_speed", "value": 95.0, "bound": 88.0} == attempt["reason"]
    )
    assert attempt["excursions"] == [
        {"signal": "road_speed", "start_s": 30.0, "duration_s": 1.0, "peak": 91.0, "code": "high"}
    ]
    assert attempt["crossings"] is None
    assert result["rules"] == 1
    each = {"count": 200, "rate_hz": 1.0, "max_gap_s": 1.0}
    assert result["drive"] == {
        "duration_s": 199.0, "samples": 600,
        "signals": dict.fromkeys(("road_speed", "engine_speed", "coolant_temp"), each),
    }  # fmt: skip
    assert result["recipe"]["sha256"] == recipe().sha256


def test_completed_sweep_has_crossings_and_no_reason():
    """Interpolated between two samples: 2200 rpm lies two thirds of a second after 100 s."""
    attempt = made(drive(rpm=revs))["captures"][1]["attempts"][0]
    assert attempt["outcome"] == "secured"
    assert attempt["reason"] is None
    assert attempt["remedy"] == ""
    assert attempt["crossings"]["from_s"] == pytest.approx(100 + 200 / 300, abs=1e-6)
    assert attempt["crossings"]["to_s"] == pytest.approx(108 + 200 / 300, abs=1e-6)
    assert attempt["covers"][1] >= 4600


def test_secured_attempt_closed_by_the_end_of_the_drive_has_no_reason():
    attempt = made(drive())["captures"][0]["attempts"][0]
    assert (attempt["outcome"], attempt["reason"], attempt["end_s"]) == ("secured", None, 199.0)


def test_qualified_counts_and_requirement():
    result = made(drive(rpm=revs))
    assert [(c["asked"], c["qualified"]) for c in result["captures"]] == [(1, 1), (2, 1)]
    assert not all_qualified(result)
    result["captures"][1]["qualified"] = 2
    assert all_qualified(result)


def test_alarms_stand_at_the_top():
    assert made(BUSY)["alarms"] == [
        {"capture": "pull", "signal": "coolant_temp", "value": 109.0, "bound": 108.0, "t_s": 104.0, "unseen": False}
    ]


def test_unseen_limit_has_no_value():
    """JSON knows no NaN."""
    assert alarm_json(Alarm(S, "pull", "coolant_temp", None, 108.0, unseen=True))["value"] is None
    assert alarm_json(Alarm(S, "pull", "coolant_temp", math.nan, 108.0))["value"] is None


def test_capture_that_never_began_says_which_condition_was_never_met():
    result = made(drive(speed=lambda t: 50.0, coolant=lambda t: 60.0))
    assert result["captures"][0]["attempts"] == []
    assert result["captures"][0]["never"] == (
        "It never began: road speed was never 72 to 88 km/h, coolant was never 80 °C or more."
    )
    assert result["captures"][1]["never"] == (
        "It never began: engine speed never rose past 2200 rpm with everything else as asked."
    )
    plan, verdict = judged(drive(speed=lambda t: 50.0))
    bare = verdict_json(recipe(), drive(), verdict, default_catalogue())
    assert bare["captures"][0]["never"] == "It never began: the conditions were never met at the same time."
    assert plan.captures[0].id == "part-load"


def test_capture_with_attempts_has_no_such_sentence():
    assert made(drive())["captures"][0]["never"] is None


@pytest.mark.parametrize(
    ("signal", "band", "part"),
    [
        ("gear", (5, 5), "gear was never fifth"),
        ("road_speed", (None, 0), "road speed was never standing still"),
        ("road_speed", (72, 88), "road speed was never 72 to 88 km/h"),
        ("coolant_temp", (None, 30), "coolant was never 30 °C or less"),
        ("lambda_1", (0.9, None), "lambda, sensor 1 was never 0.90 or more"),
    ],
)
def test_conditions_in_words(signal, band, part):
    lines = make_lines()
    assert never_part(lines.readouts[signal], lines.words, Band(signal, *band)) == part


def test_sentences_in_the_readers_units():
    """Values stay in the catalogue's units."""
    attempt = made(BUSY, units=IMPERIAL)["captures"][0]["attempts"][0]
    assert attempt["reason"]["value"] == 95.0
    assert attempt["reason"]["text"] == "Too fast: 59 mph against 54 at 1:11."


def test_rate_and_gap_of_a_signal():
    series = from_pairs([(0, "a", 1.0), (S, "a", 1.0), (4 * S, "a", 1.0)]).series["a"]
    assert signal_json(series) == {"count": 3, "rate_hz": 0.5, "max_gap_s": 3.0}
    single = from_pairs([(0, "a", 1.0)]).series["a"]
    assert signal_json(single) == {"count": 1, "rate_hz": 0.0, "max_gap_s": 0.0}


def test_notes_of_reader_and_judge_stand_once():
    note = Note("gap", "one gap", "road_speed", 2)
    result = made(drive(notes=(note, note)))
    assert [n for n in result["notes"] if n["code"] == "gap"] == [
        {"code": "gap", "text": "one gap", "signal": "road_speed", "count": 2}
    ]


def attempt(number, outcome, start_s, end_s, progress, secured=False):
    return Attempt(
        "x", number, outcome, start_s * S, end_s * S, end_s * S if secured else None,
        Reason(Code.HIGH, end_s * S, "road_speed", 91.0, 88.0), progress=progress,
    )  # fmt: skip


def test_best_attempt_is_secured_then_furthest_then_first():
    short = attempt(0, Outcome.MISSED, 0, 10, 0.1)
    long = attempt(1, Outcome.MISSED, 20, 80, 0.6)
    won = attempt(2, Outcome.SECURED, 90, 200, 1.0, secured=True)
    longer = attempt(3, Outcome.SECURED, 300, 500, 1.0, secured=True)
    assert best_of(()) is None
    assert best_of((short, long)) == 1
    assert best_of((short, long, won)) == 2
    assert best_of((short, long, won, longer)) == 3
    assert best_of((short, attempt(9, Outcome.MISSED, 40, 50, 0.1))) == 0


COLLECT = """\
format = 1
title = "Pieces"
[record]
road_speed = "1 Hz"
[[capture]]
id = "pieces"
collect = "{time}"
piece = "10 s"
[capture.keep]
road_speed = {{ min = "72 km/h", max = "88 km/h" }}
"""


@pytest.mark.parametrize(("time", "qualified", "at"), [("100 s", 1, 121.0), ("200 s", 0, None)])
def test_what_was_collected_is_summed(time, qualified, at):
    """Two pieces, of 49 s and of 129 s: 100 s are together 51 s after the second one began, 200 s never."""
    asked = parse_recipe(COLLECT.format(time=time))
    plan, recording = resolve(asked, default_catalogue()), drive(speed=lambda t: 60.0 if 50 <= t < 70 else 80.0)
    whole = verdict_json(asked, recording, judge_recording(plan, recording), default_catalogue(), plan=plan)
    (capture,) = whole["captures"]
    assert (capture["kind"], capture["asked"], capture["qualified"]) == ("collect", 1, qualified)
    seconds = 100.0 if time == "100 s" else 200.0
    assert capture["collected"] == {"asked_s": seconds, "total_s": 49.0 + 129.0, "pieces": 2, "t_s": at}
    assert "Collected 2:58 of" in verdict_text(whole, default_catalogue())


def test_only_what_collects_has_a_sum():
    """Null for a hold."""
    assert all(capture["collected"] is None for capture in made(BUSY)["captures"])
