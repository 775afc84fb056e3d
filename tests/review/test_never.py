"""Which conditions no sample of a drive met."""

from __future__ import annotations

from coach.recording import from_pairs
from coach.review.never import never_met
from tests.review.driving import TEXT, S, drive, judged, recipe


def signals(recording, asked=None):
    plan, _ = judged(recording, asked)
    return [b.signal for b in never_met(plan, plan.captures[0], recording)]


def test_bands_without_a_sample_inside():
    assert signals(drive()) == []
    assert signals(drive(speed=lambda t: 89.0)) == ["road_speed"]
    assert signals(drive(speed=lambda t: 71.0, coolant=lambda t: 79.9)) == ["road_speed", "coolant_temp"]


def test_one_good_sample_is_enough_and_an_unreadable_one_is_none():
    assert signals(drive(speed=lambda t: 80.0 if t == 7 else 10.0)) == []
    assert signals(drive(speed=lambda t: float("nan"))) == ["road_speed"]


def test_signal_that_was_never_recorded():
    assert signals(from_pairs([(t * S, "road_speed", 80.0) for t in range(10)])) == ["coolant_temp"]


def test_derived_signal_is_derived():
    """Gauge boost from manifold and barometric pressure."""
    asked = recipe(TEXT.replace('coolant_temp = { min = "80 degC" }', 'gauge_boost = { min = "50 kPa" }', 1))

    def boosted(kpa):
        rows = [
            (t * S, n, v)
            for t in range(10)
            for n, v in (("road_speed", 80.0), ("manifold_pressure", kpa), ("barometric_pressure", 100.0))
        ]
        return from_pairs(rows)

    assert signals(boosted(160.0), asked) == []
    assert signals(boosted(120.0), asked) == ["gauge_boost"]
    assert signals(from_pairs([(0, "road_speed", 80.0)]), asked) == ["gauge_boost"]
