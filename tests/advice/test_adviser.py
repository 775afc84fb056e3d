"""The adviser as a whole: the moments of a drive, the shape of the live state, and its rhythm."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.advice import DriveState, LinkState
from coach.core.events import (
    Alarm,
    AlarmOver,
    Code,
    Ended,
    LimitAhead,
    Outcome,
    Secured,
)
from coach.core.judge import Judge
from coach.core.spec import Capture, JudgePlan, Limit
from coach.shown import IMPERIAL
from tests.advice.making import IDLE, PART_LOAD, ROLL_ON, S, adviser, attempt, judge_view, look

GOOD = {
    "road_speed": 81.0,
    "gear": 5.0,
    "coolant_temp": 86.0,
    "engine_speed": 2000.0,
    "pedal_travel": 20.0,
    "gauge_boost": 0.0,
}
PULL = {"coolant_temp": 86.0, "gear": 3.0, "engine_speed": 3350.0, "pedal_travel": 97.0, "gauge_boost": 84.0}
RECORDING = DriveState()
UP, LOST = LinkState("up", 0.1), LinkState("lost", 3.0)


def face(state):
    f = state["face"]
    return f["ground"], f["mark"], f["line"], f["number"], f["caption"]


def at_once(*captures, values=GOOD, events=(), link=UP, drive=RECORDING, t_us=0, **more):
    """The state of a new adviser that looks once."""
    views = [look(c, values, t_us, **more) for c in captures]
    return adviser(*captures).update(judge_view(*views, t_us=t_us), events, 0, link, drive)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (GOOD | {"coolant_temp": 66.0}, ("calm", "none", "Warm it up gently", "14", "°C to go")),
        (GOOD | {"gear": 4.0}, ("calm", "up", "Change up", "5", "fifth gear. Now in fourth.")),
        (GOOD | {"road_speed": 63.0}, ("calm", "up", "Speed up gently", "9", "km/h to go")),
    ],
)
def test_before_a_hold(values, expected):
    assert face(at_once(PART_LOAD, values=values)) == expected


def test_holding():
    state = at_once(PART_LOAD, phase="running", left=72.0 * S, progress=0.6)
    assert face(state) == ("calm", "none", "Hold this speed", "1:12", "left to hold")
    assert state["lead"]["lane"]["progress"] == 0.6
    assert state["captures"][0]["outcome"] == "running"


def test_outside_with_grace_running():
    adv = adviser(PART_LOAD)
    view = judge_view(look(PART_LOAD, GOOD, phase="running", left=72.0 * S))
    adv.update(view, (), 0, UP)
    out = judge_view(
        look(PART_LOAD, GOOD | {"road_speed": 91.0}, phase="running", left=70.0 * S, outside={"road_speed": 0})
    )
    assert adv.update(out, (), 2 * S, UP)["face"]["ground"] == "calm"
    state = adv.update(out, (), 2 * S + 400_000, UP)
    assert face(state) == ("steer", "down", "Slow down", "3", "km/h too fast")
    assert state["lead"]["lane"]["spare"] == "3 over"


def test_missed_then_on_again_after_6_s():
    adv = adviser(PART_LOAD)
    adv.update(judge_view(look(PART_LOAD, GOOD, phase="running", left=19.0 * S)), (), 0, UP)
    made = attempt()
    after = judge_view(look(PART_LOAD, GOOD | {"road_speed": 91.0}, last=made, best=made))
    state = adv.update(after, [Ended(made.end_us, "part-load", made)], 2 * S, UP)
    assert face(state) == ("calm", "broken", "Missed, too fast", "0:19", "short. 91 km/h against 88. Settle near 80.")
    assert state["captures"][0]["outcome"] == "missed"
    assert state["lead"]["lane"]["ghost"] == pytest.approx(161 / 180, abs=1e-4)
    assert adv.update(after, (), 8 * S - 1, UP)["face"]["line"] == "Missed, too fast"
    assert adv.update(after, (), 8 * S, UP)["face"]["line"] == "Slow down gently"


def test_miss_of_a_capture_that_nobody_was_led_through_is_not_shown():
    adv = adviser(PART_LOAD, IDLE)
    both = judge_view(look(PART_LOAD, GOOD, phase="running", left=19.0 * S), look(IDLE, GOOD))
    adv.update(both, (), 0, UP)
    missed = attempt(IDLE, signal="engine_speed", value=1100.0, bound=1000.0)
    state = adv.update(both, [Ended(0, "settled-idle", missed)], 2 * S, UP)
    assert state["face"]["line"] == "Hold this speed"


def test_secured_for_4_s_with_what_is_next():
    adv = adviser(PART_LOAD, ROLL_ON, IDLE)
    rest = (look(ROLL_ON, GOOD, phase="closed", gate="arm"), look(IDLE, GOOD, phase="closed", gate="arm"))
    adv.update(judge_view(look(PART_LOAD, GOOD, phase="running", left=1.0), *rest), (), 0, UP)
    held = judge_view(look(PART_LOAD, GOOD, phase="held", secured_count=1, progress=1.0), *rest)
    state = adv.update(held, [Secured(180 * S, "part-load", 0, 0)], 2 * S, UP)
    assert face(state) == ("secured", "tick", "Secured", "2", "to go. Next, Full pedal in third: closed course only.")
    assert state["face"]["speech"] == "Secured. Two to go."
    assert state["lead"]["id"] == "part-load"
    state = adv.update(held, (), 6 * S, UP)
    assert state["lead"]["id"] == "roll-on"
    assert face(state) == (
        "calm",
        "none",
        "Head for the closed course",
        "",
        "Next: Full pedal in third. Stop there to arm it.",
    )


def test_everything_secured():
    state = at_once(PART_LOAD, phase="held", secured_count=1)
    assert face(state) == ("secured", "tick", "That is everything", "", "Drive home, or stop where it is safe.")
    assert state["captures"][0] | {"outcome": "secured", "done": 1} == state["captures"][0]
    assert state["face"]["speech"] == "Everything secured. Drive home."


def test_what_was_skipped_is_not_forgotten():
    """Nothing else is left: the page says how many wait to be taken up again, and never that it is everything."""
    state = at_once(PART_LOAD, phase="closed", gate="skipped")
    assert face(state) == ("calm", "none", "Only skipped ones are left", "1", "to go. The three dots bring them back.")
    assert state["captures"][0]["outcome"] == "skipped"


def test_sweep_armed_and_running():
    assert face(at_once(ROLL_ON, values=PULL | {"engine_speed": 2000.0}, phase="armed")) == (
        "calm", "none", "Full pedal when clear", "2", "pulls to go",
    )  # fmt: skip
    state = at_once(ROLL_ON, values=PULL, phase="running", left=1230.0, progress=0.48)
    assert face(state) == ("calm", "none", "Keep the pedal down", "1250", "rpm to go")
    assert state["lead"]["lane"]["ceiling_text"] == "limit 95"
    assert state["lead"]["kind"] == "sweep"


def test_limit_ahead_at_once():
    """From the view, or from an event that came and went between two looks."""
    expected = ("warn", "wall", "Ease off now", "", "Boost is close to its limit")
    state = at_once(ROLL_ON, values=PULL | {"gauge_boost": 91.0}, phase="running", left=900.0, ahead=("gauge_boost",))
    assert face(state) == expected
    event = LimitAhead(0, "roll-on", "gauge_boost", 91.0, 95.0)
    assert face(at_once(ROLL_ON, values=PULL, phase="running", left=900.0, events=[event])) == expected


def test_limit_passed_takes_the_whole_screen_until_it_is_closed():
    adv = adviser(ROLL_ON)
    adv.update(judge_view(look(ROLL_ON, PULL, phase="running", left=900.0)), (), 0, UP)
    stopped = attempt(ROLL_ON, Outcome.STOPPED, Code.LIMIT, signal="gauge_boost", value=99.0, bound=95.0, progress=0.6)
    beyond = judge_view(look(ROLL_ON, PULL | {"gauge_boost": 99.0}, phase="closed", gate="inside", last=stopped))
    events = [Alarm(S, "roll-on", "gauge_boost", 99.0, 95.0), Ended(S, "roll-on", stopped)]
    state = adv.update(beyond, events, 100, UP)
    assert face(state) == (
        "alarm",
        "octagon",
        "Lift off the pedal",
        "",
        "Boost 99 kPa, limit 95. This attempt is over.",
    )
    assert state["alarm"] == {
        "signal": "gauge_boost", "capture": "roll-on", "unseen": False, "inside": False,
        "line": "Lift off the pedal", "text": "Boost 99 kPa, limit 95. This attempt is over.",
    }  # fmt: skip
    assert state["captures"][0]["outcome"] == "stopped"
    inside = judge_view(look(ROLL_ON, PULL, last=stopped))
    state = adv.update(inside, [AlarmOver(2 * S, "roll-on", "gauge_boost", S, 3, 99.0)], 3 * S, UP)
    assert state["alarm"]["inside"]
    adv.seen()
    state = adv.update(inside, (), 4 * S, UP)
    assert state["alarm"] is None
    assert face(state) == ("calm", "octagon", "Stopped, limit passed", "", "Gauge boost 99 kPa, limit 95.")


def test_alarm_comes_before_a_lost_link_and_that_before_everything_else():
    unseen = Alarm(0, "roll-on", "gauge_boost", None, 95.0, unseen=True)
    assert at_once(ROLL_ON, values=PULL, events=[unseen], link=LOST)["face"]["line"] == "Lift off the pedal"
    state = at_once(PART_LOAD, values=GOOD | {"coolant_temp": 20.0}, link=LOST, drive=DriveState(phase="stopping"))
    assert state["face"]["line"] == "Lost the car"


def test_lost_car_says_when_the_hold_is_broken():
    adv = adviser(PART_LOAD)
    run = judge_view(look(PART_LOAD, GOOD, phase="running", left=60.0 * S))
    adv.update(run, (), 0, UP)
    state = adv.update(run, (), 100, LOST)
    assert face(state) == ("lost", "dashed", "Lost the car", "", "Trying again. Just drive.")
    assert state["link"] == {"state": "lost", "age_s": 3.0}
    assert [r["spare"] for r in state["lead"]["rows"]] == ["no data", "no data"]
    state = adv.update(judge_view(look(PART_LOAD, GOOD)), (), 3 * S, LOST)
    assert state["face"]["caption"] == "Trying again. The hold is broken. Just drive."
    state = adv.update(judge_view(look(PART_LOAD, GOOD)), (), 9 * S, UP)
    assert state["face"]["speech"] == "Car is back."


def test_lost_car_in_a_pull():
    adv = adviser(ROLL_ON)
    adv.update(judge_view(look(ROLL_ON, PULL, phase="running", left=60.0)), (), 0, UP)
    adv.update(judge_view(look(ROLL_ON, PULL, phase="running", left=60.0)), (), 1, LOST)
    state = adv.update(judge_view(look(ROLL_ON, PULL)), (), 3 * S, LOST)
    assert state["face"]["caption"] == "Trying again. The pull is broken. Just drive."


@pytest.mark.parametrize(
    ("drive", "expected"),
    [
        (DriveState(phase="stopping", stop_left_us=7_300_000),
         ("calm", "none", "Stopping", "8", "seconds. The hold still counts if you carry on.")),
        (DriveState(phase="paused"), ("lost", "dashed", "Paused, still recording", "", "")),
        (DriveState(phase="ended"), ("lost", "dashed", "Not recording", "", "")),
    ],
)  # fmt: skip
def test_phases_of_the_drive(drive, expected):
    state = at_once(PART_LOAD, phase="running", left=60.0 * S, drive=drive)
    assert face(state) == expected
    assert state["drive"]["phase"] == drive.phase


def test_stopping_without_a_hold():
    assert at_once(ROLL_ON, values=PULL, drive=DriveState(phase="stopping"))["face"]["caption"].startswith(
        "seconds. What runs"
    )


def test_drive_in_the_state():
    drive = DriveState("d1", t_us=3_500_000, source="simulator", speed=8.0)
    assert at_once(PART_LOAD, drive=drive, t_us=2 * S)["drive"] == {
        "id": "d1", "phase": "recording", "t_s": 3.5, "stop_left_s": None, "source": "simulator", "speed": 8.0,
    }  # fmt: skip


def test_signal_is_missing_only_after_its_time():
    """3 s, or the gap that the recipe allows it."""
    missing = {"missing": ("barometric_pressure",)}
    assert at_once(PART_LOAD, t_us=5 * S, **missing)["face"]["line"] == "Hold this speed"
    assert at_once(PART_LOAD, t_us=25 * S, **missing)["face"]["line"] == "No data: baro"
    gone = GOOD | {"coolant_temp": None}
    assert at_once(PART_LOAD, values=gone, t_us=2 * S)["face"]["line"] == "Waiting for the car"
    assert at_once(PART_LOAD, values=gone, t_us=3 * S)["face"]["line"] == "No data: coolant"


def test_a_car_that_stands_is_not_missing_its_gear():
    """Before the car has moved there is no gear to tell: the engine is warmed up first, then the car set off."""
    standing = GOOD | {"gear": None, "road_speed": 0.0}
    cold = at_once(PART_LOAD, values=standing | {"coolant_temp": 54.0}, t_us=30 * S)
    assert cold["face"]["line"] == "Warm it up gently"
    assert "No data" not in at_once(PART_LOAD, values=standing, t_us=30 * S)["face"]["line"]


def test_warm_up_lane_tells_the_minutes_once_it_can():
    adv = adviser(PART_LOAD)
    spare = []
    for second in range(60):
        view = judge_view(look(PART_LOAD, GOOD | {"coolant_temp": 41 + second * 0.1}, second * S), t_us=second * S)
        state = adv.update(view, (), second * S, UP)
        spare.append(state["lead"]["lane"]["spare"])
    assert state["face"]["code"] == "warm_up"
    assert spare[0] == ""
    assert spare[-1].startswith("about ")
    assert (state["lead"]["lane"]["low_text"], state["lead"]["lane"]["goal"]) == ("40", "80")
    assert state["lead"]["rows"] == []


def test_figures_move_twice_a_second_and_marks_with_the_stream():
    adv = adviser(PART_LOAD)
    values, heights = [], []
    for i in range(20):
        view = judge_view(look(PART_LOAD, GOOD | {"road_speed": 74.0 + i * 0.5}, phase="running", left=1.0 * S))
        made = adv.update(view, (), i * 100_000, UP)["lead"]["lane"]
        values.append(made["value"])
        heights.append(made["head"]["y"])
    assert len(set(heights)) == 20
    assert len(set(values)) <= 4


def test_rows_of_a_capture_never_move():
    """Whatever happens, the same conditions in the same places."""
    adv = adviser(PART_LOAD)
    seen = set()
    for i, values in enumerate([GOOD, GOOD | {"gear": 4.0}, GOOD | {"road_speed": 20.0}, GOOD]):
        state = adv.update(judge_view(look(PART_LOAD, values)), (), i * 10 * S, UP)
        seen.add(tuple(r["signal"] for r in state["lead"]["rows"]))
    assert seen == {("gear", "coolant_temp")}


def test_gate_in_the_list_of_captures():
    state = at_once(ROLL_ON, values=PULL, phase="closed", gate="rest", gate_us=90 * S, t_us=30 * S, secured_count=1)
    assert state["captures"][0] == {
        "id": "roll-on", "title": "Full pedal in third", "kind": "sweep", "place": "closed course", "outcome": "todo",
        "asked": 2, "done": 1, "gate": "rest", "phase": "closed", "gate_left": "1:00",
    }  # fmt: skip


def test_units_of_the_driver():
    adv = adviser(PART_LOAD, units=IMPERIAL)
    state = adv.update(judge_view(look(PART_LOAD, GOOD | {"coolant_temp": 66.0})), (), 0, UP)
    assert (state["face"]["number"], state["face"]["caption"]) == ("25", "°F to go")


def test_recipe_without_captures():
    """Nothing asked for, nothing said wrong."""
    state = adviser().update(judge_view(), (), 0)
    assert state["lead"] is None
    assert state["face"]["line"] == "Nothing left to record"


def test_capture_with_nothing_but_a_limit():
    """No condition, no lane; still something to hold."""
    capture = Capture("watch", hold_us=10 * S, limits=(Limit("coolant_temp", high=108),))
    state = at_once(capture, phase="running", left=4.0 * S)
    assert state["lead"]["lane"] is None
    assert face(state)[2:4] == ("Hold it there", "0:04")


def test_warm_up_line_lingers_when_it_is_warm():
    """The line stays 1.5 s; the lane is that of the hold by then."""
    adv = adviser(PART_LOAD)
    adv.update(judge_view(look(PART_LOAD, GOOD | {"coolant_temp": 79.0})), (), 0, UP)
    state = adv.update(judge_view(look(PART_LOAD, GOOD)), (), S, UP)
    assert state["face"]["line"] == "Warm it up gently"
    assert state["lead"]["lane"]["kind"] == "hold"


def test_cold_without_a_readable_value_has_no_warm_lane():
    cold = look(PART_LOAD, GOOD | {"coolant_temp": 60.0})
    cold = replace(
        cold, conditions=tuple(replace(c, value=None) if c.signal == "coolant_temp" else c for c in cold.conditions)
    )
    state = adviser(PART_LOAD).update(judge_view(cold), (), 0, UP)
    assert (state["face"]["line"], state["face"]["number"]) == ("Warm it up gently", "")
    assert state["lead"]["lane"]["kind"] == "hold"


WANTED = [
    GOOD, GOOD | {"road_speed": 63.0}, GOOD | {"road_speed": 91.0}, GOOD | {"gear": 4.0}, GOOD | {"gear": None},
    GOOD | {"coolant_temp": 60.0}, GOOD | {"road_speed": None}, PULL, PULL | {"gauge_boost": 99.0},
    PULL | {"gauge_boost": None},
    {"road_speed": 0.0, "gear": None, "coolant_temp": 86.0, "engine_speed": 840.0, "pedal_travel": 0.0,
     "gauge_boost": -60.0},
]  # fmt: skip
AT_ONCE = {"alarm", "warn", "lost"}


@given(
    st.lists(
        st.tuples(
            st.integers(20, 700), st.sampled_from(WANTED),
            st.sampled_from(["waiting", "running", "armed", "held", "closed"]),
            st.sampled_from([UP, UP, UP, LOST]), st.sampled_from(["recording"] * 5 + ["stopping", "paused"]),
            st.sampled_from([None, None, None, "alarm", "missed", "secured"]),
            st.sampled_from([PART_LOAD, ROLL_ON, IDLE]),
        ),
        max_size=40,
    )
)  # fmt: skip
def test_never_more_than_six_words_nor_two_numbers_nor_faster_than_the_hold_back(steps):
    """Whatever the judge shows: the state is JSON, short, and changes no faster than people can read."""
    captures = (PART_LOAD, ROLL_ON, IDLE)
    adv = adviser(*captures)
    now, before, changed, numbered = 0, None, 0, 0
    for wait, values, phase, link, drive_phase, event, about in steps:
        now += wait * 1000
        gate = "arm" if phase == "closed" else None
        views = []
        for c in captures:
            shown = phase if c is about else "waiting"
            outside = {"road_speed": now} if shown == "running" and c is PART_LOAD else None
            left = (60.0 * S if c.sweep is None else 900.0) if shown == "running" else None
            views.append(
                look(c, values, now, phase=shown, gate=gate if c is about else None, left=left, outside=outside)
            )
        events = {
            None: [], "alarm": [Alarm(now, "roll-on", "gauge_boost", 99.0, 95.0)],
            "missed": [Ended(now, about.id, attempt(about, signal="gear", code=Code.LOW, value=4.0, bound=5.0))],
            "secured": [Secured(now, about.id, 0, 0)],
        }[event]  # fmt: skip
        state = adv.update(
            judge_view(*views, t_us=now), events, now, link, DriveState(phase=drive_phase, stop_left_us=5 * S)
        )
        json.dumps(state, allow_nan=False)
        shown = state["face"]
        assert 0 < len(shown["line"].split()) <= 6
        assert not any(c.isdigit() for c in shown["line"].replace("lambda 1", ""))
        assert len(shown["number"].split()) <= 1
        assert (shown["number"] == "") == (shown["number_kind"] == "none")
        if shown["ground"] in AT_ONCE:
            assert shown["number"] == ""
        assert len(state["lead"]["rows"]) <= 3
        key, number = (shown["code"], shown["line"]), shown["number"]
        at_once = shown["ground"] in AT_ONCE or shown["code"] in ("stopping", "paused")
        if before is None:
            changed = numbered = now
        elif key != before[0]:
            if not at_once:
                assert now - changed >= 400_000
                if "steer" not in (shown["ground"], before[2]):
                    assert now - changed >= 1_500_000
            changed = numbered = now
        elif number != before[1]:
            assert now - numbered >= 500_000
            numbered = now
        before = (key, number, shown["ground"])


def test_with_the_real_judge_from_cold_to_everything():
    """A short drive, second by second: the lines come in the order in which a person needs them."""
    capture = replace(
        PART_LOAD, hold_us=20 * S, record=(), stale_us=dict.fromkeys(("road_speed", "gear", "coolant_temp"), 10 * S)
    )
    judge, adv = Judge(JudgePlan((capture,))), adviser(capture)
    lines = []
    for i in range(600):
        t = i * 100_000
        speed = float(int(40 + min(40, i / 4) + (11 if 300 < i < 307 else 0)))
        events = judge.feed(t, {"road_speed": speed, "coolant_temp": 70 + i / 12, "gear": 5.0 if i > 150 else 4.0})
        line = adv.update(judge.view(), events, t, UP)["face"]["line"]
        if not lines or lines[-1] != line:
            lines.append(line)
    assert lines == [
        "Warm it up gently", "Change up", "Hold this speed", "Slow down", "Hold this speed", "That is everything",
    ]  # fmt: skip
