"""Rules 9 to 24: conditions, when an attempt may begin, holds, grace and excursions."""

from __future__ import annotations

import math

import pytest

from coach.core.spec import Facts
from tests.core.rulebook import asked, attempts_of, band, drive, hold, limit, mark, row, run, told

A = band("a", 4, 8)


# ---- conditions -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "met"), [(4, True), (8, True), (3.999, False), (8.001, False)])
def test_a_band_includes_its_bounds(value, met):
    """Rule 9: 4 and 8 meet a band of 4 to 8; what is outside by a thousandth does not."""
    assert bool(told(hold(9, A), drive(a={0: value}))) is met


@pytest.mark.parametrize(("value", "reason"), [(3, "low a 3/4"), (9, "high a 9/8")])
def test_the_reason_says_which_bound(value, reason):
    """Rule 9: too low and too high are different reasons, each with its bound."""
    assert told(hold(9, A), drive(a={0: 5, 1: value}))[1] == f"1 missed {reason} | 0..0"


def test_a_band_may_be_open_on_one_side():
    """Rule 9: with no maximum, any readable value from the minimum on is good."""
    assert told(hold(1, band("a", 4)), drive(a={0: 5, 1: 5000}))[1] == "1 secured"


def test_wander_bounds_maximum_minus_minimum():
    """Rule 10: 5, 6, 5.5 stay within 1; 6.5 would make it 1.5."""
    assert told(hold(9, band("a", 4, 8, 1)), drive(a=row(5, 6, 5.5, 6.5)))[1] == "3 missed wander a 6.5/1 | 0..2"


def test_wander_of_exactly_what_is_allowed_is_good():
    """Rule 10: larger than `wander` is bad; as large is not."""
    assert told(hold(2, band("a", 4, 8, 1)), drive(a=row(5, 6, 5)))[1] == "2 secured"


def test_the_value_that_held_at_the_start_counts_for_wander():
    """Rule 10: `a` was 5 before the start, which `b` decided; 6.5 then wanders although it is the first since."""
    samples = drive(a={0: 5, 2: 6.5}, b={0: 0, 1: 5, 2: 5})
    assert told(hold(9, band("a", 4, 8, 1), band("b", 4, 8)), samples)[1] == "2 missed wander a 6.5/1 | 1..1"


def test_a_bad_sample_does_not_extend_the_range_of_wander():
    """Rule 10: 7 is bad and does not move the range, so 5.5 after it is good and 4.5 too."""
    lines = told(hold(20, band("a", 4, 8, 1), grace=1), drive(a=row(5, 7, 5.5, 4.5, 5)))
    assert lines[1:3] == ["1 outside a wander 7", "2 back a wander 7 since 1"]
    assert lines[-1] == "4 missed drive_ended | 0..4"


def test_wander_begins_anew_with_each_attempt():
    """Rule 10: after the attempt that wandered off, the next one has its own range."""
    lines = told(hold(9, band("a", 4, 8, 1)), drive(a=row(5, 7, 7, 7.5)))
    assert lines[1:] == ["1 missed wander a 7/1 | 0..0", "2 began", "3 missed drive_ended | 2..3"]


def test_start_conditions_are_asked_at_the_beginning_only():
    """Rule 12: `b` must be at least 4 to begin and may fall afterwards."""
    samples = drive(a=run(0, 4, 5), b={0: 3, 1: 4, 2: 0})
    assert told(hold(2, A, start=(band("b", 4),)), samples) == ["1 began", "3 secured", "4 secured | 1..4"]


def test_a_stale_start_condition_is_not_met():
    """Rules 11 and 12: what was last seen too long ago is unknown, and unknown is never met."""
    samples = drive(a={0: 9, 6: 5}, b={0: 5})
    assert told(hold(2, A, start=(band("b", 4),)), samples) == []


# ---- beginning ------------------------------------------------------------------------------------------------------


def test_an_attempt_begins_when_the_last_condition_is_met():
    """Rule 13: at the first instant at which all are."""
    assert told(hold(9, A, band("b", 1)), drive(a={0: 5, 2: 5}, b={1: 0, 1.5: 1}))[0] == "1.5 began"


