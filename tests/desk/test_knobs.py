"""What of a capture can be turned: every key that asks for something, by steps worth writing."""

from __future__ import annotations

from coach.catalogue import default_catalogue
from coach.core.spec import Asked, Axis, Band, Capture, Collect, Limit, Sweep
from coach.desk.knobs import Knobs, grain_of
from coach.plan.sentences import Say
from coach.recording import US
from coach.shown import METRIC
from coach.words import load_words

CATALOGUE = default_catalogue()


def knobs(capture: Capture):
    return {k.key: k for k in Knobs(capture, CATALOGUE, Say(CATALOGUE, METRIC, load_words())).all()}


def test_every_key_that_asks_for_something_can_be_turned():
    """Bounds, wander, limits, times, a sweep's ends and dip, a cell's dwell, a rate; a gear cannot."""
    hold = Capture(
        "x", hold_us=9 * US, start=(Band("coolant_temp", 80.0),), record=(Asked("pedal", 4.0, 2 * US),),
        keep=(Band("road_speed", 70.0, 90.0, 5.0), Band("gear", 3, 3)), limits=(Limit("gauge_boost", high=95.0),),
        collect=Collect(60 * US, (Axis("engine_speed", (1000.0, 2000.0)),), 5 * US, ((0,),)),
    )  # fmt: skip
    assert set(knobs(hold)) == {
        "start.coolant_temp.min", "keep.road_speed.min", "keep.road_speed.max", "keep.road_speed.wander",
        "limit.gauge_boost.max", "piece", "collect", "cells.dwell", "grace", "record.pedal",
    }  # fmt: skip
    sweep = Capture("x", sweep=Sweep("engine_speed", 2200, 4600, dip=120, within_us=20 * US))
    assert set(knobs(sweep)) == {
        "grace", "sweep.engine_speed.to", "sweep.engine_speed.from", "sweep.engine_speed.dip", "within"
    }  # fmt: skip


def test_a_turn_asks_for_less_and_changes_nothing_else():
    """A lower bound goes down, an upper one up, a hold gets shorter; back by no step it is the capture as it was."""
    capture = Capture("x", hold_us=9 * US, keep=(Band("road_speed", 70.0, 90.0),))
    made = knobs(capture)
    low, high, hold = (made[k] for k in ("keep.road_speed.min", "keep.road_speed.max", "hold"))
    assert (low.value(1), high.value(1), hold.value(1)) == (69.0, 91.0, 8.0)
    assert high.turn(91.0) == Capture("x", hold_us=9 * US, keep=(Band("road_speed", 70.0, 91.0),))
    assert hold.turn(8.0) == Capture("x", hold_us=8 * US, keep=(Band("road_speed", 70.0, 90.0),))
    assert all(k.turn(k.old) == capture for k in made.values())


def test_a_turn_ends_where_the_signal_does():
    """Speed does not go below 0 km/h, and a hold stays a second."""
    made = knobs(Capture("x", hold_us=9 * US, keep=(Band("road_speed", 70.0, 90.0),)))
    assert made["keep.road_speed.min"].value(made["keep.road_speed.min"].steps) == CATALOGUE["road_speed"].low
    assert made["hold"].value(made["hold"].steps) == 1.0


def test_grains_are_what_a_person_would_write():
    """Whole km/h and kPa, tens of rpm, hundredths of lambda."""
    names = ("road_speed", "manifold_pressure", "engine_speed", "lambda_1", "coolant_temp")
    assert [grain_of(CATALOGUE[n]) for n in names if n in CATALOGUE] == [
        GRAINS for n, GRAINS in zip(names, (1.0, 1.0, 10.0, 0.01, 1.0), strict=True) if n in CATALOGUE
    ]
