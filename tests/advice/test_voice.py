"""When something is spoken."""

from __future__ import annotations

from coach.advice.state import Instruction
from coach.advice.voice import Voice
from coach.words import load_words
from tests.advice.making import S

HOLD = Instruction("hold_speed", "Hold this speed", "1:12", "clock", speech="Good. Hold this speed.")
NUDGE = Instruction("nudge_slower", "A touch slower", "1:10", "clock", speech="A touch slower.")
SLOW = Instruction("steer_speed_down", "Slow down", "3", "amount", speech="Slow down, three.", rank="steer")
LOST = Instruction("lost_car", "Lost the car", speech="Lost the car. Just drive.")
PULL = Instruction("pull_pedal", "Keep the pedal down", "1250", "amount")


def said(*steps):
    """Feeds `(seconds, face, seconds left)` of a hold of 180 s; returns what was spoken anew."""
    voice, heard, last = Voice(load_words()), [], 0
    for seconds, face, left in steps:
        hold = None if left is None else (left * S, 180.0 * S)
        text, number, _ = voice.update(face, seconds * S, hold=hold, attempt="a")
        if number != last:
            heard.append(text)
            last = number
    return heard


def test_each_new_line_is_spoken_once():
    assert said((0, HOLD, 180), (1, HOLD, 179), (2, HOLD, 178)) == ["Good. Hold this speed."]


def test_time_left_is_spoken_at_half_a_minute_thirty_and_ten_seconds():
    steps = [(180 - left, HOLD, left) for left in range(180, -1, -1)]
    assert said(*steps) == [
        "Good. Hold this speed.",
        "Half done.",
        "One minute left.",
        "Thirty seconds.",
        "Ten seconds.",
    ]


def test_several_marks_at_once_speak_the_nearest():
    """After a jump only the last one is true."""
    assert said((0, HOLD, 180), (100, HOLD, 29))[-1] == "Thirty seconds."
    assert len(said((0, HOLD, 180), (100, HOLD, 29))) == 2


def test_unchanged_correction_is_said_again_at_6_14_and_30_s():
    steps = [(second, SLOW, 100) for second in range(60)]
    assert said(*steps) == ["Slow down, three."] * 4


def test_hold_after_a_nudge_is_silent():
    """It was never left."""
    assert said((0, HOLD, 85), (10, NUDGE, 75), (12, HOLD, 73)) == ["Good. Hold this speed.", "A touch slower."]


def test_hold_after_a_correction_is_praised():
    heard = said((0, HOLD, 100), (10, SLOW, 90), (12, HOLD, 88))
    assert heard == ["Good. Hold this speed.", "Slow down, three.", "Good. Hold this speed."]


def test_car_is_back():
    assert said((0, HOLD, 100), (10, LOST, None), (20, HOLD, 100))[1:] == ["Lost the car. Just drive.", "Car is back."]


def test_correction_comes_before_the_time_left():
    """Both at once: what to do now is said, the mark is let go."""
    assert said((0, HOLD, 100), (10, SLOW, 89), (11, SLOW, 88)) == ["Good. Hold this speed.", "Slow down, three."]


def test_sweep_is_silent_until_its_end():
    assert said((0, PULL, None), (1, PULL, None)) == []
