"""Which conditions no sample of a drive met, and the one sentence why a capture never began."""

from __future__ import annotations

from dataclasses import replace

from coach.catalogue import default_catalogue
from coach.recording import Mark, from_pairs
from coach.review.never import never_met
from coach.review.verdict import verdict_json
from tests.review.driving import TEXT, S, drive, judged, recipe


def signals(recording, asked=None):
    plan, _ = judged(recording, asked)
    return [b.signal for b in never_met(plan, plan.captures[0], recording)]


def test_bands_without_a_sample_inside():
    assert signals(drive()) == []
    assert signals(drive(speed=lambda t: 89.0)) == ["road_speed"]
    assert signals(drive(speed=lambda t: 71.0, coolant=lambda t: 79.9)) == ["road_speed", "coolant_temp"]


def test_one_good_sample_is_enough_and_an_unreadable_one_is_none():
    assert signals(drive(speed=lambda t: 80.0 if t == 7 else 10.0)) == []
    assert signals(drive(speed=lambda t: float("nan"))) == ["road_speed"]


def test_signal_that_was_never_recorded():
    assert signals(from_pairs([(t * S, "road_speed", 80.0) for t in range(10)])) == ["coolant_temp"]


def test_derived_signal_is_derived():
    """Gauge boost from manifold and barometric pressure."""
    asked = recipe(TEXT.replace('coolant_temp = { min = "80 degC" }', 'gauge_boost = { min = "50 kPa" }', 1))

    def boosted(kpa):
        rows = [
            (t * S, n, v)
            for t in range(10)
            for n, v in (("road_speed", 80.0), ("manifold_pressure", kpa), ("barometric_pressure", 100.0))
        ]
        return from_pairs(rows)

    assert signals(boosted(160.0), asked) == []
    assert signals(boosted(120.0), asked) == ["gauge_boost"]
    assert signals(from_pairs([(0, "road_speed", 80.0)]), asked) == ["gauge_boost"]


# --- the sentence


def never(recording, asked=None, number=0, marks=None):
    """The sentence of the capture with this number, people's words being known where `marks` are given."""
    if marks is not None:
        recording = replace(recording, marks=tuple(marks))
    asked = asked or recipe()
    plan, verdict = judged(recording, asked)
    told = verdict_json(asked, recording, verdict, default_catalogue(), plan=plan)
    return told["captures"][number]["never"]


def test_what_was_not_recorded_is_not_said_to_have_been_wrong():
    """Neither a temperature that the table lacks, nor a gear that cannot be told without ratios."""
    bare = from_pairs([(t * S, "road_speed", 80.0) for t in range(10)])
    assert never(bare) == "It never began: coolant was not recorded."
    geared = recipe(TEXT.replace('coolant_temp = { min = "80 degC" }', "gear = 5", 1))
    assert never(drive(), geared) == "It never began: gear cannot be told."
    assert never(drive(speed=lambda t: 60.0)) == "It never began: road speed was never 72 to 88 km/h."


def test_a_sweep_that_was_never_begun_says_so():
    """The swept signal stayed on the near side; nothing else was wrong."""
    text = "It never began: engine speed never rose past 2200 rpm with everything else as asked."
    assert never(drive(), number=1) == text
    falling = recipe(TEXT.replace('from = "2200 rpm", to = "4600 rpm"', 'from = "4600 rpm", to = "2200 rpm"'))
    text = "It never began: engine speed never fell past 4600 rpm with everything else as asked."
    assert never(drive(), falling, 1) == text


def test_a_limit_that_nobody_saw_is_named():
    without = from_pairs([(t * S, "engine_speed", 1000.0 + 100 * t) for t in range(60)])
    assert never(without, number=1) == "It never began: coolant has a limit and was not recorded."


def test_what_people_did_not_do_is_named_and_not_the_conditions():
    """A pull of 40 s within its bounds, on a closed course that nobody armed."""
    pull = drive(range(40), rpm=lambda t: 1500.0 + 110 * t)
    assert never(pull, number=1, marks=[]) == "It never began: it was never armed."
    assert never(pull, number=1, marks=[Mark(0, "arm", "pull")]) is None
    skipped = [Mark(0, "arm", "pull"), Mark(S, "skip", "pull")]
    assert never(pull, number=1, marks=skipped) == "It never began: it was skipped."
    back = [*skipped, Mark(2 * S, "unskip", "pull")]
    assert never(pull, number=1, marks=back) is None


def test_what_had_to_come_first_and_what_nobody_confirmed():
    first = recipe(TEXT.replace("times = 2", 'needs = ["part-load"]\nconfirm = ["Traction control off"]'))
    pull = drive(range(40), rpm=lambda t: 1500.0 + 110 * t)
    armed = [Mark(0, "arm", "pull")]
    assert never(pull, first, 1, armed) == "It never began: Steady part load had to be secured first."
    both = drive(range(120), rpm=lambda t: 1500.0 + max(0, 110 * (t - 80)))
    assert never(both, first, 1, armed) == "It never began: nobody confirmed Traction control off."