def test_none_begins_at_the_instant_at_which_one_ended():
    """Rule 13: the limit of one capture stops it at 1 s; `a` is good there, but the next attempt begins at 2 s."""
    capture = hold(9, A, limits=(limit("c", 6, after=0.5),), grace=0)
    lines = told(capture, drive(a=run(0, 3, 5), c=row(5, 7, 5, 5)))
    assert lines[1:4] == ["1 alarm c 7", "1 stopped limit c 7/6 | 0..0", "2 alarm over c x1 peak 7 since 1"]
    assert lines[4] == "2 began"


def test_none_begins_while_a_limit_is_unseen():
    """Rule 13: the limit's signal comes for the first time at 2 s."""
    assert told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 3, 5), c={2: 5}))[0] == "2 began"


def test_none_begins_beyond_a_limit():
    """Rule 13: the value comes inside at 2 s."""
    assert told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 3, 5), c=row(7, 7, 6)))[0] == "2 began"


def test_a_limit_with_after_must_be_seen_but_not_inside():
    """Rule 13: what `after` excuses does not keep an attempt from beginning."""
    assert told(hold(9, A, limits=(limit("c", 6, after=2),)), drive(a=run(0, 1, 5), c=row(7, 7)))[0] == "0 began"


def test_closed_course_waits_until_armed():
    """Rule 14: armed at 1.5 s; the word begins nothing, the next instant does."""
    samples = drive([mark(1.5, "arm")], a=run(0, 4, 5))
    assert told(hold(9, A, arming=True), samples)[0] == "2 began"


def test_disarming_ends_what_runs():
    """Rules 14 and 19: the window ends at the last instant of a keep signal."""
    samples = drive([mark(0, "arm"), mark(2.5, "disarm")], a=run(0, 4, 5))
    assert told(hold(9, A, arming=True), samples) == ["0 began", "2.5 missed disarmed | 0..2"]


def test_disarming_means_nothing_on_the_road():
    """Rule 14: a capture that needs no arming is not ended by it."""
    assert told(hold(3, A), drive([mark(2, "disarm")], a=run(0, 4, 5)))[1] == "3 secured"


def test_skipping_ends_and_unskipping_lets_begin():
    """Rule 14: from 1.5 to 3.5 s the capture is skipped."""
    samples = drive([mark(1.5, "skip"), mark(3.5, "unskip")], a=run(0, 5, 5))
    assert told(hold(9, A), samples) == [
        "0 began",
        "1.5 missed skipped | 0..1",
        "4 began",
        "5 missed drive_ended | 4..5",
    ]


def test_a_pause_ends_every_capture():
    """Rule 14: pausing concerns all captures; a secured one stays secured and says why its window ends."""
    samples = drive([mark(2.5, "pause"), mark(4, "resume")], a=run(0, 5, 5))
    lines = told([hold(2, A, id="x"), hold(9, A, id="y")], samples)
    assert "2.5 x secured paused | 0..2" in lines
    assert "2.5 y missed paused | 0..2" in lines
    assert "4 x began" in lines


def test_needs_waits_for_as_many_as_asked():
    """Rule 14: `y` needs `x` twice; the second is secured at 5 s, so `y` begins at the next instant."""
    x, y = hold(1, A, id="x", times=2), hold(9, band("b", 0), id="y", needs=("x",))
    lines = told([x, y], drive(a=row(5, 5, 5, 9, 5, 5, 5, 5), b=run(0, 7, 1)))
    assert "5 x secured" in lines
    assert [text for text in lines if text.endswith("y began")] == ["6 y began"]


def test_needs_asks_for_secured_before_this_instant():
    """Rule 14: `x` is secured at 1 s by the very instant at which `y` could begin; `y` begins at the next."""
    x, y = hold(1, A, id="x"), hold(9, A, id="y", needs=("x",))
    for order in ([x, y], [y, x]):
        assert "2 y began" in told(order, drive(a=run(0, 3, 5)))


def test_confirm_waits_for_its_item():
    """Rule 14: another item does not open the gate."""
    samples = drive([mark(0.5, "confirm", text="lights"), mark(1.5, "confirm", text="fan off")], a=run(0, 3, 5))
    assert told(hold(9, A, confirm=("fan off",)), samples)[0] == "2 began"


def test_rest_is_counted_from_when_the_attempt_ended():
    """Rule 14: ended at 5 s (secured at 1 s, window to 4 s); with 2 s of rest the next may begin at exactly 7 s."""
    lines = told(hold(1, A, rest=2), drive(a=row(5, 5, 5, 5, 5, 9, 5, 5, 5)))
    assert lines[2:4] == ["5 secured high a 9/8 | 0..4", "7 began"]


