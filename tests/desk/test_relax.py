"""How little less would do: every change that is offered was judged and qualifies, and one grain less does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.core.spec import Axis, Band, Capture, Collect, JudgePlan, Limit, Sweep
from coach.desk.relax import Relaxation, qualifies, relaxations
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.recording import US, Recording, from_pairs
from coach.shown import IMPERIAL
from tests.core.test_schedules import schedule

CATALOGUE = default_catalogue()


def drive(**columns):
    """One value a second for each signal."""
    return from_pairs([(i * US, name, float(v)) for name, row in columns.items() for i, v in enumerate(row)])


def hwfet():
    """The published highway schedule under the name that recipes use, km/h."""
    return Recording({"road_speed": schedule("HWFET", "km/h").series["speed"]})


def offered(capture: Capture, recording, **more) -> dict[str, Relaxation]:
    return {r.key: r for r in relaxations(JudgePlan((capture,)), capture, recording, CATALOGUE, **more)}


def hold(seconds: float, *keep: Band, **more) -> Capture:
    return Capture("x", hold_us=round(seconds * US), keep=keep, **more)


def test_the_longest_run_of_a_published_schedule_is_the_longest_hold_offered():
    """HWFET (40 CFR Part 600 App. I): its longest run in 50 to 60 mph spans 255 s (DuckDB, pandas, scipy)."""
    capture = hold(300, Band("road_speed", 50 * 1.609344 - 1e-9, 60 * 1.609344 + 1e-9))
    found = offered(capture, hwfet())
    assert (found["hold"].old, found["hold"].new) == (300.0, 255.0)
    assert found["hold"].text == "Met with a hold of 255 seconds; 5 minutes are asked for."


@pytest.mark.parametrize("asked_s", [20, 60, 120, 200])
def test_the_upper_bound_offered_is_the_least_that_a_search_over_all_finds(asked_s):
    """HWFET in a band from 45 mph on: numpy looks for every whole km/h, the longest run of samples inside."""
    recording = hwfet()
    t, v = recording.series["road_speed"].t_us, recording.series["road_speed"].value
    low, high = 72.0, 76.0
    capture = hold(asked_s, Band("road_speed", low, high))
    found = offered(capture, recording).get("keep.road_speed.max")

    def longest(bound):
        inside = np.flatnonzero((v >= low) & (v <= bound))
        runs = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
        return max((t[r[-1]] - t[r[0]] for r in runs if len(r)), default=0)

    wanted = next((b for b in np.arange(high, 252) if longest(b) >= asked_s * US), None)
    assert (None if found is None else found.new) == wanted


def test_a_drive_that_qualifies_needs_nothing():
    """No change is offered where none is needed."""
    assert offered(hold(5, Band("road_speed", 70, 90)), drive(road_speed=[80] * 9)) == {}


def test_where_no_single_change_is_enough_none_is_offered():
    """Two signals out of their bands for all of the time: no bound alone helps."""
    capture = hold(5, Band("road_speed", 70, 90), Band("coolant_temp", 80))
    assert offered(capture, drive(road_speed=[10] * 9, coolant_temp=[20] * 9)) == {}


def test_the_smallest_change_comes_first():
    """One km/h of a band of twenty before two seconds of nine."""
    capture = hold(9, Band("road_speed", 70, 90))
    texts = [r.text for r in relaxations(
        JudgePlan((capture,)), capture, drive(road_speed=[80] * 8 + [91] + [80] * 4), CATALOGUE)]  # fmt: skip
    assert texts[:2] == [
        "Met with road speed up to 91 km/h; 90 km/h are asked for.",
        "Met with a hold of 7 seconds; 9 seconds are asked for.",
    ]


def test_units_are_the_readers():
    """Bounds are the readings that pass: 91 km/h is 56 mph and not 57, 90 km/h is 55."""
    found = offered(hold(9, Band("road_speed", 70, 90)), drive(road_speed=[80] * 8 + [91] + [80] * 4), system=IMPERIAL)
    assert found["keep.road_speed.max"].text == "Met with road speed up to 56 mph; 55 mph are asked for."


def test_a_limit_that_stopped_it_is_offered_further_out():
    """A pass of 99 kPa with 95 allowed."""
    capture = hold(5, Band("road_speed", 70, 90), limits=(Limit("manifold_pressure", high=195),))
    row = [150, 150, 199, 150, 150, 199, 150, 150, 199]
    found = offered(capture, drive(road_speed=[80] * 9, manifold_pressure=row))
    assert found["limit.manifold_pressure.max"].new == 199.0


def test_a_sweep_that_stopped_short_is_offered_its_end():
    """It came to 4400 of 4600 rpm, and fell back by 150 with 120 allowed."""
    capture = Capture("x", sweep=Sweep("engine_speed", 2200, 4600, dip=120, within_us=20 * US))
    short = offered(capture, drive(engine_speed=[2000, 2600, 3200, 3800, 4400, 1000, 1000]))
    assert short["sweep.engine_speed.to"].new == 4400.0
    dipped = offered(capture, drive(engine_speed=[2000, 2600, 3200, 3050, 3800, 4400, 4700]))
    assert dipped["sweep.engine_speed.dip"].new == 150.0
    late = offered(replace(capture, sweep=replace(capture.sweep, within_us=3 * US)),
                   drive(engine_speed=[2000, 2600, 3200, 3300, 3800, 4400, 4700]))  # fmt: skip
    assert late["within"].new == 5.0
    cold = offered(capture, drive(engine_speed=[2500, 2600, 3200, 3800, 4400, 4700]))
    assert {key: r.new for key, r in cold.items()} == {"sweep.engine_speed.from": 2510.0}, (
        "2500 rpm is where it was first"
    )


def test_pieces_are_offered_shorter_and_less_in_all():
    """Two pieces of four seconds where ten are asked for, and cells visited for four of five seconds."""
    row = [80] * 5 + [10] + [80] * 5
    capture = hold(3, Band("road_speed", 70, 90), collect=Collect(10 * US))
    assert offered(capture, drive(road_speed=row))["collect"].new == 8.0
    cells = Collect(5 * US, (Axis("road_speed", (70, 90)),), 9 * US, ((0,),))
    found = offered(hold(3, Band("road_speed", 70, 90), collect=cells), drive(road_speed=row))
    assert found["cells.dwell"].new == 8.0
    assert found["cells.dwell"].text == "Met with 8 seconds in each cell; 9 seconds are asked for."


def test_a_signal_that_came_too_slowly_is_offered_its_rate():
    """Asked for at 2 Hz, it came once a second."""
    text = """
