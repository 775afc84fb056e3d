"""Rules 25 to 29: sweeps. Mostly `n` from 2000 to 4000, a sample a second unless said otherwise."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from coach.core.spec import Facts
from tests.core.rulebook import attempts_of, band, drive, hold, limit, mark, row, run, sweep, told

UP = sweep(2000, 4000, dip=100)


def one(capture, samples, **more):
    (attempt,) = attempts_of(capture, samples, **more)
    return attempt


def test_a_sweep_begins_when_it_crosses_and_is_secured_when_it_arrives():
    """Rules 26 to 29: begun at 1 s, arrived at 3 s; a secured sweep ends at once."""
    assert told(UP, drive(n=row(1800, 2200, 3000, 4000, 4500))) == ["1 began", "3 secured", "3 secured | 1..3"]


def test_a_completed_sweep_has_no_reason_and_says_what_it_covers():
    """Rule 29."""
    attempt = one(UP, drive(n=row(1800, 2200, 3000, 4000)))
    assert attempt.reason is None
    assert attempt.covers == (2200, 4000)
    assert attempt.progress == 1


def test_crossings_are_interpolated():
    """Rules 26 and 28: from 1800 to 2200 it is at 2000 after half a second; from 3600 to 4400 at 4000 after half."""
    attempt = one(UP, drive(n=row(1800, 2200, 3600, 4400)))
    assert (attempt.from_us, attempt.to_us) == (500_000, 2_500_000)


def test_a_falling_sweep_goes_down():
    """Rule 25: the near side is above `from`."""
    attempt = one(sweep(4000, 2000, dip=100), drive(n=row(4400, 3600, 2000)))
    assert (attempt.outcome, attempt.start_us, attempt.from_us) == ("secured", 1_000_000, 500_000)


def test_a_sample_exactly_at_from_is_past_it():
    """Rules 25 and 26: the near side is before `from`; `from` itself is crossed."""
    assert told(UP, drive(n=row(1999, 2000)))[0] == "1 began"


def test_a_sweep_that_is_already_past_does_not_begin():
    """Rules 26 and 27: it must have been on the near side."""
    assert told(UP, drive(n=row(2000, 2100, 2200))) == []


def test_arming_needs_every_condition():
    """Rule 26: `a` is not met on the near side, so at 2200 the sweep was not armed, and it is too late to begin."""
    samples = drive(n=row(1800, 2300, 3000), a=row(0, 5, 5))
    assert told(sweep(2000, 4000, band("a", 4), dip=100), samples) == []


def test_it_may_begin_late_within_400_ms_and_a_tenth():
    """Rule 27: crossed at 1.0 s (1800 to 2200 from 0.9 to 1.1), `a` met at 1.4 s with `n` 200 past: just in time."""
    samples = drive(n={0: 1800, 0.9: 1800, 1.1: 2200}, a={0: 0, 1.4: 5, 2: 5})
    assert told(sweep(2000, 4000, band("a", 4), dip=100), samples)[0] == "1.4 began"


def test_a_late_beginning_has_no_crossing():
    """Rule 27: the window says from what value on it covers."""
    samples = drive(n={0: 1800, 0.9: 1800, 1.1: 2200, 2: 4000}, a={0: 0, 1.4: 5, 2: 5})
    attempt = one(sweep(2000, 4000, band("a", 4), dip=100), samples)
    assert (attempt.outcome, attempt.from_us, attempt.covers) == ("secured", None, (2200, 4000))


def test_later_than_400_ms_is_too_late():
    """Rule 27: `a` is met one microsecond after 0.4 s from the crossing."""
    samples = drive(n={0: 1800, 0.9: 1800, 1.1: 2200}, a={0: 0, 1.400001: 5, 2: 5})
    assert told(sweep(2000, 4000, band("a", 4), dip=100), samples) == []


def test_further_than_a_tenth_is_too_far():
    """Rule 27: 201 past `from` is more than a tenth of 2000."""
    samples = drive(n={0: 1800, 0.9: 1800, 1.1: 2201}, a={0: 0, 1.2: 5, 2: 5})
    assert told(sweep(2000, 4000, band("a", 4), dip=100), samples) == []


def test_late_says_how_far_beyond():
    """Rule 27: with `late` of 500, two seconds after the crossing at 2500 is in time, and 2501 is not."""
    for value, begins in ((2500, True), (2501, False)):
        samples = drive(n=row(1800, value, value, value), a=row(0, 0, 0, 5))
        assert bool(told(sweep(2000, 4000, band("a", 4), dip=100, late=500), samples)) is begins


def test_a_spike_does_not_cross():
    """Rule 25: 400 in 0.1 s is faster than 3000 a second."""
    capture = sweep(2000, 4000, dip=100, fastest=3000)
    assert told(capture, drive(n={0: 1800, 0.1: 2200, 0.2: 1820, 0.3: 1830})) == []


def test_a_rise_of_exactly_the_fastest_is_plausible():
    """Rule 25: 300 in 0.1 s is as fast as may be."""
    assert told(sweep(2000, 4000, dip=100, fastest=3000), drive(n={0: 1800, 0.1: 2100}))[0] == "0.1 began"


def test_a_spike_reaches_nothing_and_falls_back_from_nothing():
    """Rules 25 and 28: 4500 is a spike; 2300 after it is not 2200 back."""
    capture = sweep(2000, 4000, dip=100, fastest=1000)
    lines = told(capture, drive(n={0: 1900, 0.2: 2100, 0.3: 4500, 0.4: 2300, 0.5: 2400}))
    assert lines == ["0.2 began", "0.5 missed drive_ended | 0.2..0.5"]


def test_going_back_to_the_near_side_is_withdrawn():
    """Rule 28: 2100 is less than a tenth past; the attempt does not count and its number is free again."""
    lines = told(UP, drive(n=row(1800, 2100, 1900, 2100)))
    assert lines[:3] == ["1 began", "2 withdrawn", "3 began"]
    assert [a.number for a in attempts_of(UP, drive(n=row(1800, 2100, 1900, 2100)))] == [0]


def test_a_sweep_that_came_far_and_falls_back_is_missed():
    """Rule 28: 2500 is more than a tenth; falling to 1900 is a dip and not a withdrawal."""
    assert told(UP, drive(n=row(1800, 2500, 1900)))[1] == "2 missed dip n 1900/2400 | 1..1"


def test_a_tenth_exactly_is_not_further_than_a_tenth():
    """Rule 28: from 2200 back to the near side is withdrawn."""
    assert told(UP, drive(n=row(1800, 2200, 1900)))[1] == "2 withdrawn"


def test_it_may_go_back_by_dip():
    """Rule 28: 100 back is allowed, 101 is not."""
    assert told(UP, drive(n=row(1800, 2500, 2400, 4000)))[1] == "3 secured"
    assert told(UP, drive(n=row(1800, 2500, 2399)))[1] == "2 missed dip n 2399/2400 | 1..1"


def test_dip_counts_from_the_furthest_value():
    """Rule 28: two steps of 60 back from 2500 are 120."""
    assert told(UP, drive(n=row(1800, 2500, 2440, 2380)))[1] == "3 missed dip n 2380/2400 | 1..2"


def test_the_end_counts_only_with_every_condition_met():
    """Rule 28: 4000 is reached at 2 s in an excursion of `a`, and again at 3 s when `a` is back."""
    samples = drive(n={0: 1800, 1: 2200, 20: 4000, 21: 4100}, a={0: 5, 1: 5, 20: 9, 20.5: 5, 21: 5})
    lines = told(sweep(2000, 4000, band("a", 4, 8), dip=100, grace=1, stale=60), samples)
    assert lines[1:4] == ["20 outside a high 9", "20.5 back a high 9 since 20", "21 secured"]


def test_the_furthest_value_counts_only_with_every_condition_met():
    """Rule 28: 3000 was reached in an excursion; going back to 2300 afterwards is no dip from it."""
    samples = drive(n=row(1800, 2300, 3000, 2300), a=row(5, 5, 9, 5))
    lines = told(sweep(2000, 4000, band("a", 4, 8), dip=100, grace=1), samples)
    assert lines[-1] == "3 missed drive_ended | 1..3"


def test_arriving_past_the_end_already_is_arriving_now():
    """Rule 28: it begins at 4200 in one step; the crossing of 4000 cannot be told and is set to the next sample."""
    attempt = one(UP, drive(n=row(1800, 4200, 4250)))
    assert (attempt.outcome, attempt.secured_us, attempt.to_us) == ("secured", 2_000_000, 2_000_000)


def test_the_swept_signal_must_be_readable():
    """Rule 28: without grace an unreadable sample ends the attempt as any condition does."""
    assert told(UP, drive(n=row(1800, 2500, math.nan)))[1] == "2 missed unreadable n -/- | 1..1"


def test_grace_covers_an_unreadable_swept_signal():
    """Rules 21, 24 and 28: half a second in fourteen is less than a tenth."""
    samples = drive(n={**run(0, 4, 1800), 5: 2200, 10: 3000, 10.1: math.nan, 10.6: 3100, 15: 3500, 19: 4000})
    lines = told(sweep(2000, 4000, dip=100, grace=1), samples)
    assert lines[1:4] == ["10.1 outside n unreadable -", "10.6 back n unreadable - since 10.1", "19 secured"]


def test_excursions_fill_at_most_a_tenth_of_the_time_to_securing():
    """Rule 24: one second of four is more than a tenth; the sweep is missed where it would be secured."""
    samples = drive(n=row(1800, 2200, 3000, 3500, 3800, 4000), a=row(5, 5, 9, 5, 5, 5))
    lines = told(sweep(2000, 4000, band("a", 4, 8), dip=100, grace=1), samples)
    assert lines[-1] == "5 missed excursions a 1/0.4 | 1..5"


def test_a_tenth_of_the_time_to_securing_may_be_filled():
    """Rule 24: one second of ten is not more than a tenth."""
    values = [1800, 2200, *[2200 + 100 * i for i in range(1, 10)], 4000]
    samples = drive(n=row(*values), a=row(5, 5, 9, *[5] * 9))
    assert told(sweep(2000, 4000, band("a", 4, 8), dip=100, grace=1), samples)[3] == "11 secured"


def test_where_an_attempt_ended_the_sweep_is_not_armed():
    """Rule 26: it falls back to 1900 at 2 s, which ends the attempt; crossing from there begins nothing."""
    assert told(UP, drive(n=row(1800, 2500, 1900, 2600))) == ["1 began", "2 missed dip n 1900/2400 | 1..1"]


def test_a_saturated_swept_signal_ends_the_attempt():
    """Rule 28: at the end of the encoding it says no longer how far it is."""
    facts = {"n": Facts(high=9000, ceiling=3000)}
    assert told(UP, drive(n=row(1800, 2500, 3000)), facts=facts)[1] == "2 missed saturated n 3000/- | 1..1"


def test_a_stale_swept_signal_ends_the_attempt():
    """Rules 22 and 28."""
    assert told(UP, drive(n={0: 1800, 1: 2500, 7: 3000}))[1] == "6 missed stale n -/5 | 1..1"


def test_within_bounds_the_time():
    """Rule 29: begun at 1 s with 3 s to go; not there at 4 s."""
    assert told(sweep(2000, 4000, within=3), drive(n=row(1800, 2200, 2400, 2600, 2800, 3000)))[1] == (
        "4 missed slow n 3/3 | 1..4"
    )


def test_reaching_it_exactly_within_is_in_time():
    """Rule 29."""
    assert told(sweep(2000, 4000, within=3), drive(n=row(1800, 2200, 2400, 2600, 4000)))[1] == "4 secured"


def test_then_asks_for_the_conditions_that_much_longer():
    """Rule 29: arrived at 2 s; `a` is seen again at 3.5 s, and 1 s later than the arrival it is the first."""
    samples = drive(n=row(1800, 3000, 4000, 4000, 4000), a={0: 5, 2: 5, 2.5: 5, 3.5: 5, 4: 5})
    assert told(sweep(2000, 4000, band("a", 4), then=1), samples) == ["1 began", "3.5 secured", "3.5 secured | 1..3.5"]


def test_a_break_while_then_runs_is_a_miss():
    """Rule 29: it had arrived, and the crossing is kept."""
    samples = drive(n=row(1800, 3000, 4000, 4000), a=row(5, 5, 5, 0))
    attempt = one(sweep(2000, 4000, band("a", 4), then=2), samples)
    assert (attempt.outcome, attempt.to_us) == ("missed", 2_000_000)
    assert attempt.reason is not None
    assert attempt.reason.code == "low"


def test_after_arriving_it_may_fall_back():
    """Rules 28 and 29: while `then` runs, the swept signal is not looked at."""
    samples = drive(n=row(1800, 3000, 4000, 1000, 1000, 1000), a=run(0, 5, 5))
    assert told(sweep(2000, 4000, band("a", 4), then=2, within=3), samples)[1] == "4 secured"


def test_a_limit_stops_a_sweep():
    """Rules 19 and 33: the window ends at the last sample inside."""
    samples = drive(n=row(1800, 2200, 3000, 4000), c=row(5, 5, 6, 7))
    assert told(sweep(2000, 4000, limits=(limit("c", 6),)), samples)[1:] == [
        "3 alarm c 7",
        "3 stopped limit c 7/6 | 1..2",
    ]


def test_a_sweep_may_follow_at_the_next_crossing():
    """Rules 13 and 26: secured at 2 s, back on the near side at 3 s, and again."""
    lines = told(UP, drive(n=row(1800, 3000, 4000, 1800, 3000, 4000)))
    assert lines[3:] == ["4 began", "5 secured", "5 secured | 4..5"]


def test_a_sweep_on_closed_course_is_armed_by_a_person_too():
    """Rules 14 and 26: the word comes after the crossing, so nothing begins."""
    samples = drive([mark(1.5, "arm")], n=row(1800, 3000, 3500, 4000))
    assert told(sweep(2000, 4000, arming=True), samples) == []


@pytest.mark.parametrize("between", [{}, {"b": {0.5: 1}}])
def test_other_signals_do_not_disturb(between):
    """Rules 4 and 26: samples of signals that the capture does not ask for are no instants of it."""
    assert told(UP, drive(n=row(1800, 2200, 4000), **between))[0] == "1 began"


def test_needs_orders_half_pedal_before_full():
    """Rule 14: the full sweep waits for the hold to be secured before its instant."""
    first = hold(1, band("a", 4), id="half")
    full = sweep(2000, 4000, id="full", needs=("half",))
    samples = drive(a=run(0, 6, 5), n=row(1800, 3000, 1800, 3000, 4000, 4000, 4000))
    assert "1 half secured" in told([first, full], samples)
    assert next(text for text in told([first, full], samples) if "full" in text) == "3 full began"


def test_the_swept_signal_may_have_a_band_too():
    """Rules 22 and 28: `n` must stay under 5000 while it is swept; it goes stale as one condition."""
    samples = drive(n={0: 1800, 1: 3000}, end=9)
    assert told(sweep(2000, 4000, band("n", None, 5000)), samples)[1] == "6 missed stale n -/5 | 1..1"


def test_where_an_input_is_stale_a_derived_signal_has_no_sample():
    """Rules 4, 7 and 26: boost has no sample after 1 s, when `b` is stale here; so 1 s is the instant before 1.7 s."""
    capture = sweep(2, 7, dip=1, signal="boost")
    capture = replace(capture, stale_us={**capture.stale_us, "b": 1_000_000})
    samples = drive(a=run(0, 1.6, 6, 0.2), b={0: 6, 1.7: 1})
    (attempt,) = attempts_of(capture, samples)
    assert (attempt.start_us, attempt.from_us) == (1_700_000, 1_280_000)