def test_a_small_attempt_needs_no_rest():
    """Rule 14: an attempt whose window is 2 s long is small."""
    assert told(hold(9, A, rest=60), drive(a=row(5, 5, 5, 9, 5)))[2] == "4 began"


def test_an_attempt_of_three_seconds_needs_rest():
    """Rules 14 and 43: a window of exactly 3 s is not small."""
    assert len(told(hold(9, A, rest=60), drive(a=row(5, 5, 5, 5, 9, 5)))) == 2


def test_after_a_stop_the_recipe_may_say_to_wait():
    """Rule 14: no more of this kind until the calibrator answers."""
    samples = drive(a=run(0, 5, 5), c=row(5, 7, 5, 5, 5, 5))
    assert (
        told(hold(9, A, limits=(limit("c", 6),), wait_after_limit=True), samples)[-1]
        == "2 alarm over c x1 peak 7 since 1"
    )


def test_a_limit_that_ends_a_secured_window_is_no_stop():
    """Rules 14 and 35: the outcome is secured, so the next attempt need not wait for the calibrator."""
    samples = drive(a=run(0, 5, 5), c=row(5, 5, 7, 5, 5, 5))
    assert "3 began" in told(hold(1, A, limits=(limit("c", 6),), wait_after_limit=True), samples)


def test_after_a_stop_the_value_must_come_back_inside():
    """Rule 14: `after` lets an attempt begin beyond a limit, but not after that limit stopped one."""
    samples = drive(a=run(0, 8, 5), c=row(7, 7, 7, 7, 7, 5, 7, 7, 7))
    lines = told(hold(9, A, limits=(limit("c", 6, after=1.5),)), samples)
    assert lines[:3] == ["0 began", "2 alarm c 7", "2 stopped limit c 7/6 | 0..0"]
    assert lines[3:5] == ["5 alarm over c x3 peak 7 since 2", "5 began"]


def test_after_a_gap_the_signal_must_come_again():
    """Rule 14: `b` is recorded; it stops at 1 s, and the next attempt begins only when it has come again at 6 s."""
    samples = drive(a=run(0, 8, 5), b={0: 1, 1: 1, 5.5: 1, 8: 1})
    lines = told(hold(20, A, record=(asked("b", 1, gap=2),)), samples)
    assert lines[1:3] == ["3 sparse gap b -/2 | 0..1", "6 began"]


def test_a_word_takes_effect_before_the_samples_of_its_stamp():
    """Rule 15: armed at exactly 1 s, the attempt begins at 1 s."""
    assert told(hold(9, A, arming=True), drive([mark(1, "arm")], a=run(0, 2, 5)))[0] == "1 began"


def test_what_ends_by_a_word_is_not_begun_again_at_that_stamp():
    """Rules 13 and 15: paused and resumed at 1 s; the samples of 1 s begin nothing."""
    samples = drive([mark(1, "pause"), mark(1, "resume")], a=run(0, 2, 5))
    assert told(hold(9, A), samples)[:3] == ["0 began", "1 missed paused | 0..0", "2 began"]


# ---- hold -----------------------------------------------------------------------------------------------------------


def test_n_samples_make_a_window_of_n_minus_one_seconds():
    """Rules 16 and 19: ten samples at 1 Hz, a window of nine seconds."""
    assert told(hold(5, A), drive(a={**run(1, 10, 5), 0: 9, 11: 9})) == [
        "1 began",
        "6 secured",
        "11 secured high a 9/8 | 1..10",
    ]


def test_every_keep_signal_must_have_been_seen_at_the_end_of_the_hold():
    """Rule 17: `b` comes every 3 s; a hold of 2 s is secured when `b` is seen at 3 s."""
    assert told(hold(2, A, band("b", 0)), drive(a=run(0, 4, 5), b={0: 1, 3: 1}))[1] == "3 secured"


def test_a_hold_is_not_secured_in_an_excursion():
    """Rule 17: `a` is outside at 10 s, where the hold would be full; it is secured when `a` is back."""
    samples = drive(a={**run(0, 9, 5), 10: 9, 10.5: 5})
    assert told(hold(10, A, grace=1), samples)[1:4] == [
        "10 outside a high 9",
        "10.5 back a high 9 since 10",
        "10.5 secured",
    ]


def test_a_secured_window_goes_on_until_something_breaks_it():
    """Rule 18: the outcome stays secured and the reason says what ended it."""
    assert told(hold(1, A), drive(a=row(5, 5, 5, 5, 3)))[2] == "4 secured low a 3/4 | 0..3"