format = 1
title = "t"
[record]
road_speed = "2 Hz"
[[capture]]
id = "x"
hold = "20 s"
keep = { road_speed = { min = "70 km/h" } }
"""
    plan = resolve(parse_recipe(text), CATALOGUE)
    found = {r.key: r for r in relaxations(plan, plan.captures[0], drive(road_speed=[80] * 40), CATALOGUE)}
    assert found["record.road_speed"].new == pytest.approx(1.2)
    assert found["record.road_speed"].text == "Met with road speed at 1.2 Hz; 2 Hz are asked for."


def test_what_is_needed_first_is_taken_as_there():
    """A capture is tried by itself."""
    capture = hold(5, Band("road_speed", 70, 90), needs=("other",))
    assert qualifies(JudgePlan((capture,)), capture, drive(road_speed=[80] * 9))


def test_a_gear_is_not_made_wider():
    """Fourth is not nearly fifth."""
    found = offered(hold(5, Band("gear_reported", 5, 5)), drive(gear_reported=[4] * 9))
    assert found == {}


@given(
    st.lists(st.sampled_from([80.0, 85.0, 89.0, 91.0, 95.0, 60.0]), min_size=3, max_size=40),
    st.integers(2, 30),
    st.sampled_from([0, 1, 2]),
)
def test_every_change_that_is_offered_does_qualify_and_no_smaller_one(row, seconds, grace):
    """Turned by one grain less, the drive does not meet it any more."""
    capture = hold(seconds, Band("road_speed", 75, 90), grace_us=grace * US)
    recording = drive(road_speed=row)
    plan = JudgePlan((capture,))
    for r in relaxations(plan, capture, recording, CATALOGUE):
        grain = {"hold": -1.0, "grace": 0.1}.get(r.key, 1.0 if r.key.endswith("max") else -1.0)
        assert qualifies(plan, turned(capture, r.key, r.new), recording), r
        assert not qualifies(plan, turned(capture, r.key, r.new - grain), recording), r


def turned(capture: Capture, key: str, value: float) -> Capture:
    """The capture with one value set, written here a second time."""
    band = capture.keep[0]
    match key:
        case "hold":
            return replace(capture, hold_us=round(value * US))
        case "grace":
            return replace(capture, grace_us=round(value * US))
        case "keep.road_speed.max":
            return replace(capture, keep=(replace(band, high=value),))
        case "keep.road_speed.min":
            return replace(capture, keep=(replace(band, low=value),))
    raise AssertionError(key)
