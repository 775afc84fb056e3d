"""It does not flicker: changes are held back."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from coach.advice.hold_back import HoldBack
from coach.advice.state import Instruction

MS = 1_000
HOLD = Instruction("hold_speed", "Hold this speed", "1:12", "clock", "left to hold")
UP = Instruction("speed_up_gently", "Speed up gently", "9", "amount", "km/h to go")
SLOW = Instruction("steer_speed_down", "Slow down", "3", "amount", "km/h too fast", ground="steer", rank="steer")
QUICK = Instruction("steer_speed_up", "Speed up", "3", "amount", "km/h too slow", ground="steer", rank="steer")
WARN = Instruction("limit_ahead", "Ease off now", ground="warn", rank="at_once")
ALARM = Instruction("limit_pedal", "Lift off the pedal", ground="alarm", rank="at_once")
LOST = Instruction("lost_car", "Lost the car", ground="lost", rank="at_once")
DONE = Instruction("secured", "Secured", "3", "count", rank="moment")


def run(*steps, running=True):
    """Feeds `(ms, wanted, steer)`; returns the lines shown."""
    held = HoldBack()
    return [held.update(wanted, steer, ms * MS, running=running).line for ms, wanted, steer in steps]


def test_steer_appears_after_0_4_s_outside():
    """A short stay outside is not worth a word."""
    lines = run((0, HOLD, None), (2000, HOLD, SLOW), (2399, HOLD, SLOW), (2400, HOLD, SLOW))
    assert lines == ["Hold this speed"] * 3 + ["Slow down"]


def test_steer_leaves_after_0_8_s_inside():
    """It does not come and go at the edge."""
    lines = run(
        (0, HOLD, SLOW), (400, HOLD, SLOW), (1000, HOLD, None), (1799, HOLD, None), (1800, HOLD, None),
    )  # fmt: skip
    assert lines == ["Hold this speed", "Slow down", "Slow down", "Slow down", "Hold this speed"]


def test_back_outside_before_0_8_s_keeps_the_correction():
    lines = run(
        (0, HOLD, SLOW),
        (400, HOLD, SLOW),
        (1000, HOLD, None),
        (1500, HOLD, SLOW),
        (2200, HOLD, None),
        (2900, HOLD, None),
    )
    assert lines[1:] == ["Slow down"] * 5


def test_flutter_at_the_edge_never_steers():
    """0.3 s out, 0.1 s in, again and again."""
    steps = [(ms, HOLD, SLOW if ms % 400 < 300 else None) for ms in range(0, 10_000, 100)]
    assert set(run(*steps)) == {"Hold this speed"}


def test_other_lines_stay_1_5_s():
    lines = run(
        (0, HOLD, None), (100, UP, None), (1499, UP, None), (1500, UP, None), (1600, HOLD, None), (3000, HOLD, None)
    )
    assert lines == ["Hold this speed"] * 3 + ["Speed up gently"] * 2 + ["Hold this speed"]


def test_warning_alarm_and_lost_come_at_once():
    lines = run((0, HOLD, None), (100, WARN, None), (200, ALARM, None), (300, LOST, None))
    assert lines == ["Hold this speed", "Ease off now", "Lift off the pedal", "Lost the car"]


def test_a_moment_is_not_cut_by_a_correction():
    """Secured stays readable even if the speed runs away."""
    lines = run((0, HOLD, None), (2000, DONE, SLOW), (3000, DONE, SLOW), (3500, HOLD, SLOW))
    assert lines == ["Hold this speed", "Secured", "Secured", "Slow down"]


def test_nothing_to_correct_when_nothing_runs():
    lines = run((0, UP, SLOW), (500, UP, SLOW), (2000, UP, SLOW), running=False)
    assert lines == ["Speed up gently"] * 3


def test_numbers_change_twice_a_second_at_most():
    """The same line, its number ten times a second."""
    held = HoldBack()
    shown = []
    for ms in range(0, 3000, 100):
        face = Instruction("steer_speed_down", "Slow down", str(ms), "amount", "km/h too fast")
        shown.append((ms, held.update(face, None, ms * MS, running=True).number))
    changes = [ms for (_, before), (ms, number) in pairwise(shown) if number != before]
    assert changes
    assert all(b - a >= 500 for a, b in pairwise(changes))


def test_correction_keeps_its_last_number_while_it_lingers():
    held = HoldBack()
    held.update(HOLD, SLOW, 0, running=True)
    held.update(HOLD, SLOW, 400 * MS, running=True)
    face = held.update(HOLD, None, 900 * MS, running=True)
    assert (face.line, face.number) == ("Slow down", "3")


@given(
    st.lists(
        st.tuples(
            st.integers(1, 900), st.sampled_from([HOLD, UP, WARN, ALARM, LOST, DONE]),
            st.sampled_from([None, SLOW, QUICK]),
            st.booleans(), st.integers(0, 99),
        ),
        max_size=60,
    )
)  # fmt: skip
def test_no_change_is_faster_than_the_hold_back(steps):
    """Except for what comes at once, a line stays 1.5 s, or 0.4 s where a correction comes or goes; numbers 0.5 s."""
    held = HoldBack()
    now = 0
    changed_at, numbered_at, before = 0, 0, None
    for wait, wanted, correction, running, number in steps:
        now += wait * MS
        face = Instruction(
            wanted.code, wanted.line, str(number) if wanted.number else "", wanted.number_kind, wanted.caption,
            ground=wanted.ground, rank=wanted.rank,
        )  # fmt: skip
        shown = held.update(face, correction, now, running=running)
        if before is None:
            changed_at = numbered_at = now
        elif shown.key != before.key:
            if shown.rank != "at_once":
                assert now - changed_at >= (400 * MS if "steer" in {shown.rank, before.rank} else 1500 * MS)
            changed_at = numbered_at = now
        elif shown.number != before.number:
            assert now - numbered_at >= 500 * MS
            numbered_at = now
        before = shown
