"""Guidance through a recipe: warm first, what is needed first, nothing full-pedal unarmed, pieces, the dial."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.advice import DriveState
from coach.core.spec import Axis, Band, Capture, Collect
from coach.shown import IMPERIAL, METRIC
from coach.vehicle.dial import Dial
from coach.words import load_words
from tests.advice.making import IDLE, PART_LOAD, ROLL_ON, S, adviser, attempt, judge_view, look

COLD_STANDING = {"road_speed": 0.0, "gear": None, "coolant_temp": 40.0, "engine_speed": 820.0, "pedal_travel": 0.0}
WARM = {"road_speed": 81.0, "gear": 5.0, "coolant_temp": 86.0, "engine_speed": 2000.0, "pedal_travel": 20.0}
PULL = {"coolant_temp": 86.0, "gear": 3.0, "engine_speed": 3350.0, "pedal_travel": 97.0, "gauge_boost": 84.0}


def state(*views, now_s=0, on=None, captures=None):
    captures = captures or (PART_LOAD, ROLL_ON, IDLE)
    made = on or adviser(*captures)
    return made.update(judge_view(*views), [], now_s * S, drive=DriveState())


def line(made):
    return made["face"]["line"]


# --- what wastes least


def test_a_cold_engine_is_driven_warm_and_not_idled_warm():
    """At standstill and cold the idle is nearer to being met, but the road leads: idling warms slowly."""
    views = [look(c, COLD_STANDING) for c in (PART_LOAD, ROLL_ON, IDLE)]
    made = state(*views)
    assert (made["lead"]["id"], line(made)) == ("part-load", "Warm it up gently")
    assert made["face"]["caption"] == "°C to go. Drive: idling takes longer."
    assert made["lead"]["lane"]["kind"] == "warm"


def test_a_cold_idle_alone_warms_up_where_it_stands():
    """With nothing for the road there is no reason to drive."""
    made = state(look(IDLE, COLD_STANDING), captures=(IDLE,))
    assert (made["lead"]["id"], made["face"]["caption"]) == ("settled-idle", "°C to go")


def test_a_warm_idle_leads_at_standstill():
    made = state(*(look(c, COLD_STANDING | {"coolant_temp": 86.0}) for c in (PART_LOAD, ROLL_ON, IDLE)))
    assert made["lead"]["id"] == "settled-idle"


# --- gates


def test_what_is_needed_first_is_named():
    """`needs`: nothing of the capture itself is asked for before the other one is there."""
    full = replace(ROLL_ON, needs=("part-load",))
    done = look(PART_LOAD, WARM, phase="closed", gate="skipped")
    made = state(done, look(full, PULL, phase="closed", gate="needs"), captures=(PART_LOAD, full))
    assert line(made) == "Something else comes first"
    assert made["face"]["caption"] == "Full pedal in third waits for: Steady part load."
    assert made["face"]["speech"] == "Something else comes first."


@pytest.mark.parametrize("gate", ["arm", "needs", "rest", "confirm", "limit", "paused", "inside", "skipped"])
@pytest.mark.parametrize("values", [PULL, PULL | {"engine_speed": 1500.0}, PULL | {"pedal_travel": 5.0}])
def test_no_full_pedal_is_asked_for_while_a_gate_is_shut(gate, values):
    """Shown or spoken: with every condition right and the sweep about to start, the pedal is not mentioned."""
    made = state(look(ROLL_ON, values, phase="closed", gate=gate), captures=(ROLL_ON,))
    said = f"{line(made)} {made['face']['speech']}".lower()
    assert "pedal" not in said
    assert "go when" not in said


def test_what_is_to_be_confirmed_is_listed():
    """All of it at once, for one tap."""
    asked = replace(IDLE, confirm=("air conditioning off", "lights off"))
    made = state(look(asked, WARM, phase="closed", gate="confirm"), captures=(asked,))
    assert made["lead"]["confirm"] == ["air conditioning off", "lights off"]
    assert made["face"]["caption"] == "air conditioning off, lights off"
    assert line(made) == "Passenger: confirm the list"


def test_after_a_limit_nothing_more_is_asked_for():
    """`after_limit = wait`: shown and spoken."""
    made = state(look(ROLL_ON, PULL, phase="closed", gate="limit"), captures=(ROLL_ON,))
    assert (line(made), made["face"]["speech"]) == ("Nothing more for now", "Nothing more for now.")


def test_rest_counts_down_and_is_spoken():
    made = state(look(ROLL_ON, PULL, phase="closed", gate="rest", gate_us=90 * S), captures=(ROLL_ON,))
    assert (line(made), made["face"]["number"], made["face"]["speech"]) == (
        "Drive on gently", "1:30", "Drive on gently.",
    )  # fmt: skip


# --- what is spoken


def test_a_sweep_is_silent_but_for_alarms_and_its_end():
    """A wrong gear in a pull is shown and not spoken; what was said before stays the utterance in force."""
    on = adviser(ROLL_ON)
    armed = look(ROLL_ON, PULL | {"engine_speed": 2000.0}, phase="armed")
    before = state(armed, on=on)["face"]["speech_id"]
    wrong = look(ROLL_ON, PULL | {"gear": 4.0}, phase="running", left=1200.0, outside={"gear": 0})
    for second in range(2, 40):
        made = state(wrong, on=on, now_s=second)
    assert made["face"]["ground"] == "steer"
    assert made["face"]["speech_id"] == before
    ahead = look(ROLL_ON, PULL, phase="running", left=900.0, ahead=("gauge_boost",))
    assert state(ahead, on=on, now_s=41)["face"]["speech"] == "Ease off now."


def test_the_unit_comes_with_a_number_only():
    """Spoken apart, so that the page can say it once; words without a number have none."""
    made = state(look(PART_LOAD, WARM | {"road_speed": 63.0}), captures=(PART_LOAD,))
    assert (made["face"]["speech"], made["face"]["speech_unit"]) == (
        "Speed up gently, to seventy-two.", "kilometres an hour",
    )  # fmt: skip
    calm = state(look(PART_LOAD, WARM, phase="running", left=72.0 * S), captures=(PART_LOAD,))
    assert (calm["face"]["speech"], calm["face"]["speech_unit"]) == ("Good. Hold this speed.", "")


# --- pieces that are collected

CELLS = Capture(
    "cells", hold_us=10 * S, keep=(Band("gear", 5, 5), Band("coolant_temp", 80)),
    collect=Collect(120 * S, (Axis("road_speed", (60, 70, 80)),), 30 * S, ((0,), (1,))),
)  # fmt: skip


def test_collecting_shows_what_is_left_in_all_and_the_next_cell():
    """The lane runs to all that is asked for, and stands between two pieces; the next cell is named."""
    between = look(CELLS, WARM, collected_us=45 * S, dwell_us=(30 * S, 15 * S), progress=0.375)
    made = state(between, captures=(CELLS,))
    assert (line(made), made["face"]["number"]) == ("Hold it there", "1:15")
    assert made["face"]["caption"] == "left to collect. Next: speed 70 to 80."
    assert (made["lead"]["kind"], made["lead"]["lane"]["goal"], made["lead"]["lane"]["progress"]) == (
        "collect", "2:00", 0.375,
    )  # fmt: skip
    full = look(CELLS, WARM, collected_us=100 * S, dwell_us=(50 * S, 50 * S), progress=0.8)
    assert state(full, captures=(CELLS,))["face"]["caption"] == "left to collect."


# --- the dial

READS = Dial.read_at(80.0, 86.0)


def of_dial(values, units=METRIC, **more):
    on = adviser(PART_LOAD)
    on.read_as(units=units, dial=READS)
    return state(look(PART_LOAD, values, **more), on=on)


def test_the_dial_is_spoken_and_shown_as_it_reads():
    """86 on the dial at 80: 72 to 88 km/h are 78 to 94 on it, and 81 is 87."""
    made = of_dial(WARM | {"road_speed": 63.0})
    assert made["face"]["speech"] == "Speed up gently, to seventy-eight."
    lane = of_dial(WARM, phase="running", left=72.0 * S)["lead"]["lane"]
    assert (lane["name"], lane["low_text"], lane["value"], lane["high_text"]) == ("Dial", "78", "87", "94")
    assert lane["spare"] == "7 to spare"
    assert (lane["low"], lane["high"]) == (72, 88), "what is drawn is what is judged"


@pytest.mark.parametrize("units", [METRIC, IMPERIAL])
def test_a_reading_is_inside_on_the_dial_exactly_if_it_passes(units):
    """Whatever the car reports, in km/h or mph: the dial's number beside its bounds says what the judge says."""
    for kmh in range(160):
        lane = of_dial(WARM | {"road_speed": float(kmh)}, units)["lead"]["lane"]
        inside = int(lane["low_text"]) <= int(lane["value"]) <= int(lane["high_text"])
        assert inside == (72 <= kmh <= 88), (kmh, lane["value"])
        under = "under" in lane["spare"] or "over" in lane["spare"]
        assert under == (not inside)


