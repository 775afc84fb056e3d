"""Instants a microsecond apart: what becomes so at one of them is so there, and not at a later one."""

from __future__ import annotations

import math

from tests.core.rulebook import asked, band, collect, drive, hold, limit, mark, row, run, sweep, told

IN = band("a", 4, 8)
TWO = (IN, band("b", 4, 8))


def test_a_hold_is_secured_at_the_very_next_instant():
    """Rules 1 and 17: at 2 s `b` is still that of 1.5 s; its sample a microsecond later secures."""
    samples = drive(a={0: 5, 2: 5}, b={0: 5, 1.5: 5, 2.000001: 5, 2.5: 5})
    assert "2.000001 secured" in told(hold(2, *TWO), samples)


def test_pieces_have_their_time_at_the_very_next_instant():
    """Rules 1 and 45: at 3 s `b` vouches only for 2.5 s."""
    samples = drive(a={0: 5, 1: 5, 3: 5}, b={0: 5, 1: 5, 2.5: 5, 3.000001: 5, 3.5: 5})
    assert "3.000001 collected 3" in told(collect(3, 1, *TWO), samples)


def test_pieces_of_several_attempts_have_their_time_at_the_very_next_instant():
    """Rules 1 and 45: two seconds and one are three; at 6 s `b` vouches only for 5.5 s."""
    b = {0: 5, 1: 5, 2: 5, 3: 5, 5: 5, 5.5: 5, 6.000001: 5, 7: 5}
    lines = told(collect(3, 0.5, *TWO), drive(a={0: 5, 1: 5, 2: 5, 3: 9, 5: 5, 6: 5}, b=b))
    assert [x for x in lines if "6" in x] == ["6 secured", "6.000001 collected 3"]


def test_a_sweep_arrives_at_the_very_next_instant():
    """Rules 1 and 29: there a microsecond after it began; with `then`, held a microsecond after two seconds more."""
    n = {0: 1800, 1: 2500, 1.000001: 4000, 3: 4000, 3.000002: 4000, 4: 4000}
    assert told(sweep(2000, 4000), drive(n=n))[1] == "1.000001 secured"
    a = {0: 5, 1: 5, 3: 5, 3.000002: 5, 4: 5}
    assert told(sweep(2000, 4000, IN, then=2), drive(n=n, a=a))[1] == "3.000002 secured"


def test_a_condition_wanders_off_at_the_very_next_instant():
    """Rules 1 and 10: still in its band."""
    samples = drive(a={0: 5, 1: 5, 1.000001: 7})
    assert told(hold(9, band("a", 4, 8, 1)), samples)[1] == "1.000001 missed wander a 7/1 | 0..1"


def test_a_limit_is_looked_at_from_the_very_instant_at_which_after_is_over():
    """Rules 31 and 33: beyond all along; the sample exactly one second after the start stops it."""
    capture = hold(9, IN, limits=(limit("b", 95, after=1),))
    lines = told(capture, drive(a=run(0, 3, 5), b={0: 99, 0.999999: 99, 1: 98, 2: 99}))
    assert lines == ["0 began", "1 alarm b 98", "1 stopped limit b 98/95 | 0..0"]


def test_what_was_near_a_limit_when_the_attempt_began_is_said_at_its_next_sample():
    """Rules 31 and 36: nobody watches before; then it is said a microsecond after the start."""
    b = {0: 88, 0.2: 90, 0.4: 92, 0.6: 94, 0.8: 96, 0.800001: 96.00001}
    capture = hold(9, IN, limits=(limit("b", 100),))
    assert told(capture, drive(a={0: 9, 0.8: 5, 1: 5}, b=b))[:2] == ["0.8 began", "0.800001 ahead b"]


def test_after_an_attempt_that_was_too_thin_the_next_begins_at_the_very_next_instant():
    """Rules 13 and 38: everything is met all along, but none begins at the instant at which one ended."""
    capture = hold(10, IN, record=(asked("c", 1),))
    samples = drive(a={**run(0, 10, 5), 10.000001: 5, 11: 5}, c=run(0, 11, 1, 2))
    assert told(capture, samples)[1:3] == ["10 sparse rate c 0.5/0.8 | 0..10", "10.000001 began"]


def test_after_a_deadline_the_next_begins_at_the_next_instant():
    """Rules 13 and 29: ended as slow at 3 s; it is past `from` by then, and begins again only after the near side."""
    n = {0: 1800, 1: 2500, 2: 2600, 3: 2650, 3.5: 1900, 3.500001: 2100, 4: 4000}
    lines = told(sweep(2000, 4000, within=2, dip=1000), drive(n=n))
    assert [x for x in lines if "began" in x] == ["1 began", "3.500001 began"]


def test_an_attempt_may_begin_a_microsecond_after_one_was_broken():
    """Rules 1 and 13: bad for one sample only; with a second condition too."""
    a = {0: 5, 1: 9, 1.000001: 5, 2: 5}
    assert told(hold(9, IN), drive(a=a))[2:3] == ["1.000001 began"]
    assert told(hold(9, *TWO), drive(a=a, b=run(0, 2, 5)))[2:3] == ["1.000001 began"]


def test_what_is_met_for_the_last_time_still_counts():
    """Rules 6 and 13: `a` holds up to 5 s, and exactly then `b` is met for the first time."""
    lines = told(hold(9, *TWO), drive(a={0: 5}, b={0: 9, 5: 5, 6: 5}))
    assert lines == ["5 began", "5 missed stale a -/5 | 5..5"]


def test_a_word_opens_a_gate_for_the_samples_of_its_own_stamp():
    """Rule 15: armed at 2 s, begun at 2 s; resting until 5 s, begun at 5 s."""
    capture = hold(2, IN, arming=True)
    assert told(capture, drive([mark(2, "arm")], a=run(0, 5, 5)))[0] == "2 began"
    resting = hold(2, IN, rest=2)
    assert "5 began" in told(resting, drive(a=row(5, 5, 5, 9, 5, 5, 5)))


def test_an_excursion_of_the_swept_signal_may_go_on_past_its_end():
    """Rule 28: once `to` is reached the swept signal is no condition any more; unreadable, it ends nothing."""
    n = {0: 1800, 1: 2500, 2: 4000, 3: math.nan, 4: math.nan, 5: math.nan}
    assert told(sweep(2000, 4000, IN, then=3), drive(n=n, a=run(0, 6, 5)))[1:] == ["5 secured", "5 secured | 1..5"]
