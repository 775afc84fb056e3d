"""Rules 37 to 43: data quality, order of what comes together, the drive's end, small attempts."""

from __future__ import annotations

import math

import pytest

from tests.core.rulebook import asked, attempts_of, band, drive, hold, limit, row, run, sweep, told

A = band("a", 4, 8)


# ---- data quality ---------------------------------------------------------------------------------------------------


def test_a_gap_ends_the_attempt_when_it_runs_out():
    """Rule 37: `b` may be away for 2 s and was last seen at 1 s."""
    samples = drive(a=run(0, 5, 5), b=row(1, 1))
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[1] == "3 sparse gap b -/2 | 0..1"


def test_a_sample_exactly_at_the_gaps_end_is_in_time():
    """Rules 37 and 39."""
    samples = drive(a=run(0, 4, 5), b={0: 1, 2: 1, 4: 1})
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[-1] == "4 missed drive_ended | 0..4"


def test_a_gap_is_counted_from_a_sample_before_the_start():
    """Rule 37: last seen at 1 s, begun at 2 s, run out at 3 s; the window is not longer than nothing."""
    samples = drive(a={2: 5, 3: 5, 4: 5}, b=row(1, 1))
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[:2] == ["2 began", "3 sparse gap b -/2 | 2..2"]


def test_a_gap_that_had_run_out_is_counted_from_the_start():
    """Rule 37: `b` was last seen 4 s before the start."""
    samples = drive(a=run(4, 8, 5), b={0: 1})
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[:2] == ["4 began", "6 sparse gap b -/2 | 4..4"]


def test_a_gap_that_runs_out_at_the_start_is_counted_from_there():
    """Rule 37: last seen at 1 s, 2 s allowed, begun at exactly 3 s: it has until 5 s."""
    samples = drive(a=run(3, 8, 5), b={1: 1})
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[:2] == ["3 began", "5 sparse gap b -/2 | 3..3"]


def test_a_recorded_signal_that_never_came_has_until_the_gap():
    """Rule 37: counted from the start."""
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), drive(a=run(0, 5, 5)))[1] == "2 sparse gap b -/2 | 0..0"


def test_what_is_not_needed_spoils_nothing():
    """Rules 37 and 38: with `need` false neither gap nor rate is asked."""
    record = (asked("b", 10, gap=1, need=False),)
    assert told(hold(5, A, record=record), drive(a=run(0, 6, 5)))[1] == "5 secured"


def test_only_numbers_count_as_recorded():
    """Rule 37: `b` comes, but as no number."""
    samples = drive(a=run(0, 5, 5), b=row(1, 1, *[math.nan] * 4))
    assert told(hold(9, A, record=(asked("b", 1, gap=2),)), samples)[1] == "3 sparse gap b -/2 | 0..1"


def test_a_gap_after_securing_ends_the_window():
    """Rule 37: the outcome stays secured, and the window ends at the last sample recorded."""
    samples = drive(a=run(0, 8, 5), b=run(0, 3, 1))
    assert told(hold(2, A, record=(asked("b", 1, gap=2),)), samples)[1:3] == ["2 secured", "5 secured gap b -/2 | 0..3"]


def test_the_rate_is_asked_at_securing():
    """Rule 38: 7 of 10 samples in 10 s are less than 80 % of 1 Hz."""
    came = {0: 1, 1: 1, 2: 1, 4: 1, 5: 1, 7: 1, 8: 1, 10: 1}
    samples = drive(a=run(0, 12, 5), b=came)
    assert told(hold(10, A, record=(asked("b", 1),)), samples)[1] == "10 sparse rate b 0.7/0.8 | 0..10"


def test_just_enough_is_enough():
    """Rule 38: 8 of 10; the sample at the start does not count, the one at the securing does."""
    came = {0: 1, 1: 1, 2: 1, 3: 1, 4: 1, 5: 1, 7: 1, 8: 1, 10: 1}
    assert told(hold(10, A, record=(asked("b", 1),)), drive(a=run(0, 12, 5), b=came))[1] == "10 secured"


