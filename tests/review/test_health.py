"""Data health: each fault that was put in is found, named and given its meaning; a sound drive is sound."""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import Note, Recording, Series
from coach.review.health import alone, health_json, longest_stay
from tests.review.made import US, const, series, subject

ASK = (
    'format = 1\ntitle = "Made"\n[record]\nengine_speed = "8 Hz"\nroad_speed = "4 Hz"\n'
    '[[capture]]\nid = "h"\nhold = "20 s"\n[capture.keep]\nroad_speed = { min = "10 km/h" }\n'
)


def way(t):
    return 60 + 15 * np.sin(0.21 * t) + 6 * np.sin(0.83 * t)


def drive(**more):
    signals = {
        "engine_speed": series(8, 120, lambda t: 25 * way(t), step=0.25),
        "road_speed": series(4, 120, lambda t: way(t - 0.3), step=1),
        "coolant_temp": series(1, 120, lambda t: 80 + t / 30, step=1),
        "barometric_pressure": series(1, 120, const(99)),
    }
    return subject(ASK, {k: v for k, v in {**signals, **more}.items() if v is not None})


def told(s, name):
    found = next(x for x in health_json(s)["signals"] if x["signal"] == name)
    return found, {f["code"] for f in found["findings"]}


def test_a_sound_drive():
    """Nothing to mind; steps of an encoding and a level temperature are neither spikes nor stuck."""
    made = health_json(drive())
    assert made["sentence"] == "All 4 signals are sound."
    assert {s["state"] for s in made["signals"]} == {"ok"}
    assert made["order"]["text"] == "Time only runs forward."


def test_too_slow():
    found, codes = told(drive(engine_speed=series(3, 120, lambda t: 25 * way(t))), "engine_speed")
    assert (found["state"], "slow" in codes) == ("bad", True)
    assert "3.0 a second where 8 were asked" in found["findings"][0]["text"]


def test_gaps():
    x = series(4, 120, way, step=1)
    keep = (x.t_us < 40 * US) | (x.t_us > 46 * US)
    found, codes = told(drive(road_speed=Series(x.t_us[keep], x.value[keep])), "road_speed")
    assert "gaps" in codes
    assert found["gaps"] == 1
    assert found["max_gap_s"] == pytest.approx(6.5)
    assert found["max_gap_at_s"] == pytest.approx(39.75)


def test_stuck_while_others_move():
    """A speed that stands still for 30 s while the engine turns faster and slower."""
    stuck = series(4, 120, lambda t: way(np.where((t > 50) & (t < 80), 50, t)), step=1)
    found, codes = told(drive(road_speed=stuck), "road_speed")
    assert "stuck" in codes
    assert found["stuck_s"] == pytest.approx(30, abs=1.5)
    assert found["stuck_at_s"] == pytest.approx(50, abs=1.5)
    level = drive(engine_speed=series(8, 120, const(1500)), road_speed=series(4, 120, const(60)))
    assert "stuck" not in told(level, "road_speed")[1]


def test_spikes():
    """Two lone ones are counted where they stand; few of them trouble nobody."""
    x = series(8, 120, lambda t: 25 * way(t), step=0.25)
    x.value[[200, 500]] += 3000
    found, codes = told(drive(engine_speed=x), "engine_speed")
    assert "spikes" in codes
    assert {25.0, 62.5} <= set(found["spike_at_s"])
    assert found["spikes"] <= 4
    assert found["state"] == "ok"


def test_a_signal_that_truly_moves_is_no_spike():
    """Three and more outliers in a row are a movement."""
    assert alone(np.array([0, 1, 0, 1, 1, 0, 1, 1, 1, 0, 1], dtype=bool)).nonzero()[0].tolist() == [1, 3, 4, 10]
    assert alone(np.zeros(0, dtype=bool)).tolist() == []


def test_saturated_unreadable_and_implausible():
    pressure = series(4, 120, lambda t: np.minimum(255, 200 + way(t)))
    assert "saturated" in told(drive(manifold_pressure=pressure), "manifold_pressure")[1]
    x = series(1, 120, const(85))
    x.value[3] = np.nan
    x.value[5] = 500
    found, codes = told(drive(coolant_temp=x), "coolant_temp")
    assert {"unreadable", "out_of_range", "saturated"} <= codes
    assert (found["unreadable"], found["out_of_range"]) == (1, 1)
    assert found["state"] == "mind"


def test_values_carried_along():
    """Rows at 10 Hz that show a new value once a second."""
    x = series(10, 120, lambda t: 25 * way(np.floor(t)))
    found, codes = told(drive(engine_speed=x), "engine_speed")
    assert "carried" in codes
    assert "10.0 times a second, new values 1.0" in next(f["text"] for f in found["findings"] if f["code"] == "carried")


def test_the_delay_of_road_speed():
    """0.3 s, and what it is good for; a pair of one's own; a pair that says nothing."""
    made = health_json(drive())
    (delay,) = made["delays"]
    assert delay["delay_s"] == pytest.approx(0.3, abs=0.08)
    assert "speed_delay" in delay["means"]
    own = health_json(drive(), "road_speed", "engine_speed")["delays"][0]
    assert own["delay_s"] == pytest.approx(-0.3, abs=0.08)
    assert "leads" in own["text"]
    nothing = health_json(drive(), "coolant_temp", "barometric_pressure")["delays"][0]
    assert nothing["why"].startswith("Cannot be said")


def test_the_order_of_time_is_told_as_the_reader_noticed_it():
    s = drive()
    s.notes = (Note("backward_time", "3 rows were out of order"),)
    assert health_json(s)["order"]["text"] == "3 rows were out of order"
    assert "not judged" in health_json(s)["order"]["means"]


def test_an_unknown_signal_and_single_samples_do_not_hurt():
    """A signal that the catalogue does not know, one sample, none."""
    s = drive(own_thing=series(2, 120, way), oil_temp=series(1, 0, const(90)))
    names = {x["signal"]: x for x in health_json(s)["signals"]}
    assert names["own_thing"]["name"] == "Own thing"
    assert names["oil_temp"]["rate_hz"] is None
    assert longest_stay(Series(np.array([1]), np.array([1.0]))) is None
    assert isinstance(s.recording, Recording)
