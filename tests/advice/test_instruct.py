"""The plain instruction for one capture: the written order, and the words for each situation."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.advice.instruct import hold_code, instruct, lead_band
from coach.advice.situation import Situation
from coach.core.spec import Band, Capture, Collect, Sweep
from coach.core.view import ConditionView
from coach.shown import IMPERIAL
from tests.advice.making import IDLE, PART_LOAD, PLACES, ROLL_ON, TITLES, S, look, make_lines

GOOD = {"road_speed": 81.0, "gear": 5.0, "coolant_temp": 86.0}
PULL = {"coolant_temp": 86.0, "gear": 3.0, "engine_speed": 2000.0, "pedal_travel": 0.0, "gauge_boost": 0.0}


def told(capture, values, *, lines=None, missing=(), standing=None, place=None, **more):
    view = look(capture, values, **more)
    title = TITLES.get(capture.id, capture.id)
    now = Situation(capture, title, place or PLACES.get(capture.id, "road"), view, 0, missing, standing)
    return instruct(lines or make_lines(), now)


def brief(face):
    return face.line, face.number, face.caption, face.mark


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        # Everything wrong at once, then one thing after the other put right: the written order.
        ({"road_speed": 63.0, "gear": 4.0, "coolant_temp": 66.0}, ("Warm it up gently", "14", "°C to go", "none")),
        (
            {"road_speed": 63.0, "gear": 4.0, "coolant_temp": 80.0},
            ("Change up", "5", "fifth gear. Now in fourth.", "up"),
        ),
        ({"road_speed": 63.0, "gear": 5.0, "coolant_temp": 80.0}, ("Speed up gently", "9", "km/h to go", "up")),
        ({"road_speed": 95.0, "gear": 5.0, "coolant_temp": 80.0}, ("Slow down gently", "7", "km/h to go", "down")),
        (
            {"road_speed": 95.0, "gear": 6.0, "coolant_temp": 80.0},
            ("Change down", "5", "fifth gear. Now in sixth.", "down"),
        ),
        (GOOD, ("Hold this speed", "3:00", "left to hold", "none")),
    ],
)
def test_written_order_for_a_hold(values, expected):
    """Not warm, wrong gear, road speed, hold on."""
    face = told(PART_LOAD, values)
    assert brief(face) == expected
    assert face.ground == "calm"


def test_speech_of_the_approach_names_the_goal():
    """Spoken numbers are whole words."""
    assert told(PART_LOAD, GOOD | {"road_speed": 63.0}).speech == "Speed up gently, to seventy-two."
    assert told(PART_LOAD, GOOD | {"gear": 4.0}).speech == "Change up to fifth."


def test_speaks_miles_an_hour_to_who_reads_miles_an_hour():
    """Amounts, units and speech follow the driver's choice."""
    face = told(PART_LOAD, GOOD | {"road_speed": 63.0}, lines=make_lines(IMPERIAL))
    assert (face.number, face.caption) == ("6", "mph to go")
    assert face.speech == "Speed up gently, to forty-five."


def test_unknown_gear_names_the_gear_asked_for():
    """At standstill or with the clutch open nobody knows the gear."""
    face = told(PART_LOAD, GOOD | {"gear": None})
    assert (face.line, face.number, face.number_kind, face.caption) == (
        "Take the gear asked for",
        "5",
        "gear",
        "fifth gear",
    )


def test_running_hold_says_what_is_left():
    """The number counts to zero."""
    face = told(PART_LOAD, GOOD, phase="running", left=72.0 * S)
    assert (face.line, face.number, face.number_kind) == ("Hold this speed", "1:12", "clock")


def test_held_capture_that_needs_another_attempt_says_so():
    """A window that goes on has to break before the next attempt."""
    face = told(replace(PART_LOAD, times=3), GOOD, phase="held", secured_count=1)
    assert (face.line, face.number, face.caption) == ("Let it go, then again", "2", "more to go")


