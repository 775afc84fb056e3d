"""Which capture leads, and that it keeps the lead."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.advice.choose import Chooser
from tests.advice.making import IDLE, PART_LOAD, ROLL_ON, S, judge_view, look

CRUISE = {
    "road_speed": 81.0,
    "gear": 5.0,
    "coolant_temp": 86.0,
    "engine_speed": 2000.0,
    "pedal_travel": 20.0,
    "gauge_boost": 0.0,
}
ALL = (PART_LOAD, ROLL_ON, IDLE)


def views(values, **more):
    """All three captures; `more` gives fields by capture id with underscores."""
    return judge_view(*(look(c, values, **more.get(c.id.replace("-", "_"), {})) for c in ALL))


def lead(chooser, view, now_us=0):
    chosen = chooser.choose(view, now_us)
    return None if chosen is None else chosen.id


def test_nearest_to_being_met_leads():
    """In fifth at 81 km/h only the part load is met; standing at idle only the idle."""
    assert lead(Chooser(ALL), views(CRUISE)) == "part-load"
    standing = {"road_speed": 0.0, "gear": None, "coolant_temp": 86.0, "engine_speed": 800.0, "pedal_travel": 0.0}
    assert lead(Chooser(ALL), views(standing)) == "settled-idle"


def test_order_of_the_recipe_breaks_ties():
    values = {"road_speed": None, "gear": None, "coolant_temp": None, "engine_speed": None, "pedal_travel": None}
    assert lead(Chooser(ALL), views(values)) == "part-load"
    assert lead(Chooser(ALL[::-1]), judge_view(*(look(c, values) for c in ALL[::-1]))) == "settled-idle"


def test_running_capture_leads_at_once_when_nothing_led():
    view = views(CRUISE | {"gear": 4.0}, roll_on={"phase": "running", "progress": 0.2})
    assert lead(Chooser(ALL), view) == "roll-on"


def test_furthest_of_several_running_leads():
    view = views(
        CRUISE, part_load={"phase": "running", "progress": 0.2}, settled_idle={"phase": "running", "progress": 0.6}
    )
    assert lead(Chooser(ALL), view) == "settled-idle"


def test_running_lead_stays_although_another_overtakes():
    """It does not flip between two that run side by side."""
    chooser = Chooser(ALL)
    assert lead(chooser, views(CRUISE, part_load={"phase": "running", "progress": 0.5})) == "part-load"
    both = views(
        CRUISE, part_load={"phase": "running", "progress": 0.5}, settled_idle={"phase": "running", "progress": 0.9}
    )
    assert lead(chooser, both, 60 * S) == "part-load"


def test_hold_takes_the_lead_after_1_5_s_and_a_sweep_at_once():
    """A speed passes through many bands; a pull that runs is meant."""
    chooser = Chooser(ALL)
    assert lead(chooser, views(CRUISE)) == "part-load"
    idle = views(CRUISE, settled_idle={"phase": "running", "progress": 0.1})
    assert lead(chooser, idle, 1 * S) == "part-load"
    assert lead(chooser, idle, 2 * S) == "part-load"
    assert lead(chooser, idle, 2 * S + S // 2) == "settled-idle"
    chooser = Chooser(ALL)
    lead(chooser, views(CRUISE))
    assert lead(chooser, views(CRUISE, roll_on={"phase": "running"}), 1) == "roll-on"


def test_lead_passes_to_a_nearer_capture_only_in_time():
    """Two conditions nearer: 3 s. One: 8 s."""
    idling = {"road_speed": 0.0, "gear": None, "coolant_temp": 86.0, "engine_speed": 800.0, "pedal_travel": 0.0}
    chooser = Chooser((PART_LOAD, IDLE))
    both = judge_view(look(PART_LOAD, CRUISE), look(IDLE, CRUISE))
    stopped = judge_view(look(PART_LOAD, idling), look(IDLE, idling))
    assert lead(chooser, both) == "part-load"
    assert lead(chooser, stopped, S) == "part-load"
    assert lead(chooser, stopped, 4 * S - 1) == "part-load"
    assert lead(chooser, stopped, 4 * S) == "settled-idle"
    chooser = Chooser((PART_LOAD, IDLE))
    assert lead(chooser, both) == "part-load"
    near = judge_view(look(PART_LOAD, CRUISE | {"road_speed": 60.0}), look(IDLE, idling))
    assert lead(chooser, near, S) == "part-load"
    assert lead(chooser, near, 9 * S - 1) == "part-load"
    assert lead(chooser, near, 9 * S) == "settled-idle"


def test_passing_through_another_band_does_not_take_the_lead():
    chooser = Chooser((PART_LOAD, IDLE))
    away = CRUISE | {"road_speed": 0.0, "gear": None, "engine_speed": 800.0}
    for now in range(0, 60 * S, S):
        values = away if now % (4 * S) == S else CRUISE
        assert lead(chooser, judge_view(look(PART_LOAD, values), look(IDLE, values)), now) == "part-load"


def test_sweep_past_its_start_is_one_condition_further():
    """Above 2200 rpm the engine has to slow down first."""
    near = Chooser((ROLL_ON,))._distance(look(ROLL_ON, CRUISE | {"engine_speed": 2000.0}))
    past = Chooser((ROLL_ON,))._distance(look(ROLL_ON, CRUISE | {"engine_speed": 3000.0}))
    assert past == near + 1


def test_idle_is_far_while_the_car_moves():
    """It would meet one condition more, but nobody stops for its sake."""
    rolling = {"road_speed": 40.0, "gear": 3.0, "coolant_temp": 86.0, "engine_speed": 900.0, "pedal_travel": 0.0}
    assert lead(Chooser((IDLE, PART_LOAD)), judge_view(look(IDLE, rolling), look(PART_LOAD, rolling))) == "part-load"


def test_gates_are_respected():
    """A capture that may not begin does not lead while another may."""
    shut = {"phase": "closed", "gate": "arm"}
    assert (
        lead(Chooser(ALL), views(CRUISE | {"road_speed": 0.0, "gear": 1.0}, settled_idle=shut, roll_on=shut))
        == "part-load"
    )


@pytest.mark.parametrize(
    ("gates", "leads"),
    [
        (("needs", "arm", "rest"), "settled-idle"),
        (("limit", "arm", "arm"), "roll-on"),
        (("limit", "paused", "needs"), "roll-on"),
    ],
)
def test_where_all_are_shut_the_gate_people_can_do_something_about_comes_first(gates, leads):
    fields = {c.id.replace("-", "_"): {"phase": "closed", "gate": g} for c, g in zip(ALL, gates, strict=True)}
    assert lead(Chooser(ALL), views(CRUISE, **fields)) == leads


def test_done_and_skipped_captures_never_lead():
    done = {"secured_count": 1, "phase": "held"}
    skipped = {"phase": "closed", "gate": "skipped"}
    assert lead(Chooser(ALL), views(CRUISE, part_load=done, settled_idle=skipped)) == "roll-on"
    nothing = views(CRUISE, part_load=done, settled_idle=skipped, roll_on=skipped)
    chooser = Chooser(ALL)
    assert lead(chooser, nothing) is None
    assert chooser.lead is None
    assert chooser.open_captures(nothing) == []


def test_lead_that_is_shut_gives_way_at_once():
    chooser = Chooser(ALL)
    assert lead(chooser, views(CRUISE)) == "part-load"
    assert lead(chooser, views(CRUISE, part_load={"phase": "closed", "gate": "needs"}), 1) != "part-load"


@pytest.mark.parametrize("gate", ["rest", "inside"])
def test_lead_that_only_waits_a_while_stays(gate):
    """Between two pulls nobody is sent to another task."""
    chooser = Chooser(ALL)
    assert lead(chooser, views(CRUISE | {"gear": 3.0, "road_speed": 60.0}, part_load={"gate": "needs"})) == "roll-on"
    waiting = views(CRUISE | {"gear": 3.0, "road_speed": 60.0}, roll_on={"phase": "closed", "gate": gate})
    assert lead(chooser, waiting, S) == "roll-on"


def test_capture_asked_for_twice_stays_open_after_once():
    chooser = Chooser((replace(PART_LOAD, times=2),))
    view = judge_view(look(PART_LOAD, CRUISE, secured_count=1, phase="held"))
    assert lead(chooser, view) == "part-load"
