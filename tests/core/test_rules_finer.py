"""Finer points of the rules: each example tells a judge that is right from one with a single small mistake."""

from __future__ import annotations

import math

import pytest

from coach.core import machine
from coach.core.judge import Judge
from coach.core.spec import Facts, JudgePlan, Limit
from tests.core.rulebook import (
    asked,
    attempts_of,
    axis,
    band,
    collect,
    drive,
    events_of,
    hold,
    limit,
    row,
    run,
    sweep,
    told,
    us,
)

IN = band("a", 4, 8)

# ---- sweeps ---------------------------------------------------------------------------------------------------------


def test_a_sample_at_from_is_past_it_also_for_the_next_one():
    """Rule 26: at 2000 `a` was not met; from 2000 to 2500 nothing is crossed, although all was met in between."""
    samples = drive(n={0: 1800, 1: 2000, 3: 2500, 4: 2600}, a={0: 5, 1: 9, 2: 5})
    assert told(sweep(2000, 4000, IN), samples) == []


def test_back_at_from_itself_is_no_withdrawal():
    """Rules 25 and 28: `from` is not on the near side, so 150 back to it, with a dip of 100, is a miss."""
    assert told(sweep(2000, 4000, dip=100), drive(n=row(1800, 2150, 2000)))[1] == "2 missed dip n 2000/2050 | 1..1"
    assert told(sweep(2000, 4000, dip=100), drive(n=row(1800, 2150, 1999)))[1] == "2 withdrawn"


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


def test_after_a_stop_arming_waits_until_the_limit_has_been_inside():
    """Rules 14 and 26: at 3 s it was not yet, although it need not be inside to begin; at 4 s it is, and too late."""
    capture = sweep(2000, 4000, limits=(limit("b", 95, after=1),))
    n = {0: 1800, 1: 2500, 2.5: 2600, 3: 1800, 4: 2500, 5: 2600}
    lines = told(capture, drive(n=n, b={0: 90, 2: 90, 2.5: 99, 3: 99, 4: 90}))
    assert [x for x in lines if "began" in x] == ["1 began"]
    lines = told(capture, drive(n=n, b={0: 90, 2: 90, 2.5: 99, 3: 90, 4: 90}))
    assert [x for x in lines if "began" in x] == ["1 began", "4 began"]


# ---- derived signals ------------------------------------------------------------------------------------------------


def test_the_reason_names_how_long_the_input_holds_that_went_stale():
    """Rules 7 and 34: `b` may be unseen for 3 s, `a` for 1 s; first `b` runs out, at the drive's end `a` would."""
    watched = Limit("boost", high=50, unseen_us={"a": us(1), "b": us(3)})
    samples = drive(a=run(0, 8, 10, 0.5), b={0: 4, 7: 4, 7.5: 4, 8: 4}, c=run(0, 8, 5))
    lines = told(hold(20, band("c", 4, 8), limits=(watched,)), samples)
    assert "3 missed limit_unseen boost -/3 | 0..3" in lines


def test_a_condition_names_how_long_the_input_holds_that_went_stale():
    """Rules 6 and 7: the same for a keep condition: `b` holds 5 s, `a` 1 s."""
    capture = hold(20, band("boost", 4, 8), stale=5)
    capture.stale_us["a"] = us(1)
    samples = drive(a=run(0, 9, 10, 0.5), b={0: 4, 8: 4, 8.5: 4, 9: 4})
    assert "5 missed stale boost -/5 | 0..5" in told(capture, samples)


def test_what_is_neither_readable_nor_fresh_is_not_seen():
    """Rules 7 and 30: of a limit on `boost`, one sample cannot be read, another rests on a stale input: none counts."""
    watched = Limit("boost", high=50, unseen_us={"a": us(2), "b": us(2)})
    samples = drive(a={0: 10, 1: math.nan, 2: 10, 4.5: 99, 5: 10}, b={0: 4, 1: 4, 2: 4, 5: 4}, c=run(0, 6, 5))
    lines = told(hold(20, band("c", 4, 8), limits=(watched,)), samples)
    assert lines[:2] == ["0 began", "4 alarm boost unseen"]
    assert not any("alarm boost 9" in x for x in lines)