@pytest.mark.parametrize(
    ("values", "line", "number"),
    [
        (PULL | {"coolant_temp": 60.0}, "Warm it up gently", "20"),
        (PULL | {"gear": 2.0}, "Change up", "3"),
        (PULL | {"engine_speed": 2730.0}, "Let the engine slow down", "550"),
        (PULL, "Full pedal when clear", "2"),
        (PULL | {"pedal_travel": 97.0}, "Full pedal when clear", "2"),
    ],
)
def test_written_order_before_a_sweep(values, line, number):
    """The pedal comes last, because pressing it starts the pull."""
    face = told(ROLL_ON, values)
    assert (face.line, face.number) == (line, number)


def test_last_pull_is_one_pull():
    face = told(ROLL_ON, PULL, secured_count=1)
    assert (face.number, face.caption) == ("1", "pull to go")


def test_running_sweep_counts_engine_speed_down():
    face = told(ROLL_ON, PULL | {"pedal_travel": 97.0, "engine_speed": 3350.0}, phase="running", left=1250.0)
    assert brief(face) == ("Keep the pedal down", "1250", "rpm to go", "none")
    assert face.speech == ""


def test_a_piece_that_counts_already_is_held_on_to():
    """Of a capture that collects: the longer the piece the better, until everything is there."""
    capture = replace(PART_LOAD, collect=Collect(600 * S))
    face = told(capture, GOOD, phase="held", secured_count=0, collected_us=200 * S, left=400.0 * S)
    assert (face.line, face.number) == ("Hold this speed", "6:40")


def test_sweep_that_has_arrived_and_must_be_held():
    """`then`: nothing is left of the sweep itself."""
    capture = replace(ROLL_ON, sweep=Sweep("engine_speed", 2200, 4600, 120, then_us=2 * S))
    assert told(capture, PULL, phase="running", left=0.0).line == "Hold it there"


@pytest.mark.parametrize(
    ("sweep", "keep", "values", "waiting", "running"),
    [
        # Overrun: falling engine speed with the pedal released.
        (Sweep("engine_speed", 3500, 1500, 100), (Band("pedal_travel", None, 1),),
         {"engine_speed": 3700.0, "pedal_travel": 20.0}, "Lift off when clear", "Stay off the pedal"),
        # A tip-in sweeps the pedal itself.
        (Sweep("pedal_travel", 15, 50, 2), (), {"pedal_travel": 10.0}, "Press the pedal when clear", "Keep going"),
        (Sweep("pedal_travel", 50, 15, 2), (), {"pedal_travel": 60.0}, "Lift off when clear", "Keep going"),
        (Sweep("engine_speed", 1500, 3500, 100), (Band("pedal_travel", 45, 55),),
         {"engine_speed": 1200.0, "pedal_travel": 5.0}, "Press the pedal when clear", "Keep the pedal down"),
        (Sweep("road_speed", 50, 90, 3), (), {"road_speed": 40.0}, "Go when it is clear", "Keep going"),
    ],
)  # fmt: skip
def test_other_sweeps(sweep, keep, values, waiting, running):
    """Overrun, tip-in, half pedal, a sweep of the road speed."""
    capture = Capture("sweep", sweep=sweep, keep=keep)
    assert told(capture, values).line == waiting
    assert told(capture, values, phase="running", left=10.0).line == running


@pytest.mark.parametrize(
    ("sweep", "value", "line"),
    [
        (Sweep("engine_speed", 3500, 1500, 100), 3000.0, "Bring the engine speed up"),
        (Sweep("pedal_travel", 15, 50, 2), 40.0, "Back to the start value"),
    ],
)
def test_back_to_the_near_side_first(sweep, value, line):
    """A sweep begins by crossing its start."""
    assert told(Capture("sweep", sweep=sweep), {sweep.signal: value}).line == line