def test_without_a_dial_bounds_are_the_readings_that_pass():
    """45 to 55 mph is 73 to 88 km/h."""
    band = replace(PART_LOAD, keep=(Band("road_speed", 72.42, 88.51), *PART_LOAD.keep[1:]))
    lane = state(look(band, WARM), captures=(band,))["lead"]["lane"]
    assert (lane["name"], lane["low_text"], lane["high_text"]) == ("Speed", "73", "88")


def test_other_units_and_words_stand_from_the_next_state_on():
    on = adviser(PART_LOAD)
    view = look(PART_LOAD, WARM, phase="running", left=72.0 * S)
    assert state(view, on=on)["lead"]["lane"]["unit"] == "km/h"
    on.read_as(units=IMPERIAL)
    lane = state(view, on=on)["lead"]["lane"]
    assert (lane["unit"], lane["low_text"], lane["high_text"]) == ("mph", "45", "54")
    on.read_as(words=load_words("en"))
    assert state(view, on=on)["lead"]["lane"]["unit"] == "mph"


def test_a_missed_sweep_says_what_to_do_differently():
    from coach.advice.moments import missed_line
    from coach.core.events import Code
    from tests.advice.making import make_lines

    made = attempt(ROLL_ON, signal="engine_speed", code=Code.DIP, value=3000.0, bound=3100.0, progress=0.5)
    assert missed_line(make_lines(), made, ROLL_ON, "It fell.").caption == "short. It fell. Keep the pedal still."