def test_short_windows_are_judged_on_gaps_alone():
    """Rule 38: 9 s are less than ten periods of 1 s; 4 samples of 9 would be too few."""
    came = {0: 1, 2: 1, 4: 1, 6: 1, 8: 1}
    assert told(hold(9, A, record=(asked("b", 1),)), drive(a=run(0, 9, 5), b=came))[1] == "9 secured"


def test_the_signal_furthest_below_is_named():
    """Rule 38: `b` has half of its 2 Hz, `c` three tenths of its 1 Hz."""
    samples = drive(a=run(0, 10, 5), b=run(0, 10, 1), c={0: 1, 4: 1, 7: 1, 10: 1})
    record = (asked("b", 2), asked("c", 1))
    assert told(hold(10, A, record=record), samples)[1] == "10 sparse rate c 0.3/0.8 | 0..10"


def test_of_equals_the_first_by_name_is_named():
    """Rule 38: both came half as often as asked."""
    samples = drive(a=run(0, 10, 5), b=run(0, 10, 1), c=run(0, 10, 2, 2))
    record = (asked("c", 1), asked("b", 2))
    assert told(hold(10, A, record=record), samples)[1] == "10 sparse rate b 1/1.6 | 0..10"


def test_a_sweep_too_thin_is_sparse():
    """Rule 38: a sweep of 2 s at 2 Hz where 5 Hz were asked."""
    samples = drive(n={0: 1000, 1: 2000, 2: 3000, 3: 4000}, b=run(0, 3, 1, 0.5))
    lines = told(sweep(2000, 4000, record=(asked("b", 5),)), samples)
    assert lines[1] == "3 sparse rate b 2/4 | 1..3"


# ---- order ----------------------------------------------------------------------------------------------------------


def test_deadlines_fall_due_earliest_first():
    """Rule 39: the gap of `b` runs out at 3 s, `a` goes stale at 5 s; both were due when the next sample came."""
    samples = drive(a={0: 5, 9: 5}, b={0: 1})
    assert told(hold(20, A, record=(asked("b", 1, gap=3),)), samples)[1] == "3 sparse gap b -/3 | 0..0"


def test_of_deadlines_together_the_order_decides():
    """Rule 39: at 6 s all fall due: `c` beyond for 5 s, `b` unseen, `a` stale, `n` outside, `boost` not recorded."""
    samples = {"a": {0: 5, 1: 5}, "b": {0: 5}, "c": {0: 5, 1: 7}, "n": {0: 1, 3: 9, 5: 9}}
    keep, record = (A, band("n", 0, 2)), (asked("boost", 1, gap=6),)
    lasting, unseen = limit("c", 6, lasting=5, unseen=60), limit("b", 6, unseen=6)

    def ended(*limits, keep=keep, stale=5.0) -> str:
        capture = hold(60, *keep, grace=3, limits=limits, record=record, stale=stale)
        lines = told(capture, drive(end=7, **samples), derivations=())
        return next(text for text in lines if text.startswith("6 ") and "alarm" not in text)

    assert ended(lasting, unseen) == "6 stopped limit c 7/6 | 0..0"
    assert ended(unseen) == "6 missed limit_unseen b -/6 | 0..0"
    assert ended() == "6 missed stale a -/5 | 0..0"
    assert ended(stale=60) == "6 missed high n 9/2 | 0..0"
    assert ended(keep=(band("a", 4, 8),), stale=60) == "6 sparse gap boost -/6 | 0..0"


def test_grace_comes_before_the_tenth():
    """Rule 39: hold 10 s and grace 1 s: both run out a second after the first bad sample."""
    assert told(hold(10, A, grace=1), drive(a={0: 5, 1: 9, 3: 5}))[2] == "2 missed high a 9/8 | 0..0"


def test_together_the_first_by_name_gives_the_reason():
    """Rule 39: `a` and `b` go stale at the same moment."""
    samples = drive(a={0: 5}, b={0: 5}, end=9)
    assert told(hold(20, band("b", 4), A), samples)[1] == "5 missed stale a -/5 | 0..0"