@pytest.mark.parametrize(
    ("values", "line"),
    [
        ({"road_speed": 40.0, "engine_speed": 1500.0, "coolant_temp": 86.0}, "Stop where it is safe"),
        ({"road_speed": 40.0, "engine_speed": 1500.0, "coolant_temp": 60.0}, "Warm it up gently"),
        ({"road_speed": 0.0, "engine_speed": 1500.0, "coolant_temp": 86.0}, "Let the idle settle"),
        ({"road_speed": 40.0, "engine_speed": 840.0, "coolant_temp": 86.0}, "Stop where it is safe"),
        ({"road_speed": 0.0, "engine_speed": 0.0, "coolant_temp": 86.0}, "Start the engine"),
        ({"road_speed": 0.0, "engine_speed": 840.0, "coolant_temp": 86.0}, "Let it idle"),
    ],
)
def test_idle(values, line):
    """Engine speed before road speed, as written, but for a car that moves: it stops first. Then hands off."""
    assert told(IDLE, values).line == line


@pytest.mark.parametrize(
    ("band", "value", "line", "mark"),
    [
        (Band("calculated_load", 20, 40), 55.0, "A little less pedal", "down"),
        (Band("manifold_pressure", 60, 70), 50.0, "A little more pedal", "up"),
        (Band("pedal_travel", None, 1), 20.0, "Foot off the pedal", "down"),
        (Band("pedal_travel", 20, 30), 10.0, "A little more pedal", "up"),
        (Band("engine_speed", 1800, 2200), 2400.0, "Bring the engine speed down", "down"),
        (Band("engine_speed", 1800, 2200), 1400.0, "Bring the engine speed up", "up"),
        (Band("lambda_1", 0.9, 1.05), 1.2, "Too high: lambda 1", "down"),
        (Band("module_voltage", 13, None), 12.0, "Too low: voltage", "up"),
        (Band("intake_temp", None, 40), 55.0, "Let it cool down", "none"),
        (Band("run_time", 600, None), 200.0, "Wait for: running", "none"),
        (Band("code_count", 0, 0), 2.0, "Wait for: codes", "none"),
    ],
)
def test_words_for_every_kind_of_condition(band, value, line, mark):
    capture = Capture("x", hold_us=10 * S, keep=(band,))
    face = told(capture, {band.signal: value})
    assert (face.line, face.mark) == (line, mark)
    assert face.ground == "calm"


def test_time_to_wait_is_counted():
    """A condition on time itself counts down."""
    capture = Capture("x", hold_us=10 * S, keep=(Band("run_time", 600, None),))
    face = told(capture, {"run_time": 200.0})
    assert (face.number, face.caption) == ("400", "s to go")


@pytest.mark.parametrize(
    ("gate", "standing", "capture", "line"),
    [
        ("arm", None, ROLL_ON, "Head for the closed course"),
        ("arm", False, ROLL_ON, "Head for the closed course"),
        ("arm", True, ROLL_ON, "Arm it when ready"),
        ("arm", False, IDLE, "Park in the open air"),
        ("arm", True, IDLE, "Arm it when ready"),
        ("limit", None, ROLL_ON, "Nothing more for now"),
        ("paused", None, ROLL_ON, "Paused, still recording"),
        ("needs", None, PART_LOAD, "Something else comes first"),
    ],
)
def test_gates(gate, standing, capture, line):
    """What to do when no attempt may begin."""
    face = told(capture, GOOD | PULL, phase="closed", gate=gate, standing=standing)
    assert face.line == line


def test_never_full_pedal_while_not_armed():
    """Without arming no full-pedal instruction is shown or spoken."""
    for standing in (None, True, False):
        face = told(ROLL_ON, PULL, phase="closed", gate="arm", standing=standing)
        assert "pedal" not in f"{face.line} {face.caption} {face.speech}".replace("Full pedal in third", "").lower()


def test_rest_counts_down():
    face = told(ROLL_ON, PULL, phase="closed", gate="rest", gate_us=95 * S)
    assert (face.line, face.number, face.number_kind) == ("Drive on gently", "1:35", "clock")


def test_confirm_names_the_item():
    capture = replace(IDLE, confirm=("Air conditioning off",))
    face = told(capture, GOOD, phase="closed", gate="confirm")
    assert (face.line, face.caption) == ("Passenger: confirm the list", "Air conditioning off")


