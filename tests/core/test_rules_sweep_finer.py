"""Finer points of sweeps: what arms them, how late they may begin, and where their near side ends."""

from __future__ import annotations

import pytest

from tests.core.rulebook import attempts_of, band, drive, limit, mark, row, run, sweep, told

IN = band("a", 4, 8)


def test_a_sample_at_from_is_past_it_also_for_the_next_one():
    """Rule 26: at 2000 `a` was not met; from 2000 to 2500 nothing is crossed, although all was met in between."""
    samples = drive(n={0: 1800, 1: 2000, 3: 2500, 4: 2600}, a={0: 5, 1: 9, 2: 5})
    assert told(sweep(2000, 4000, IN), samples) == []
    near = {2.5: 79, 2.65: 82, 2.8: 85, 2.9: 87}  # the same where something else happens at that instant
    samples = drive(n={0: 1800, 1: 2000, 2.9: 2500}, a={0: 5, 1: 9, 2: 5}, b=near)
    assert told(sweep(2000, 4000, IN, limits=(limit("b", 100, scope="drive"),)), samples) == ["2.9 ahead b"]


def test_back_at_from_itself_is_no_withdrawal():
    """Rules 25 and 28: `from` is not on the near side, so 150 back to it, with a dip of 100, is a miss."""
    assert told(sweep(2000, 4000, dip=100), drive(n=row(1800, 2150, 2000)))[1] == "2 missed dip n 2000/2050 | 1..1"
    assert told(sweep(2000, 4000, dip=100), drive(n=row(1800, 2150, 1999)))[1] == "2 withdrawn"


def test_back_at_from_itself_within_dip_goes_on():
    """Rule 28: 50 back, with a dip of 100, is no miss, and `from` itself is not the near side."""
    lines = told(sweep(2000, 4000, dip=100), drive(n=row(1800, 2050, 2000)))
    assert lines == ["1 began", "2 missed drive_ended | 1..2"]


def test_a_late_beginning_counts_from_the_crossing_however_far_it_went_since():
    """Rule 27: crossed at 1 s, further at 1.2 s; 0.4 s after the crossing is in time, a microsecond more is not."""
    n = {0: 1900, 0.9: 1950, 1.1: 2050, 1.2: 2150}
    assert told(sweep(2000, 4000, IN), drive(n=n, a={0: 9, 1.4: 5}))[0] == "1.4 began"
    assert told(sweep(2000, 4000, IN), drive(n=n, a={0: 9, 1.400001: 5})) == []


@pytest.mark.parametrize("signal", ["a", "b"])
def test_armed_by_a_word_before_the_last_instant(signal):
    """Rules 4 and 26: the word at 0.5 s opens the gate; a sample of any signal of the capture at 1 s finds it armed."""
    capture = sweep(2000, 4000, IN, limits=(limit("b", 95),), arming=True)
    samples = {"n": {0: 1800, 2: 2500}, "a": {0: 5}, "b": {0: 5}}
    assert told(capture, drive([mark(0.5, "arm")], **samples)) == []
    samples[signal][1] = 5
    assert told(capture, drive([mark(0.5, "arm")], **samples))[0] == "2 began"


def test_once_it_has_arrived_falling_back_breaks_nothing():
    """Rules 19 and 28: at 4 s `a` breaks it; that `n` fell back then does not shorten the window."""
    n, a = {0: 1800, 1: 2500, 2: 4000, 3: 4000, 4: 3000}, {0: 5, 1: 5, 2: 5, 3.5: 5, 4: 9}
    assert told(sweep(2000, 4000, IN, dip=100, then=5), drive(n=n, a=a))[1] == "4 missed high a 9/8 | 1..3.5"


def test_without_a_condition_then_passes_by_itself():
    """Rule 29: at the first instant at least four seconds after it arrived."""
    lines = told(sweep(2000, 4000, then=4), drive(n=row(1800, 2500, 4100, 4200, 4300, 4400, 4500)))
    assert lines == ["1 began", "6 secured", "6 secured | 1..6"]


def test_a_spike_that_goes_on_rising_is_one_spike():
    """Rule 25: 4500 and 5000 are both too fast from 2100; 2300 is not."""
    n = {0: 1900, 0.2: 2100, 0.3: 4500, 0.4: 5000, 0.6: 2300}
    assert told(sweep(2000, 4000, fastest=1000), drive(n=n)) == ["0.2 began", "0.6 missed drive_ended | 0.2..0.6"]


def test_how_far_it_went_since_the_crossing_counts_for_a_late_beginning():
    """Rule 27: 400 past at its furthest; `late` of 500 admits that, one of 300 does not although it is back at 200."""
    samples = drive(n=row(1800, 2100, 2400, 2200), a=row(9, 9, 9, 5))
    assert told(sweep(2000, 4000, IN, late=500), samples)[0] == "3 began"
    assert told(sweep(2000, 4000, IN, late=300), samples) == []


def test_a_late_beginning_looks_at_the_last_crossing():
    """Rule 27: 600 past at first, then back on the near side; since the second crossing it has only come 100 far."""
    samples = drive(n=row(1800, 2600, 1900, 2100, 2100), a=row(9, 9, 9, 9, 5))
    assert told(sweep(2000, 4000, IN, late=500), samples)[0] == "4 began"


@pytest.mark.parametrize(
    ("b", "begins"), [({0: 99, 1: 90}, True), ({0: 90, 1: 99}, False), ({0: 90}, True)], ids=["back", "beyond", "in"]
)
def test_arming_looks_at_the_last_sample_of_a_limit(b, begins):
    """Rule 26: at 1 s the limit is inside, or not; at the crossing it has no sample of its own."""
    capture = sweep(2000, 4000, limits=(limit("b", 95),))
    lines = told(capture, drive(n={0: 1800, 1: 1800, 2: 2500, 3: 2600}, b=b))
    assert ("2 began" in lines) is begins