def test_a_window_that_the_drive_ends_has_no_reason():
    """Rule 18: nothing broke it."""
    (attempt,) = attempts_of(hold(1, A), drive(a=row(5, 5, 5)))
    assert attempt.reason is None


def test_a_second_attempt_follows_the_first():
    """Rules 13 and 18: two windows, numbered from 0."""
    attempts = attempts_of(hold(1, A), drive(a=row(5, 5, 9, 5, 5)))
    assert [(a.number, a.outcome) for a in attempts] == [(0, "secured"), (1, "secured")]


def test_the_window_ends_at_the_last_good_sample_of_what_broke_it():
    """Rule 19: `b` broke it at 4 s and was last good at 1 s; that `a` was good at 3 s does not help."""
    samples = drive(a=run(0, 4, 5), b={0: 1, 1: 1, 4: -1})
    assert told(hold(9, A, band("b", 0)), samples)[1] == "4 missed low b -1/0 | 0..1"


def test_what_breaks_at_the_same_moment_counts_together():
    """Rule 19: both break at 4 s; `a` is named, being first by name, and `b` was good only until 1 s."""
    samples = drive(a={**run(0, 3, 5), 4: 9}, b={0: 1, 1: 1, 4: -1})
    assert told(hold(9, A, band("b", 0)), samples)[1] == "4 missed high a 9/8 | 0..1"


def test_a_window_never_ends_before_its_securing():
    """Rule 19: `b` secures it at 3 s; `a`, which breaks it at 4 s, was last good at 2 s."""
    samples = drive(a={0: 5, 2: 5, 4: 9}, b={0: 1, 3: 1})
    assert told(hold(2, A, band("b", 0)), samples)[1:] == ["3 secured", "4 secured high a 9/8 | 0..3"]


def test_the_drives_end_takes_the_last_instant_of_a_keep_signal():
    """Rules 19 and 42: `b` goes on until 5 s but is no condition; `a` was last seen at 3 s."""
    samples = drive(a=run(0, 3, 5), b=run(0, 5, 1))
    assert told(hold(9, A), samples)[1] == "5 missed drive_ended | 0..3"


# ---- grace ----------------------------------------------------------------------------------------------------------


def test_without_grace_the_first_bad_sample_ends_the_attempt():
    """Rule 20."""
    assert told(hold(9, A), drive(a=row(5, 9, 5)))[1] == "1 missed high a 9/8 | 0..0"


def test_grace_covers_an_excursion_of_exactly_its_length():
    """Rule 21: bad at 1 s, good at exactly 2 s: in time, and the time counts."""
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: 9, 1.5: 10, 2: 5}))
    assert lines[1:3] == ["1 outside a high 9", "2 back a high 10 since 1"]


def test_grace_runs_out_at_its_own_time():
    """Rule 21: no good sample came by 2 s; the break is stamped 2 s although the next sample comes at 2.5 s."""
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: 9, 2.5: 5}))
    assert lines[2] == "2 missed high a 9/8 | 0..0"


def test_the_reason_gives_the_worst_value():
    """Rule 21: 9, 11 and 10 were outside; 11 is named."""
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: 9, 1.2: 11, 1.4: 10, 2.5: 5}))
    assert lines[2] == "2 missed high a 11/8 | 0..0"


def test_further_below_is_worse_than_above():
    """Rule 21: 1 is 3 below the band, 9 is 1 above it."""
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: 9, 1.2: 1, 2.5: 5}))
    assert lines[2] == "2 missed low a 1/4 | 0..0"


def test_saturated_is_worse_than_beyond_and_beyond_worse_than_unreadable():
    """Rule 21: in the order unreadable, 3, saturated, the saturated one is named."""
    facts = {"a": Facts(high=255, ceiling=100)}
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: math.nan, 1.2: 3, 1.4: 100, 1.6: 99, 2.5: 5}), facts=facts)
    assert lines[2] == "2 missed saturated a 100/8 | 0..0"
    lines = told(hold(30, A, grace=1), drive(a={0: 5, 1: math.nan, 1.2: 3, 2.5: 5}))
    assert lines[2] == "2 missed low a 3/4 | 0..0"


