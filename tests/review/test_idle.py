"""Settled idle: hunting that was put in, drift, confirmed loads, what cannot be said."""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import Mark
from tests.review.made import US, const, figures, hold, series, subject

KEEP = 'road_speed = { max = "0 km/h" }\nengine_speed = { min = "600 rpm", max = "1100 rpm" }'
ASK = hold("idle", 30, KEEP, 'place = "parked"')


def drive(recipe=ASK, marks=None, rate=8.0, **more):
    rng = np.random.default_rng(6)
    signals = {
        "road_speed": series(4, 60, const(0)),
        "engine_speed": series(rate, 60, lambda t: 800 + rng.normal(0, 3, len(t)), step=0.25),
        "coolant_temp": series(1, 60, lambda t: 88 + t / 30),
        "intake_temp": series(1, 60, lambda t: 30 + t / 10, step=1),
        "mass_airflow": series(4, 60, const(3.4)),
        "timing_advance": series(8, 60, lambda t: 12 + 2 * np.sin(t)),
        "short_trim_1": series(2, 60, const(2.0)),
        "long_trim_1": series(1, 60, const(1.0)),
        "fuel_system_status": series(1, 60, const(2)),
    }
    return subject(recipe, {k: v for k, v in {**signals, **more}.items() if v is not None}, marks=marks)


def test_a_calm_idle():
    """Mean and spread of the engine speed; its strongest swing is no hunting; trims in closed loop; drift a minute."""
    found = figures(drive(), "idle")
    assert found["idle.idle_speed"].value == pytest.approx(800, abs=1)
    assert found["idle.idle_speed"].spread == pytest.approx(3, rel=0.15)
    assert found["idle.hunting_hz"].note.startswith("No hunting")
    assert found["idle_air.total_trim"].value == pytest.approx(3.02)
    assert found["idle_air.coolant_drift"].value == pytest.approx(2.0, rel=0.01)
    assert found["idle_air.intake_drift"].value == pytest.approx(6.0, rel=0.05)
    assert found["idle_air.timing_advance"].spread == pytest.approx(2 / np.sqrt(2), rel=0.05)
    assert found["idle_air.mass_airflow"].value == pytest.approx(3.4)


def test_a_hunting_idle():
    """100 rpm from peak to peak at 0.5 Hz."""
    speed = series(8, 60, lambda t: 820 + 50 * np.sin(np.pi * t))
    found = figures(drive(engine_speed=speed), "idle")
    assert found["idle.hunting_hz"].value == pytest.approx(0.5, abs=0.01)
    assert found["idle.hunting_height"].value == pytest.approx(100, rel=0.02)
    assert found["idle.hunting_hz"].note.startswith("It hunts")


def test_hunting_is_refused_below_4_hz():
    """And says how fast the samples came; mean and spread are still told."""
    found = figures(drive(rate=2.0), "idle")
    assert "came 2.0 times a second; hunting needs 4" in found["idle.hunting_hz"].why
    assert found["idle.hunting_height"].value is None
    assert found["idle.idle_speed"].value == pytest.approx(800, abs=1)


def test_a_short_idle_cannot_tell_hunting():
    """Two periods of 0.1 Hz do not fit into it."""
    found = figures(drive(hold("idle", 5, KEEP, 'place = "parked"'), engine_speed=series(8, 12, const(800))), "idle")
    assert "too short" in found["idle.hunting_hz"].why


def test_loads_that_somebody_confirmed():
    """As they were ticked, before the end of the window; nobody's word is None."""
    ask = hold("idle", 30, KEEP, 'place = "parked"\nconfirm = ["Air conditioning on", "Lights on"]')
    said = (Mark(0, "arm", "idle"), Mark(1 * US, "confirm", "idle", "Air conditioning on"),
            Mark(1 * US, "confirm", "idle", "Lights on"))  # fmt: skip
    assert figures(drive(ask, said), "idle")["idle.loads"].text == "Air conditioning on; Lights on"
    assert "nobody recorded" in figures(drive(ask), "idle")["idle.loads"].why
    assert "asks nobody" in figures(drive(), "idle")["idle.loads"].why


@pytest.mark.parametrize(
    ("missing", "figure", "because"),
    [("fuel_system_status", "idle_air.total_trim", "open loop"), ("short_trim_1", "idle_air.total_trim", "Short fuel"),
     ("coolant_temp", "idle_air.coolant_drift", "Coolant"), ("mass_airflow", "idle_air.mass_airflow", "Mass airflow")],
)  # fmt: skip
def test_what_cannot_be_said_says_why(missing, figure, because):
    found = figures(drive(**{missing: None}), "idle")[figure]
    assert found.value is None
    assert because in found.why
