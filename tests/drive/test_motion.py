"""When a dial can be read: the road speed is known and steady for some seconds."""

from __future__ import annotations

from coach.drive.motion import Motion

S = 1_000_000


def after(*speeds, every_s=0.5, now_s=None):
    """The steady speed after samples of the road speed."""
    motion = Motion()
    for n, kmh in enumerate(speeds):
        motion.feed(round(n * every_s * S), {"road_speed": kmh})
    last = (len(speeds) - 1) * every_s
    return motion.steady_kmh(round((last if now_s is None else now_s) * S))


def test_a_steady_speed_is_its_mean():
    assert after(80, 81, 80, 81, 80, 81) == 80.5


def test_a_speed_that_moves_is_none():
    """More than 2 km/h within three seconds."""
    assert after(80, 81, 82, 83, 82) is None


def test_what_was_long_ago_does_not_count():
    """It sped up more than three seconds ago."""
    assert after(40, 60, 80, 80, 80, 80, 80, 80, 80, 80) == 80


def test_too_little_is_none():
    """Two samples, a second of samples, an old speed, none at all."""
    assert after(80, 80) is None
    assert after(80, 80, 80, every_s=0.4) is None
    assert after(80, 80, 80, 80, 80, now_s=5) is None
    assert Motion().steady_kmh(0) is None