# ---- the warning ahead ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("b", "warned"),
    [
        ({0: 79, 0.15: 82, 0.3: 85, 0.4: 87}, True),
        ({0: 79, 0.15: 82, 0.3: 85, 0.399999: 87}, False),
        ({0: 79, 0.2: 83, 0.4: 87}, False),
        ({0: 40, 0.15: 60, 0.3: 80, 0.4: 85}, True),
        ({0: 40, 0.15: 60, 0.3: 80, 0.4: 84.9}, False),
        ({0: 86, 0.1: 88, 0.2: 90, 0.3: 92, 0.4: 92, 0.5: 92}, True),
    ],
    ids=["0.4 s, four samples", "0.399999 s", "three samples", "85 %", "less than 85 %", "still steep enough"],
)
def test_a_warning_needs_time_samples_and_nearness(b, warned):
    """Rule 36: each at its very edge, with a slope that reaches 100 within 0.7 s."""
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    assert any("ahead b" in x for x in told(capture, drive(a={0: 5, 0.1: 5}, b=b))) is warned


def test_a_warning_looks_at_the_shortest_row_only():
    """Rule 36: the steep rise lies before the row from 0.2 to 0.6 s."""
    b = {0: 60, 0.1: 70, 0.2: 86, 0.3: 88, 0.4: 88, 0.5: 88, 0.6: 88, 0.7: 88}
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    assert [x for x in told(capture, drive(a={0: 5}, b=b)) if "ahead" in x] == ["0.4 ahead b", "0.6 ahead over b"]


def test_a_slope_that_just_reaches_the_limit_is_one():
    """Rule 36: 20 a second for 0.7 s from 86 is exactly 100; over 0.699999 s it is not."""
    b = {0: 78, 0.1: 80, 0.2: 82, 0.3: 84, 0.4: 86}
    for ahead_us, warned in ((700_001, True), (699_999, False)):
        capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),), warn_ahead_us=ahead_us)
        assert any("ahead b" in x for x in told(capture, drive(a={0: 5}, b=b))) is warned


# ---- deadlines ------------------------------------------------------------------------------------------------------


def waking(capture, values):
    """When the judge wants to be woken after one instant at 0."""
    judge = Judge(JudgePlan((capture,)))
    judge.feed(0, values)
    return judge.next_deadline()


def test_a_judge_says_when_it_must_be_woken():
    """Rule 41: at the first of what may fall due by itself; not at all while nothing runs."""
    seen = {"a": 5.0, "b": 1.0, "n": 2500.0}
    assert waking(hold(9, IN, stale=7), seen) == us(7)
    assert waking(hold(9, IN, stale=7, record=(asked("b", 1, gap=2), asked("n", 1, gap=3))), seen) == us(2)
    assert waking(hold(9, IN, stale=7, limits=(limit("b", 5, unseen=3),)), seen) == us(3)
    assert waking(hold(9, IN, stale=7, grace=1), {"a": 9.0}) is None
    assert waking(hold(9, IN, stale=7, needs=("y",)), seen) is None


def test_an_open_excursion_wakes_it_when_grace_or_the_tenth_is_used_up():
    """Rules 21 and 24: two seconds of grace, but a tenth of nine is less."""
    for grace, seconds in ((0.5, 1.5), (2, 1.9)):
        judge = Judge(JudgePlan((hold(9, IN, grace=grace),)))
        judge.feed(0, {"a": 5.0})
        judge.feed(us(1), {"a": 9.0})
        assert judge.next_deadline() == us(seconds)


def test_a_sweep_wakes_it_when_its_time_is_over():
    """Rule 29: four seconds from its beginning at 1 s."""
    judge = Judge(JudgePlan((sweep(2000, 4000, within=4, stale=9),)))
    judge.feed(0, {"n": 1800.0})
    judge.feed(us(1), {"n": 2100.0})
    assert judge.next_deadline() == us(5)


def test_a_sweep_that_has_arrived_and_needs_nothing_else_cannot_break():
    """Rules 28 and 29: without a `keep` signal only samples to come can do anything before `then` is over."""
    judge = Judge(JudgePlan((sweep(2000, 4000, then=4),)))
    for t, n in enumerate((1800.0, 2500.0, 4100.0)):
        judge.feed(us(t), {"n": n})
    assert judge.next_deadline() is None


