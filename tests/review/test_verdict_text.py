"""The verdict for a terminal."""

from __future__ import annotations

from coach.catalogue import default_catalogue
from coach.review.verdict import verdict_json
from coach.review.verdict_text import verdict_text
from tests.review.driving import drive, judged, recipe
from tests.review.test_verdict import BUSY, revs


def text(recording, **more):
    plan, verdict = judged(recording)
    result = verdict_json(recipe(), recording, verdict, default_catalogue(), plan=plan)
    result.update(more)
    return verdict_text(result, default_catalogue())


def test_says_what_it_came_to():
    assert text(BUSY) == (
        "Part load and a pull, revision 2\n"
        "Drive of 3:19, 600 samples of 3 signals.\n"
        "Alarm at 1:44: Coolant 109 °C, limit 108.\n"
        "\n"
        "+ Steady part load (part-load): qualified 1 of 1\n"
        "    Secured: 1:09, from 0:00 to 1:09. Then it broke. Too fast: 95 km/h against 88 at 1:11.\n"
        "\n"
        "- A pull (pull): qualified 0 of 2\n"
        "    Stopped: 2.0 s, from 1:41 to 1:43. Limit passed: Coolant 109 °C, limit 108, at 1:44.\n"
        "    Next time: Tell the calibrator before you try again.\n"
        "\n"
        "1 of 2 captures qualified.\n"
        "Note: nobody recorded what people said: counts as armed throughout: A pull.\n"
    )


def test_everything_and_nothing():
    def pulls(t):
        return revs(t) if t < 120 else revs(t - 50) if t > 150 else 1500.0

    assert "Everything asked for qualified.\n" in text(drive(range(260), rpm=pulls))
    nothing = text(drive(speed=lambda t: 50.0))
    assert "None of the 2 captures qualified." in nothing
    assert "    It never began: road speed was never 72 to 88 km/h." in nothing


def test_small_attempts_are_only_counted():
    """Two seconds in the band are no news."""
    told = text(drive(speed=lambda t: 80.0 if t < 3 or 50 < t < 53 else 60.0))
    assert "2 shorter attempts are only counted." in told
    assert "Next time" not in told


def test_unseen_limit_and_lower_limit():
    alarms = [
        {"capture": "pull", "signal": "coolant_temp", "value": None, "bound": 108.0, "t_s": 5.0, "unseen": True},
        {"capture": "pull", "signal": "module_voltage", "value": 11.8, "bound": 12.0, "t_s": 6.0, "unseen": False},
    ]
    told = text(drive(), alarms=alarms)
    assert "Alarm at 0:05: Coolant could not be seen, limit 108.\n" in told
    assert "Alarm at 0:06: Voltage, module 11.8 V, limit 12.0.\n" in told


def test_notes_name_their_signal_once():
    notes = [
        {"code": "late", "text": "stamped too late", "signal": "road_speed", "count": 3},
        {"code": "held_over", "text": "road_speed rarely changes.", "signal": "road_speed", "count": 1},
        {"code": "gap", "text": "one gap", "signal": None, "count": 1},
    ]
    told = text(drive(), notes=notes)
    assert "Note: Road speed: stamped too late.\n" in told
    assert "Note: road_speed rarely changes.\n" in told
    assert "Note: one gap.\n" in told