def test_arming_looks_at_the_limit_as_it_was_before():
    """Rule 26: at 1 s the limit is beyond; that it is back inside at the very crossing comes too late."""
    capture = sweep(2000, 4000, limits=(limit("b", 95),))
    assert told(capture, drive(n={0: 1800, 1: 1800, 2: 2500, 3: 2600}, b={0: 90, 1: 99, 2: 90})) == []


def test_arming_does_not_ask_a_limit_with_after_to_be_inside():
    """Rules 26 and 30: it must be seen, and is looked at from `after` on only."""
    capture = sweep(2000, 4000, limits=(limit("b", 95, after=9),))
    assert told(capture, drive(n={0: 1800, 1: 1800, 2: 2500}, b={0: 99}))[0] == "2 began"


def test_arming_asks_a_limit_to_be_seen():
    """Rule 26: at 6 s it was last seen 6 s ago, more than 5; that it is seen again at the crossing is too late."""
    capture = sweep(2000, 4000, limits=(limit("b", 95),))
    samples = drive(n={0: 1800, 3: 1800, 6: 1800, 7: 2500, 8: 2600}, b={0: 90, 7: 90, 8: 90})
    assert told(capture, samples) == []


@pytest.mark.parametrize(("a", "begins"), [({0: 9, 1: 5}, True), ({0: 5, 1: 9, 2: 5}, False), ({0: 5}, True)])
def test_arming_looks_at_the_last_sample_of_a_condition(a, begins):
    """Rule 26: met at 1 s, or not; a sample at the crossing itself counts for the crossing."""
    lines = told(sweep(2000, 4000, IN), drive(n={0: 1800, 1: 1800, 2: 2500, 3: 2600}, a=a))
    assert ("2 began" in lines) is begins


def test_arming_asks_every_condition_to_be_fresh():
    """Rule 26: at 6 s `a` was last seen 6 s ago; that it comes again at the crossing is too late."""
    samples = drive(n={0: 1800, 3: 1800, 6: 1800, 7: 2500, 8: 2600}, a={0: 5, 7: 5, 8: 5})
    assert told(sweep(2000, 4000, IN), samples) == []


def test_the_near_side_must_be_fresh():
    """Rule 26: 1800 was seen six seconds before `a` alone had an instant; what `n` was then is not known."""
    samples = drive(n={0: 1800, 7: 2500, 8: 2600}, a=run(0, 8, 5))
    assert told(sweep(2000, 4000, IN), samples) == []


def test_a_tenth_of_a_sweep_counts_from_its_beginning():
    """Rule 24: begun at 1 s, arrived at 6 s: half a second outside is a tenth, a microsecond more is too much."""
    for back, secured in ((3.5, True), (3.500001, False)):
        samples = drive(n={0: 1800, 1: 2200, 4: 3000, 6: 4000}, a={0: 5, 3: 9, back: 5, 6: 5})
        lines = told(sweep(2000, 4000, IN, grace=1), samples)
        assert ("6 secured" in lines) is secured


def test_too_much_time_outside_names_the_first_signal():
    """Rules 24 and 40: `b`, then `a`, were outside for half a second each of five; `a` comes first by name."""
    outside = {"a": {0: 5, 3: 9, 3.5: 5, 5: 5}, "b": {0: 5, 2: 9, 2.5: 5, 5: 5}}
    capture = sweep(2000, 4000, IN, band("b", 4, 8), grace=1)
    (attempt,) = attempts_of(capture, drive(n={0: 1800, 1: 2200, 4: 3000, 6: 4000}, **outside))
    assert (attempt.reason.code, attempt.reason.signal) == ("excursions", "a")
    assert (attempt.reason.value, attempt.reason.bound) == (1, 0.5)


def test_an_instant_of_a_limit_alone_is_one_of_the_capture():
    """Rules 4 and 26: the last instant before the crossing is that at 1 s, at which the limit was passed."""
    capture = sweep(2000, 4000, limits=(limit("b", 95),))
    assert told(capture, drive(n={0: 1800, 2: 2500, 3: 2600}, b={0: 90, 1: 99, 2: 90})) == []
    assert told(capture, drive(n={0: 1800, 2: 2500, 3: 2600}, b={0: 99, 1: 90, 2: 90}))[0] == "2 began"


def test_the_only_sample_of_a_limit_before_the_crossing_may_be_its_first():
    """Rules 4 and 26: at 0 the limit had not been seen yet, at 0.5 s it had."""
    capture = sweep(2000, 4000, limits=(limit("b", 95),))
    assert told(capture, drive(n={0: 1800, 2: 2500}, b={0.5: 90, 2: 90}))[0] == "2 began"


def test_after_a_stop_arming_waits_until_the_limit_has_been_inside():
    """Rules 14 and 26: at 3 s it was not yet, although it need not be inside to begin; at 4 s it is, and too late."""
    capture = sweep(2000, 4000, limits=(limit("b", 95, after=1),))
    n = {0: 1800, 1: 2500, 2.5: 2600, 3: 1800, 4: 2500, 5: 2600}
    lines = told(capture, drive(n=n, b={0: 90, 2: 90, 2.5: 99, 3: 99, 4: 90}))
    assert [x for x in lines if "began" in x] == ["1 began"]
    lines = told(capture, drive(n=n, b={0: 90, 2: 90, 2.5: 99, 3: 90, 4: 90}))
    assert [x for x in lines if "began" in x] == ["1 began", "4 began"]