# ---- pieces and cells -----------------------------------------------------------------------------------------------


def test_summing_up_early_leaves_out_what_the_window_may_still_lose(monkeypatch):
    """Rules 19, 44 and 46: `a` comes every 4 s, the cell changes each second; the window ends where `a` was."""
    monkeypatch.setattr(machine, "BACKLOG", 0)
    capture = collect(60, 2, IN, axes=[axis("b", 0, 5, 10)], dwell=60, wanted=[(1,)])
    samples = {"a": {0: 5, 4: 5, 8: 5, 12: 9, 13: 9}, "b": row(*[1, 7] * 7)}
    events_of(capture, drive(**samples))
    judge = Judge(JudgePlan((capture,)))
    for t, values in drive(**samples).instants():
        judge.feed(t, values)
    (view,) = judge.view().captures
    assert (view.collected_us, view.dwell_us) == (us(8), (us(4), us(4)))


@pytest.mark.parametrize("spoiler", ["limit", "record"])
def test_summing_up_early_waits_for_limits_and_records_too(monkeypatch, spoiler):
    """Rule 19: what broke the window vouches up to 8 s only, and cells after that do not count."""
    monkeypatch.setattr(machine, "BACKLOG", 0)
    more = {"limits": (limit("c", 50),)} if spoiler == "limit" else {"record": (asked("c", 0.25, gap=5),)}
    capture = collect(60, 2, IN, axes=[axis("b", 0, 5, 10)], dwell=60, wanted=[(1,)], **more)
    judge = Judge(JudgePlan((capture,)))
    c = {0: 1, 4: 1, 8: 1}
    for t, values in drive(a=run(0, 14, 5), b=row(*[1, 7] * 7, 1), c=c).instants():
        judge.feed(t, values)
    judge.advance(us(14))
    (view,) = judge.view().captures
    assert view.last.end_us == us(8)
    events_of(capture, drive(a=run(0, 14, 5), b=row(*[1, 7] * 7, 1), c=c))
    assert (view.collected_us, view.dwell_us) == (us(8), (us(4), us(4)))


def test_cells_alone_are_collected_without_any_condition(monkeypatch):
    """Rules 44 to 46: nothing has to hold; what is summed up early is everything up to now."""
    monkeypatch.setattr(machine, "BACKLOG", 0)
    capture = collect(6, 2, axes=[axis("b", 0, 5, 10)], dwell=2, wanted=[(0,), (1,)])
    samples = drive(b=row(1, 1, 7, 7, 1, 7, 1, 1))
    assert told(capture, samples)[:3] == ["0 began", "2 secured", "6 collected 6"]
    judge = Judge(JudgePlan((capture,)))
    for t, values in samples.instants():
        judge.feed(t, values)
    (view,) = judge.view().captures
    assert (view.collected_us, view.dwell_us) == (us(7), (us(4), us(3)))


# ---- captures that wait for each other ------------------------------------------------------------------------------


def test_a_capture_waits_until_the_other_is_secured_as_often_as_asked():
    """Rule 14: twice a second of `a`; only after the second one may `y` begin, at the next instant."""
    first = hold(1, IN, times=2)
    other = hold(1, IN, id="y", needs=("x",))
    lines = told([first, other], drive(a=row(5, 5, 9, 5, 5, 5, 5)))
    assert [x for x in lines if " y " in x] == ["5 y began", "6 y secured", "6 y secured | 5..6"]


def test_what_was_waited_for_stays_there():
    """Rule 14: `x` goes on to be missed and secured again; `y` has what it needs since 2 s."""
    other = hold(1, band("b", 4), id="y", needs=("x",))
    lines = told([hold(1, IN), other], drive(a=row(5, 5, 9, 5, 9, 5, 5), b=row(1, 1, 5, 1, 5, 5, 1)))
    assert [x for x in lines if " y " in x][:1] == ["2 y began"]
    assert "5 y secured" in lines


def test_facts_that_are_not_given_bound_nothing():
    """Rule 5: a signal without facts is readable at any number."""
    (attempt,) = attempts_of(hold(9, band("a", -1e9, 1e9)), drive(a=row(-1e6, 1e6)), facts={"b": Facts(low=0)})
    assert attempt.reason.code == "drive_ended"
