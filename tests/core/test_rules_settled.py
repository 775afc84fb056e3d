"""Cases that the second judge found open or told otherwise, kept as they were settled."""

from __future__ import annotations

import math

from coach.core.spec import Facts
from tests.core.rulebook import attempts_of, band, drive, hold, limit, mark, row, run, sweep, told

A = band("a", 4, 8)


def test_a_condition_that_breaks_together_with_a_limit_counts():
    """Rule 19: `c` is beyond at 4 s and was inside at 3 s; `b` is bad at 4 s too and was last good at 1 s."""
    samples = drive(a=run(0, 4, 5), b={0: 1, 1: 1, 4: -1}, c=row(5, 5, 5, 5, 7))
    assert told(hold(9, A, band("b", 0), limits=(limit("c", 6),)), samples)[2] == "4 stopped limit c 7/6 | 0..1"


def test_a_sweep_does_not_begin_on_its_way_back():
    """Rule 27: it crossed 2000 with `a` unmet and went on to 3500; back at 2300, with `a` met, it does not begin."""
    samples = drive(n=row(1800, 3000, 3500, 3000, 2300, 2200), a=row(0, 0, 0, 0, 5, 5))
    assert told(sweep(2000, 4000, band("a", 4), late=500), samples) == []


def test_a_sweep_is_not_armed_by_a_plausible_sample_that_is_stale():
    """Rule 26: 1000 at 0 s is the last plausible sample for 6 s, since all after it are too fast; stale is 5 s."""
    samples = drive(n={0: 1000, 1: 2900, 2: 2900, 3: 2900, 4: 2900, 5.5: 2900, 6: 2900, 7: 2900})
    assert told(sweep(2000, 4000, fastest=300), samples) == []


def test_a_cut_does_not_end_the_sight_of_a_limit():
    """Rule 30: a limit is seen by the age of its last sample alone."""
    samples = drive(a=run(0, 3, 5, 0.5), n={0: 4, 0.5: 5, 1: 5, 3: 4})
    watched = limit("gear", 6)
    capture = hold(9, A, limits=(type(watched)("gear", 6, unseen_us={"n": 5_000_000}),))
    assert told(capture, samples) == ["0 began", "3 missed drive_ended | 0..3"]


def test_an_unreadable_sample_of_a_limit_is_an_instant_of_the_capture():
    """Rule 4: rest is over at 6 s; at 6.5 s `c` has a sample that cannot be read, and the attempt begins there."""
    samples = drive(a={**run(0, 3, 5), 4: 9, 5: 5, 7: 5}, c={0: 5, 5: 5, 6.5: math.nan, 7: 5})
    assert told(hold(99, A, rest=2, limits=(limit("c", 6),)), samples)[2] == "6.5 began"


def test_at_its_floor_a_sample_is_held_against_the_minimum():
    """Rule 9: at most 1 is surely below 4; the bound in the reason is the minimum and not the maximum."""
    (attempt,) = attempts_of(hold(9, A), drive(a={0: 5, 1: 1}), facts={"a": Facts(floor=1)})
    assert attempt.reason is not None
    assert attempt.reason.bound == 4


def test_a_sweep_that_falls_back_together_with_a_limit_counts():
    """Rule 19: `c` is beyond at 4 s, inside until 3 s; `n` falls back at 4 s and was last seen before at 2 s."""
    samples = drive(n={0: 1800, 2: 3000, 4: 2500}, c=row(5, 5, 5, 5, 7))
    assert told(sweep(2000, 4000, dip=100, limits=(limit("c", 6),)), samples)[2] == "4 stopped limit c 7/6 | 2..2"


def test_what_goes_outside_together_with_a_stop_counts_under_grace_too():
    """Rule 19: grace would have excused `b` at 4 s, had the attempt gone on; it was last good at 1 s."""
    samples = drive(a=run(0, 4, 5), b={0: 1, 1: 1, 4: -1}, c=row(5, 5, 5, 5, 7))
    lines = told(hold(90, A, band("b", 0), grace=1, limits=(limit("c", 6),)), samples)
    assert lines[2] == "4 stopped limit c 7/6 | 0..1"


def test_a_word_does_not_see_the_samples_of_its_stamp():
    """Rules 15 and 19: paused at 3 s; the good sample of 3 s comes after that, so `a`, outside since 2 s, counts."""
    samples = drive([mark(3, "pause")], a=row(5, 5, 9, 5, 5))
    assert told(hold(90, A, grace=2), samples)[2] == "3 missed paused | 0..1"


def test_a_word_after_the_last_sample_lets_deadlines_fall_due():
    """Rules 15 and 42: `a` was last seen at 3 s and is stale after 5 s; a word at 20 s says that nothing came since.

    At 3.5 s nothing was due yet, and the word itself ends the attempt. Without a word the drive ends it.
    """
    samples = run(0, 3, 5)
    assert told(hold(9, A), drive([mark(20, "pause")], a=samples)) == ["0 began", "8 missed stale a -/5 | 0..3"]
    assert told(hold(9, A), drive([mark(20, "role")], a=samples)) == ["0 began", "8 missed stale a -/5 | 0..3"]
    assert told(hold(9, A), drive([mark(3.5, "pause")], a=samples)) == ["0 began", "3.5 missed paused | 0..3"]
    assert told(hold(9, A), drive(a=samples)) == ["0 began", "3 missed drive_ended | 0..3"]