def test_grace_is_for_each_signal():
    """Rule 21: `a` is outside from 1 to 1.8 s, `b` from 1.5 to 2.3 s; neither longer than a second."""
    samples = drive(a={0: 5, 1: 9, 1.8: 5, 3: 5}, b={0: 1, 1.5: -1, 2.3: 1, 3: 1})
    lines = told(hold(30, A, band("b", 0), grace=1), samples)
    assert lines[-1] == "3 missed drive_ended | 0..3"


def test_staleness_is_not_excused():
    """Rule 22: grace of 9 s does not help a signal that is not seen for 5 s; its last good sample was at 1 s."""
    lines = told(hold(900, A, grace=9), drive(a={0: 5, 1: 5, 2: 9, 7.5: 5}))
    assert lines[2] == "7 missed stale a -/5 | 0..1"


def test_max_excursions_caps_their_number():
    """Rule 23: two are allowed; the first bad sample of the third ends the attempt."""
    lines = told(hold(99, A, grace=1, max_excursions=2), drive(a=row(5, 9, 5, 9, 5, 9)))
    assert lines[-1] == "5 missed excursions a 3/2 | 0..4"


def test_the_cap_counts_until_securing_only():
    """Rule 23: a secured window may leave its band as often as grace covers."""
    lines = told(hold(20, A, grace=1, max_excursions=0), drive(a={**run(0, 20, 5), 21: 9, 22: 5, 23: 9, 24: 5}))
    assert lines[-1] == "24 secured | 0..24"


def test_excursions_fill_at_most_a_tenth_of_the_hold():
    """Rule 24: hold 20 s, so 2 s; 1 s from 1 to 2, 0.8 s from 3 to 3.8, and 0.2 s after 5 s it is used up."""
    samples = drive(a={0: 5, 1: 9, 2: 5, 3: 9, 3.8: 5, 5: 9, 5.5: 5})
    assert "5.2 missed excursions a 2/2 | 0..3.8" in told(hold(20, A, grace=1), samples)


def test_a_good_sample_exactly_when_the_tenth_is_used_up_is_in_time():
    """Rules 24 and 39: the deadline at an instant's time comes after that instant."""
    samples = drive(a={0: 5, 1: 9, 2: 5, 3: 9, 4: 5, 5: 5})
    assert told(hold(20, A, grace=1), samples)[-1] == "5 missed drive_ended | 0..5"


def test_the_tenth_counts_time_and_not_signals():
    """Rule 24: two signals outside at once fill the time once: 1 s of 1.5 s is used, and half a second is left."""
    samples = drive(a={0: 5, 1: 9, 2: 5, 3: 9, 3.5: 5, 4: 5}, b={0: 1, 1: -1, 2: 1, 3: 1, 4: 1})
    assert told(hold(15, A, band("b", 0), grace=1), samples)[-1] == "4 missed drive_ended | 0..4"


def test_the_tenth_counts_overlapping_excursions_once():
    """Rule 24: 1.3 s from 1 to 2.3 s, when `a` and then `b` was outside; of 2 s 0.7 are left, and used up at 3.7 s."""
    samples = drive(a={0: 5, 1: 9, 1.8: 5, 3: 9, 3.9: 5}, b={0: 1, 1.5: -1, 2.3: 1, 4: 1})
    lines = told(hold(20, A, band("b", 0), grace=1), samples)
    assert "3.7 missed excursions a 2/2 | 0..1.8" in lines


def test_after_securing_the_tenth_is_not_asked():
    """Rule 24: a hold of 4 s, secured; then 0.5 s outside, more than a tenth, is covered by grace."""
    samples = drive(a={**run(0, 4, 5), 5: 9, 5.5: 5, 6: 5})
    assert told(hold(4, A, grace=1), samples)[-1] == "6 secured | 0..6"


def test_an_open_excursion_shortens_the_window():
    """Rule 19: a gap ends the attempt at 3.5 s; `a` is outside since 2.5 s and was last good at 1 s."""
    samples = drive(a={0: 5, 1: 5, 2.5: 9}, c={0: 1, 1.5: 1}, end=4)
    assert told(hold(60, A, grace=3, record=(asked("c", 1, gap=2),)), samples)[2] == "3.5 sparse gap c -/2 | 0..1"


def test_the_drives_end_counts_open_excursions():
    """Rules 19 and 42: the drive ends at 3 s with `a` outside; the window ends where `a` was last good."""
    samples = drive(a={0: 5, 1: 5, 2: 9}, b={0: 1, 3: 1})
    assert told(hold(60, A, band("b", 0), grace=3), samples)[2] == "3 missed drive_ended | 0..1"
