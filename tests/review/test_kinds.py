"""Which kind a capture is, by what it asks."""

from __future__ import annotations

import pytest

from coach.core.spec import Band, Capture, Sweep
from coach.errors import BadInput
from coach.review.kinds import KINDS, kind_of
from coach.review.summary import READ, summary_json
from tests.review.made import const, hold, series, subject


def held(*bands, start=()):
    return Capture("c", hold_us=1, keep=bands, start=start)


def swept(signal, start, to):
    return Capture("c", sweep=Sweep(signal, start, to, 100))


@pytest.mark.parametrize(
    ("capture", "kind"),
    [
        (held(Band("road_speed", 70, 90)), "part_load"),
        (held(Band("gear", 3, 3)), "part_load"),
        (held(Band("calculated_load", 20, 30)), "part_load"),
        (held(Band("engine_speed", 1900, 2100)), "part_load"),
        (held(Band("road_speed", None, 0), Band("engine_speed", 600, 1000)), "idle"),
        (held(Band("road_speed", None, 0), start=(Band("run_time", None, 5),)), "start"),
        (held(Band("coolant_temp", 80)), "free"),
        (swept("engine_speed", 2200, 4600), "sweep"),
        (swept("engine_speed", 3500, 1500), "overrun"),
        (swept("engine_speed", 2000, 900), "decel_idle"),
        (swept("road_speed", 40, 0), "decel_idle"),
        (swept("pedal_travel", 15, 50), "tip_in"),
        (swept("throttle", 60, 5), "overrun"),
        (swept("coolant_temp", 90, 80), "free"),
    ],
)
def test_kind(capture, kind):
    assert kind_of(capture) == kind


def test_every_kind_has_a_summary_and_words():
    assert set(READ) == set(KINDS)


def test_a_free_capture_gets_means_and_a_kind_can_be_chosen():
    """Whatever was recorded; another kind by name; an unknown one is one sentence."""
    s = subject(hold("any", 20, 'coolant_temp = { min = "70 degC" }'),
                {"coolant_temp": series(1, 40, const(90)), "oil_temp": series(1, 40, const(95))})  # fmt: skip
    made = summary_json(s, "any", 0)
    assert made["kind"] == "free"
    assert [f["text"] for f in made["groups"][0]["figures"]] == ["90.0 °C", "95.0 °C"]
    assert summary_json(s, "any", 0, kind="idle")["kind"] == "idle"
    with pytest.raises(BadInput, match="part_load, sweep, idle"):
        summary_json(s, "any", 0, kind="nothing")