def test_passed_limit_has_to_come_back():
    face = told(ROLL_ON, PULL | {"gauge_boost": 99.0}, phase="closed", gate="inside")
    assert (face.line, face.caption) == ("Let the engine settle", "Boost has to come back first.")


def test_signal_that_never_came():
    face = told(PART_LOAD, GOOD, missing=("barometric_pressure",))
    assert (face.line, face.caption) == ("No data: baro", "It is asked for and has never come.")


def test_signal_that_fell_silent_comes_before_everything_else():
    """Data first: nobody can steer what is not seen."""
    view = look(PART_LOAD, GOOD | {"gear": 4.0})
    silent = tuple(replace(c, status="stale") if c.signal == "coolant_temp" else c for c in view.conditions)
    now = Situation(PART_LOAD, "t", "road", replace(view, conditions=silent), 0)
    assert instruct(make_lines(), now).line == "No data: coolant"
    mad = tuple(replace(c, status="out_of_range") if c.signal == "coolant_temp" else c for c in view.conditions)
    now = Situation(PART_LOAD, "t", "road", replace(view, conditions=mad), 0)
    assert instruct(make_lines(), now).line == "Bad data: coolant"


def test_waits_for_first_values():
    """In the first moments of a drive nothing is missing yet."""
    assert told(PART_LOAD, GOOD | {"coolant_temp": None}).line == "Waiting for the car"


def test_saturated_value_is_too_high_where_there_is_an_upper_bound():
    capture = Capture("x", hold_us=S, keep=(Band("manifold_pressure", 60, 70),))
    view = look(capture, {"manifold_pressure": 255.0})
    full = tuple(replace(c, status="saturated") for c in view.conditions)
    now = Situation(capture, "t", "road", replace(view, conditions=full), 0)
    assert instruct(make_lines(), now).line == "A little less pedal"


@pytest.mark.parametrize(
    ("keep", "signal", "code"),
    [
        (PART_LOAD.keep, "road_speed", "hold_speed"),
        (IDLE.keep, "engine_speed", "hold_idle"),
        (
            (Band("gear", 5, 5), Band("coolant_temp", 80), Band("engine_speed", None, 3000)),
            "engine_speed",
            "hold_engine",
        ),
        ((Band("coolant_temp", 80),), "coolant_temp", "hold_it"),
        ((Band("calculated_load", 20, 40), Band("road_speed", 70, 80)), "calculated_load", "hold_it"),
        ((Band("gear", 5, 5),), "gear", "hold_it"),
    ],
)
def test_lead_band_is_the_first_two_sided_one(keep, signal, code):
    """A gear is not a band that can be steered in; temperatures come last."""
    capture = Capture("x", hold_us=S, keep=keep)
    band = lead_band(make_lines(), capture)
    assert band is not None
    assert band.signal == signal
    assert hold_code(make_lines(), capture) == code


def test_condition_without_number():
    """A value that cannot be read gives no number."""
    lines = make_lines()
    unread = ConditionView("keep", "road_speed", 72, 88, None, None, None, "low")
    assert lines.amount("speed_up_gently", unread, mark="up").number_kind == "none"


def test_other_conditions_come_before_a_pull():
    """What the pedal does not change is put right first; a road speed too."""
    capture = replace(ROLL_ON, keep=(*ROLL_ON.keep, Band("road_speed", 30, 120), Band("code_count", 0, 0)))
    assert told(capture, PULL | {"road_speed": 20.0, "code_count": 0.0}).line == "Speed up gently"
    assert told(capture, PULL | {"road_speed": 40.0, "code_count": 2.0}).line == "Wait for: codes"


def test_amount_on_the_bound_has_no_number():
    """A condition that is met has nothing to go."""
    met = ConditionView("keep", "road_speed", 72, 88, None, 80.0, 0, "met")
    assert make_lines().amount("speed_up_gently", met, mark="up").number == ""
