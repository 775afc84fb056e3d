"""The car's motion: not a measured car, but one that moves as cars do."""

from __future__ import annotations

import pytest

from coach.sources.simulator.car import DT, Car, Controls, Motion, between


def moved(motion, seconds, **controls):
    """The states of some seconds with the same controls, copied."""
    states = []
    for _ in range(round(seconds / DT)):
        s = motion.step(Controls(**controls))
        states.append((s.kmh, s.rpm, s.boost_kpa, s.map_kpa, s.coolant_c, s.gear))
    return states


def test_idles():
    """In neutral it stands, turns at its idle speed and warms slowly."""
    motion = Motion(Car(coolant_c=85.0))
    states = moved(motion, 30)
    assert all(kmh == 0 and 780 < rpm < 830 for kmh, rpm, *_ in states)
    assert 85.0 < states[-1][4] < 87.0


def test_cold_engine_idles_faster():
    """A cold engine idles faster than a warm one."""
    cold, warm = (moved(Motion(Car(coolant_c=c)), 10)[-1][1] for c in (0.0, 90.0))
    assert cold > warm + 200


def test_pulls_away_and_locks():
    """From rest the clutch slips until the wheels catch up; from then on engine and wheels turn together."""
    motion = Motion(Car())
    states = moved(motion, 4, pedal=0.4, gear=1)
    slipping = [s for s in states if s[5] == 0]
    assert 0.2 < len(slipping) * DT < 2.5
    assert states[-1][5] == 1
    assert states[-1][1] == pytest.approx(118.0 * states[-1][0])


def test_boost_lags_the_pedal():
    """At full pedal the boost takes most of a second to come, then stays; it goes quickly when the foot lifts."""
    motion = Motion(Car())
    motion.now.kmh, motion.now.rpm, motion.now.gear = 60.0, 60.0 * 41.5, 3
    moved(motion, 1, pedal=0.15, gear=3)
    pull = [s[2] for s in moved(motion, 5, pedal=1.0, gear=3)]
    assert pull[20] < 40
    assert 70 < pull[-1] < 85
    assert moved(motion, 1, gear=3)[-1][2] < 3


def test_coolant_settles():
    """Under steady load coolant settles near the thermostat and does not run away."""
    motion = Motion(Car(coolant_c=80.0))
    motion.now.kmh, motion.now.rpm, motion.now.gear = 80.0, 80.0 * 24.9, 5
    settled = moved(motion, 400, pedal=0.2, gear=5)[-1][4]
    assert 85 < settled < 93


def test_brakes_to_rest():
    """Braked, it comes to a real standstill."""
    motion = Motion(Car())
    motion.now.kmh = 50.0
    assert moved(motion, 20, brake=0.3, clutch=True)[-1][0] == 0.0


def test_rev_limiter():
    """Floored in first gear the engine stays near its limit."""
    motion = Motion(Car())
    assert max(rpm for _, rpm, *_ in moved(motion, 20, pedal=1.0, gear=1)) < Car().limit_rpm + 150


@pytest.mark.parametrize(("x", "y"), [(0, 1), (1, 1), (1.5, 2), (2, 3), (9, 3)])
def test_between(x, y):
    """Between two points linearly, level beyond the ends."""
    assert between(((1, 1), (2, 3)), x) == y
