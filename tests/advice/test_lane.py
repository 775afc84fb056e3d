"""The lane and the rows, as the page draws them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.advice.lane import ceiling_ends, lane, rows, warm_lane
from coach.core.spec import Band, Capture, Limit, Sweep
from tests.advice.making import IDLE, PART_LOAD, ROLL_ON, S, attempt, look, make_lines

GOOD = {"road_speed": 80.0, "gear": 5.0, "coolant_temp": 86.0}
PULL = {"coolant_temp": 86.0, "gear": 3.0, "engine_speed": 3400.0, "pedal_travel": 97.0, "gauge_boost": 84.0}


def hold_lane(values, **more):
    lost = more.pop("lost", False)
    return lane(make_lines(), PART_LOAD, look(PART_LOAD, values, **more), lost=lost)


def test_hold_lane_is_the_first_two_sided_band():
    made = hold_lane(GOOD, phase="running", progress=0.6, left=72.0 * S)
    assert (made["signal"], made["name"], made["value"], made["unit"], made["spare"]) == (
        "road_speed", "Speed", "80", "km/h", "8 to spare",
    )  # fmt: skip
    assert (made["low_text"], made["high_text"], made["goal"], made["status"]) == ("72", "88", "3:00", "met")
    assert made["head"] == {"x": 0.6, "y": 0.5}
    assert (made["ceiling"], made["swept"], made["ghost"]) == (None, None, None)


@pytest.mark.parametrize(
    ("speed", "y", "spare"),
    [(72.0, 0.0, "at the edge"), (88.0, 1.0, "at the edge"), (92.0, 1.25, "4 over"), (64.0, -0.5, "8 under")],
)
def test_height_is_the_place_in_the_band(speed, y, spare):
    """0 at the low bound, 1 at the high one, beyond outside."""
    made = hold_lane(GOOD | {"road_speed": speed})
    assert made["head"]["y"] == y
    assert made["spare"] == spare


def test_nothing_is_filled_before_it_runs():
    assert hold_lane(GOOD, progress=0.6)["progress"] == 0.0


def test_ghost_of_the_best_attempt_stays_until_beaten():
    missed = attempt(progress=0.9)
    assert hold_lane(GOOD, best=missed)["ghost"] == 0.9
    assert hold_lane(GOOD, phase="running", progress=0.5, best=missed)["ghost"] == 0.9
    assert hold_lane(GOOD, phase="running", progress=0.95, best=missed)["ghost"] is None
    assert hold_lane(GOOD, best=missed, secured_count=1)["ghost"] is None


def test_lost_link_leaves_no_figures():
    made = hold_lane(GOOD, lost=True)
    assert (made["status"], made["spare"]) == ("stale", "no data")


def test_no_value_no_head():
    made = hold_lane(GOOD | {"road_speed": None})
    assert (made["value"], made["head"], made["spare"]) == ("–", None, "no data")


@pytest.mark.parametrize(
    ("status", "spare"),
    [("unknown", "not known"), ("stale", "no data"), ("out_of_range", "bad data"), ("wander", "not steady"),
     ("saturated", "off its scale")],
)  # fmt: skip
def test_spare_says_what_is_the_matter(status, spare):
    view = look(PART_LOAD, GOOD)
    view = replace(view, conditions=tuple(replace(c, status=status) for c in view.conditions))
    assert lane(make_lines(), PART_LOAD, view, lost=False)["spare"] == spare


def test_sweep_lane_runs_across_under_its_ceiling():
    """The swept signal across, the first upper limit up."""
    made = lane(make_lines(), ROLL_ON, look(ROLL_ON, PULL, phase="running", progress=0.5), lost=False)
    assert (made["signal"], made["name"], made["value"], made["unit"], made["spare"]) == (
        "gauge_boost", "Boost", "84", "kPa", "11 to spare",
    )  # fmt: skip
    assert (made["ceiling"], made["ceiling_text"], made["low_text"], made["goal"]) == (
        95,
        "limit 95",
        "2200",
        "4600 rpm",
    )
    assert made["head"] == {"x": 0.5, "y": round(84 / 95, 4)}
    assert (made["swept"], made["status"]) == ("engine_speed", "met")


def test_sweep_head_waits_left_of_its_start():
    waiting = lane(make_lines(), ROLL_ON, look(ROLL_ON, PULL), lost=False)
    assert waiting["head"]["x"] == 0.0
    beyond = lane(make_lines(), ROLL_ON, look(ROLL_ON, PULL | {"gauge_boost": 99.0}, phase="running"), lost=False)
    assert (beyond["status"], beyond["spare"]) == ("high", "4 over")
    assert beyond["head"]["y"] > 1
    unseen = lane(make_lines(), ROLL_ON, look(ROLL_ON, PULL | {"gauge_boost": None}, phase="running"), lost=False)
    assert (unseen["status"], unseen["spare"], unseen["head"]) == ("unknown", "no data", None)


def test_sweep_without_ceiling_shows_the_swept_signal():
    capture = Capture("x", sweep=Sweep("engine_speed", 3500, 1500, 100), keep=(Band("pedal_travel", None, 1),))
    made = lane(
        make_lines(), capture, look(capture, {"engine_speed": 2500.0, "pedal_travel": 0.0}, phase="running"), lost=False
    )
    assert (made["signal"], made["head"], made["ceiling"]) == ("engine_speed", {"x": 0.5, "y": 0.5}, None)
    assert (made["low_text"], made["goal"]) == ("3500", "1500 rpm")


def test_ceiling_spans_from_nothing_to_the_limit():
    lines = make_lines()
    assert ceiling_ends(lines.readouts["gauge_boost"], 95.0) == (0.0, 95.0)
    assert ceiling_ends(lines.readouts["engine_speed"], 6200.0) == (0.0, 6200.0)


def test_capture_without_conditions_has_no_lane():
    capture = Capture("x", hold_us=S, limits=(Limit("coolant_temp", high=108),))
    assert lane(make_lines(), capture, look(capture, {}), lost=False) is None


def test_warm_lane_runs_to_where_it_must_be():
    condition = look(PART_LOAD, GOOD | {"coolant_temp": 66.0}).conditions[2]
    made = warm_lane(make_lines(), condition, 41.0, "about 6 min")
    assert (made["low_text"], made["goal"], made["spare"], made["value"]) == ("40", "80", "about 6 min", "66")
    assert made["head"] == {"x": 0.65, "y": 0.5}
    # Seen first when it was nearly warm: still 20 degrees wide.
    assert warm_lane(make_lines(), condition, 79.0, "")["low_text"] == "60"
    assert warm_lane(make_lines(), replace(condition, value=None), 41.0, "") is None


def all_rows(capture, values, **more):
    lost = more.pop("lost", False)
    return rows(make_lines(), capture, look(capture, values, **more), 2 * S, lost=lost)


def test_rows_are_the_other_conditions_in_order():
    made, more = all_rows(PART_LOAD, GOOD)
    assert [r["signal"] for r in made] == ["gear", "coolant_temp"]
    assert more is None
    gear, coolant = made
    assert (gear["value"], gear["asked"], gear["spare"], gear["unit"]) == ("5", "fifth", "right", "")
    assert (gear["low"], gear["high"], gear["at"]) == (0.25, 0.75, 0.5)
    assert (coolant["value"], coolant["asked"], coolant["spare"], coolant["unit"]) == (
        "86",
        "80 or more",
        "6 to spare",
        "°C",
    )
    assert coolant["age_s"] == 2.0


def test_row_of_a_sweep_in_order_of_what_is_kept_then_of_the_start():
    made, _ = all_rows(ROLL_ON, PULL)
    assert [r["signal"] for r in made] == ["pedal_travel", "gear", "coolant_temp"]


def test_two_sided_band_is_the_middle_third_of_its_row():
    capture = replace(IDLE, keep=(IDLE.keep[1], Band("road_speed", 60, 90)))
    made, _ = all_rows(capture, {"engine_speed": 800.0, "road_speed": 75.0})
    assert (made[0]["low"], made[0]["high"], made[0]["at"]) == (0.333, 0.667, 0.5)


@pytest.mark.parametrize(
    ("band", "stretch"),
    [
        (Band("road_speed", 72, None), (0.4, 1.0)),
        (Band("road_speed", None, 88), (0.0, 0.6)),
        (Band("road_speed", wander=5), (0.0, 1.0)),
    ],
)
def test_one_sided_rows(band, stretch):
    capture = Capture("x", hold_us=S, keep=(Band("engine_speed", 650, 1000), band))
    made, _ = all_rows(capture, {"engine_speed": 800.0, "road_speed": 75.0})
    assert (made[0]["low"], made[0]["high"]) == stretch
    assert 0 <= made[0]["at"] <= 1


MANY = Capture(
    "x", hold_us=S,
    keep=(Band("road_speed", 72, 88), Band("gear", 5, 5), Band("coolant_temp", 80), Band("oil_temp", 70),
          Band("intake_temp", None, 40), Band("module_voltage", 12)),
)  # fmt: skip
FINE = {
    "road_speed": 80.0,
    "gear": 5.0,
    "coolant_temp": 86.0,
    "oil_temp": 90.0,
    "intake_temp": 30.0,
    "module_voltage": 14.0,
}


def test_the_rest_is_one_line():
    made, more = all_rows(MANY, FINE)
    assert [r["signal"] for r in made] == ["gear", "coolant_temp", "oil_temp"]
    assert more == "and 2 more, right"


def test_one_of_the_rest_that_fails_takes_the_last_row():
    made, more = all_rows(MANY, FINE | {"intake_temp": 55.0})
    assert [r["signal"] for r in made] == ["gear", "coolant_temp", "intake_temp"]
    assert more == "and 2 more, right"
    _, more = all_rows(MANY, FINE | {"intake_temp": 55.0, "module_voltage": 11.0})
    assert more == "and 2 more, 1 not right"


def test_start_conditions_have_had_their_say_once_it_runs():
    capture = replace(MANY, keep=MANY.keep[:4], start=(Band("intake_temp", None, 40),))
    made, _ = all_rows(capture, FINE | {"intake_temp": 55.0}, phase="running")
    assert [r["signal"] for r in made] == ["gear", "coolant_temp", "oil_temp"]


def test_rows_without_values():
    made, _ = all_rows(PART_LOAD, GOOD | {"coolant_temp": None})
    assert (made[1]["value"], made[1]["spare"], made[1]["at"], made[1]["age_s"], made[1]["unit"]) == (
        "–",
        "no data",
        None,
        None,
        "",
    )
    made, _ = all_rows(PART_LOAD, GOOD, lost=True)
    assert [(r["value"], r["spare"], r["status"]) for r in made] == [("–", "no data", "stale")] * 2


@pytest.mark.parametrize(
    ("band", "value", "y"),
    [
        # Open on one side: the lane spans a quarter of the plausible range, here 100 km/h.
        (Band("road_speed", 72, None), 97.0, 0.25),
        (Band("road_speed", None, 88), 63.0, 0.75),
        (Band("road_speed", wander=5), 100.0, 0.25),
    ],
)
def test_lane_of_a_band_that_is_open(band, value, y):
    capture = Capture("x", hold_us=S, keep=(band,))
    made = lane(make_lines(), capture, look(capture, {"road_speed": value}), lost=False)
    assert made["head"]["y"] == y


def test_sweep_whose_signal_has_not_come():
    made = lane(make_lines(), ROLL_ON, look(ROLL_ON, PULL | {"engine_speed": None}), lost=False)
    assert made["head"]["x"] == 0.0
    bare = replace(look(ROLL_ON, PULL), conditions=())
    assert lane(make_lines(), ROLL_ON, bare, lost=False) is None