def test_a_limit_comes_before_a_condition():
    """Rule 40: at 1 s `a` is outside and `c` beyond."""
    samples = drive(a=row(5, 9), c=row(5, 7))
    assert told(hold(9, A, limits=(limit("c", 6),)), samples)[2] == "1 stopped limit c 7/6 | 0..0"


def test_an_excursion_that_ends_makes_room_for_securing():
    """Rule 40: excursions end before securing, so the sample that ends one may secure."""
    samples = drive(a={**run(0, 9, 5), 9.5: 9, 10: 5})
    assert told(hold(10, A, grace=1), samples)[2:4] == ["10 back a high 9 since 9.5", "10 secured"]


def test_an_excursion_that_begins_comes_before_securing():
    """Rule 40: `b` is seen at 10 s and would secure, but `a` goes outside at that instant."""
    samples = drive(a={**run(0, 9, 5), 10: 9, 10.5: 5}, b={0: 1, 10: 1, 10.5: 1})
    lines = told(hold(10, A, band("b", 0), grace=1, stale=20), samples)
    assert lines[1:] == ["10 outside a high 9", "10.5 back a high 9 since 10", "10.5 secured", "10.5 secured | 0..10.5"]


def test_a_break_is_stamped_at_its_deadline():
    """Rule 41: an hour passes before anybody notices."""
    samples = drive(a={0: 5, 3600: 5})
    assert told(hold(9, A), samples)[1] == "5 missed stale a -/5 | 0..0"


def test_a_promise_lets_deadlines_fall_due():
    """Rules 39 and 41: nothing comes after 1 s, but the source promises that until 9 s there was nothing."""
    assert told(hold(9, A), drive(a=row(5, 5), end=9))[1] == "6 missed stale a -/5 | 0..1"


def test_without_a_promise_the_drive_ends_at_its_last_instant():
    """Rule 42."""
    assert told(hold(9, A), drive(a=row(5, 5)))[1] == "1 missed drive_ended | 0..1"


def test_a_promise_up_to_the_deadline_is_not_enough():
    """Rule 39: a sample at exactly 6 s might still have come, and would have been in time."""
    assert told(hold(9, A), drive(a=row(5, 5), end=6))[1] == "1 missed drive_ended | 0..1"
    assert told(hold(9, A), drive(a=row(5, 5), end=6.000001))[1] == "6 missed stale a -/5 | 0..1"


def test_the_drive_ends_for_all_captures_at_once():
    """Rule 42: at the drive's last instant, also for a capture that has no sample then."""
    lines = told([hold(9, A, id="x"), hold(9, band("b", 0), id="y")], drive(a=run(0, 4, 5), b={0: 1, 2: 1}))
    assert lines[2:] == ["4 x missed drive_ended | 0..4", "4 y missed drive_ended | 0..2"]


def test_a_drive_without_samples_has_no_events():
    """Rule 42: there is no instant at which anything could happen."""
    assert told(hold(9, A), drive()) == []


# ---- small ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("last", "small"), [(2.999999, True), (3, False)])
def test_attempts_under_three_seconds_are_small(last, small):
    """Rule 43."""
    (attempt,) = attempts_of(hold(9, A), drive(a={0: 5, last: 5}))
    assert attempt.small is small


def test_a_secured_attempt_is_never_small():
    """Rule 43."""
    (attempt,) = attempts_of(hold(1, A), drive(a=row(5, 5)))
    assert not attempt.small


@pytest.mark.parametrize(("value", "small"), [(2200, True), (2201, False)])
def test_a_sweep_past_a_tenth_is_not_small(value, small):
    """Rule 43: a tenth exactly is not further than a tenth."""
    (attempt,) = attempts_of(sweep(2000, 4000), drive(n=row(1800, value)))
    assert attempt.small is small


def test_progress_says_how_much_was_done():
    """Rule 43: 3 s of 12, and 500 of 2000."""
    assert attempts_of(hold(12, A), drive(a=run(0, 3, 5)))[0].progress == pytest.approx(0.25)
    assert attempts_of(sweep(2000, 4000), drive(n=row(1800, 2500)))[0].progress == pytest.approx(0.25)
