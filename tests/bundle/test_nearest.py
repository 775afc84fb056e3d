"""How near a capture came: the best attempt that lacks something, in figures; nothing of one that qualified."""

from __future__ import annotations

import pytest

from coach.bundle.nearest import nearest_json
from coach.catalogue import default_catalogue
from coach.core.afterwards import judge_recording
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.recording import US, from_pairs
from coach.review.verdict import verdict_json

CATALOGUE = default_catalogue()
HOLD = """
format = 1
title = "t"
[record]
road_speed = "1 Hz"
[[capture]]
id = "x"
{what}
[capture.keep]
road_speed = {{ min = "70 km/h", max = "88 km/h" }}
"""
PULL = """
format = 1
title = "t"
[record]
engine_speed = "2 Hz"
manifold_pressure = "2 Hz"
[[capture]]
id = "x"
[capture.sweep]
engine_speed = { from = "2000 rpm", to = "4000 rpm" }
[capture.limit]
manifold_pressure = { max = "195 kPa" }
"""


def nearest(text: str, **columns):
    """What is told of the one capture of a recipe after a drive with one value a second for each signal."""
    recipe = parse_recipe(text)
    plan = resolve(recipe, CATALOGUE)
    recording = from_pairs([(i * US, n, float(v)) for n, row in columns.items() for i, v in enumerate(row)])
    verdict = verdict_json(recipe, recording, judge_recording(plan, recording), CATALOGUE, plan=plan)
    return nearest_json(verdict["captures"][0], plan, recording)


def test_of_what_qualified_there_is_nothing_to_tell():
    """Null, so that nothing is said of it."""
    assert nearest(HOLD.format(what='hold = "5 s"'), road_speed=[80] * 9) is None


def test_a_hold_tells_how_long_it_was_and_what_broke_it():
    """Seven samples in the band are six seconds of ten; 91 km/h against 88 at 7 s; the longer of two attempts."""
    found = nearest(HOLD.format(what='hold = "10 s"'), road_speed=[80] * 7 + [91] + [80] * 3 + [60])
    assert (found["outcome"], found["did"], found["of"], found["progress"]) == ("missed", 6.0, 10.0, 0.6)
    assert found["reason"] == {
        "code": "high", "signal": "road_speed", "value": 91.0, "bound": 88.0, "t_s": 7.0, "upper": True
    }  # fmt: skip
    assert (found["swept"], found["engine_speed"], found["never"]) == (None, None, [])


def test_what_never_began_tells_which_conditions_were_never_met():
    """With the band that was asked for."""
    found = nearest(HOLD.format(what='hold = "5 s"'), road_speed=[60] * 9)
    assert (found["outcome"], found["reason"]) == ("todo", None)
    assert found["never"] == [{"signal": "road_speed", "low": 70.0, "high": 88.0, "wander": None}]


def test_a_sum_of_pieces_tells_what_is_there():
    """Two pieces of four seconds of twenty."""
    what = 'collect = "20 s"\npiece = "3 s"'
    found = nearest(HOLD.format(what=what), road_speed=[80] * 5 + [10] + [80] * 5)
    assert (found["outcome"], found["did"], found["of"]) == ("part", 8.0, 20.0)


def test_a_pull_that_was_stopped_tells_the_engine_speed_then():
    """A manifold pressure of 199 kPa against 195, at 3,000 rpm."""
    found = nearest(PULL, engine_speed=[1500, 2000, 2500, 3000, 3500], manifold_pressure=[150, 150, 150, 199, 199])
    assert (found["outcome"], found["swept"], found["of"]) == ("stopped", "engine_speed", 4000.0)
    assert (found["reason"]["code"], found["reason"]["value"], found["reason"]["upper"]) == ("limit", 199.0, True)
    assert found["engine_speed"] == 3000.0
    assert found["did"] == pytest.approx(2000 + found["progress"] * 2000)


@pytest.mark.parametrize(("row", "rpm"), [([], None), ([2900], None), ([2900, 2900, 2900, 2900, 3000], 3000.0)])
def test_an_engine_speed_of_long_before_is_not_told(row, rpm):
    """At 5 s it must have been seen within two seconds; without the signal nothing is told."""
    text = HOLD.format(what='hold = "60 s"') + "[capture.limit]\nmanifold_pressure = { max = '195 kPa' }\n"
    columns = {"engine_speed": row} if row else {}
    found = nearest(text, road_speed=[80] * 7, manifold_pressure=[150] * 5 + [199] * 2, **columns)
    assert (found["outcome"], found["reason"]["code"], found["engine_speed"]) == ("stopped", "limit", rpm)
