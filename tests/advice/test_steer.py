"""Corrections while an attempt runs, and the nudge before it comes to that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.advice.steer import Nudge, steer
from coach.core.spec import Band, Capture
from tests.advice.making import IDLE, PART_LOAD, S, look, make_lines

GOOD = {"road_speed": 81.0, "gear": 5.0, "coolant_temp": 86.0}


def correct(capture, values, *signals, **more):
    view = look(capture, values, phase="running", outside=dict.fromkeys(signals, 0), **more)
    return steer(make_lines(), capture, view)


def test_nothing_outside_nothing_said():
    assert correct(PART_LOAD, GOOD) is None


def test_waiting_capture_is_not_corrected():
    """Before it runs the plain instruction leads the way."""
    view = look(PART_LOAD, GOOD | {"road_speed": 91.0}, outside={"road_speed": 0})
    assert steer(make_lines(), PART_LOAD, view) is None


def test_too_fast():
    face = correct(PART_LOAD, GOOD | {"road_speed": 91.0}, "road_speed")
    assert (face.line, face.number, face.caption, face.mark, face.ground) == (
        "Slow down",
        "3",
        "km/h too fast",
        "down",
        "steer",
    )
    assert face.speech == "Slow down, three."


def test_too_slow():
    face = correct(PART_LOAD, GOOD | {"road_speed": 70.0}, "road_speed")
    assert (face.line, face.number, face.caption, face.mark) == ("Speed up", "2", "km/h too slow", "up")


def test_gear_comes_before_speed():
    """The written order holds for corrections too."""
    face = correct(PART_LOAD, GOOD | {"road_speed": 70.0, "gear": 4.0}, "road_speed", "gear")
    assert (face.line, face.number, face.ground, face.rank) == ("Change up", "5", "steer", "steer")


@pytest.mark.parametrize(
    ("band", "value", "line", "mark"),
    [
        (Band("engine_speed", 1800, 2200), 2300.0, "Bring the engine speed down", "down"),
        (Band("engine_speed", 1800, 2200), 1700.0, "Bring the engine speed up", "up"),
        (Band("pedal_travel", 40, 60), 30.0, "More pedal", "up"),
        (Band("manifold_pressure", 60, 70), 80.0, "Less pedal", "down"),
        (Band("coolant_temp", 80, 100), 79.0, "It is cooling too far", "up"),
        (Band("coolant_temp", 80, 100), 101.0, "Ease off, let it cool", "down"),
        (Band("lambda_1", 0.9, 1.1), 1.2, "Too high: lambda 1", "down"),
        (Band("lambda_1", 0.9, 1.1), 0.8, "Too low: lambda 1", "up"),
    ],
)
def test_words_by_signal(band, value, line, mark):
    face = correct(Capture("x", hold_us=S, keep=(band,)), {band.signal: value}, band.signal)
    assert (face.line, face.mark, face.ground) == (line, mark, "steer")


@pytest.mark.parametrize(("value", "caption"), [(1100.0, "rpm too fast"), (600.0, "rpm too slow")])
def test_idle_is_left_alone(value, caption):
    """Nobody should touch an idling engine."""
    face = correct(IDLE, {"engine_speed": value, "road_speed": 0.0, "coolant_temp": 86.0}, "engine_speed")
    assert (face.line, face.caption) == ("Let it idle", caption)
    assert face.speech == "Let it idle. Don't touch."


def test_wander_asks_for_steadiness():
    capture = Capture("x", hold_us=S, keep=(Band("engine_speed", wander=150),))
    view = look(capture, {"engine_speed": 2000.0}, phase="running", outside={"engine_speed": 0})
    view = replace(view, conditions=tuple(replace(c, status="wander") for c in view.conditions))
    assert steer(make_lines(), capture, view).line == "Keep it steady: engine"


def test_what_cannot_be_read_is_not_steered():
    view = look(PART_LOAD, GOOD, phase="running", outside={"road_speed": 0})
    view = replace(view, conditions=tuple(replace(c, status="unreadable") for c in view.conditions))
    assert steer(make_lines(), PART_LOAD, view) is None


def nudged(speeds, capture=PART_LOAD, phase="running"):
    nudge, lines = Nudge(), make_lines()
    told = [
        nudge.look(lines, capture, look(capture, GOOD | {"road_speed": v}, i * S // 2, phase=phase, left=69.0 * S))
        for i, v in enumerate(speeds)
    ]
    return [None if f is None else f.line for f in told]


def test_a_touch_slower_near_the_upper_edge():
    """Near an edge and moving out; the number stays what is left."""
    assert nudged([83.0, 84.0, 85.0, 86.0, 87.0])[-1] == "A touch slower"
    assert nudged([77.0, 76.0, 75.0, 74.0, 73.0])[-1] == "A touch faster"


@pytest.mark.parametrize(
    "speeds", [[87.0] * 6, [88.0, 88.0, 87.0, 87.0, 86.0], [78.0, 79.0, 80.0, 81.0, 82.0], [90.0, 91.0]]
)
def test_no_nudge_without_cause(speeds):
    """Steady at the edge, coming in, in the middle, or out already."""
    assert nudged(speeds)[-1] is None


def test_no_nudge_before_the_hold_runs():
    assert nudged([83.0, 84.0, 85.0, 86.0, 87.0], phase="waiting") == [None] * 5


def test_nudge_for_other_signals_says_more_or_less():
    capture = Capture("x", hold_us=100 * S, keep=(Band("manifold_pressure", 60, 76),))
    nudge, lines = Nudge(), make_lines()
    told = [
        nudge.look(
            lines, capture, look(capture, {"manifold_pressure": 70.0 + i}, i * S // 2, phase="running", left=9.0 * S)
        )
        for i in range(6)
    ]
    assert told[-1].line == "A touch less"
    assert (told[-1].number, told[-1].caption) == ("0:09", "left to hold")


def test_nudge_forgets_another_capture():
    """Speeds of one attempt say nothing about the next capture."""
    other = replace(PART_LOAD, id="other")
    nudge, lines = Nudge(), make_lines()
    for i, v in enumerate([83.0, 84.0, 85.0]):
        nudge.look(lines, PART_LOAD, look(PART_LOAD, GOOD | {"road_speed": v}, i * S // 2, phase="running", left=1.0))
    assert nudge.look(lines, other, look(other, GOOD | {"road_speed": 87.0}, 2 * S, phase="running", left=1.0)) is None


def test_band_open_on_one_side_has_no_edge_to_nudge_from():
    capture = Capture("x", hold_us=100 * S, keep=(Band("road_speed", 72, None),))
    nudge, lines = Nudge(), make_lines()
    told = [
        nudge.look(lines, capture, look(capture, {"road_speed": 76.0 - i}, i * S // 2, phase="running", left=1.0))
        for i in range(5)
    ]
    assert told == [None] * 5
