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
    mark,
    row,
    run,
    sweep,
    told,
    us,
)

IN = band("a", 4, 8)

# ---- derived signals ------------------------------------------------------------------------------------------------


def test_the_reason_names_how_long_the_input_holds_that_went_stale():
    """Rules 7 and 34: `b` may be unseen for 3 s, `a` for 1 s; first `b` runs out, at the drive's end `a` would."""
    watched = Limit("boost", high=50, unseen_us={"a": us(1), "b": us(3)})
    a = {**run(0, 8, 10, 0.5), 14: 10}
    samples = drive(a=a, b={0: 4, 7: 4, 7.5: 4, 8: 4, 14: 4}, c=run(0, 14, 5))
    lines = told(hold(20, band("c", 4, 8), limits=(watched,)), samples)
    assert "3 missed limit_unseen boost -/3 | 0..3" in lines


def test_an_input_may_be_too_old_to_derive_from_though_it_still_holds():
    """Rule 7: at 2 s `b` is older than the 1 s that inputs may be: no sample, and what was said at 0 holds its 5 s."""
    samples = drive(a={0: 10, 2: 20, 6: 10}, b={0: 4})
    assert told(hold(9, band("boost", 5, 7)), samples, fresh=1) == ["0 began", "5 missed stale boost -/5 | 0..0"]


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


# ---- worst samples and passings -------------------------------------------------------------------------------------


def test_a_passing_goes_on_while_the_limit_is_not_seen():
    """Rule 32: beyond at 1 and 8 s, unseen between, inside at 9 s: one passing, two samples, the worst 99."""
    capture = hold(20, IN, limits=(limit("b", 95, scope="drive"),))
    lines = told(capture, drive(a={0: 9}, b={0: 90, 1: 99, 8: 98, 9: 90}))
    assert lines == ["1 alarm b 99", "9 alarm over b x2 peak 99 since 1"]


def test_a_row_inside_goes_on_while_the_limit_is_not_seen():
    """Rule 32: inside at 1 and 7 s, unseen between; beyond at 8 s, more than 3 s after the first of them: an alarm."""
    capture = hold(20, IN, limits=(limit("b", 95, scope="drive"),))
    lines = told(capture, drive(a={0: 9}, b={0: 99, 1: 90, 7: 90, 8: 99}))
    assert [x for x in lines if "over" not in x] == ["0 alarm b 99", "8 alarm b 99"]


def test_a_stop_after_a_while_names_the_worst_of_its_row():
    """Rule 33: beyond at 1, 2 and 2.5 s, two seconds after the first of them it ends, with 99."""
    capture = hold(60, IN, grace=3, limits=(limit("b", 95, lasting=2),))
    lines = told(capture, drive(a={0: 5, 2: 9, 2.5: 5, 4: 5}, b={0: 90, 1: 97, 2: 99, 2.5: 96, 4: 90}))
    assert "3 stopped limit b 99/95 | 0..0" in lines


def test_of_equally_bad_samples_the_first_is_named():
    """Rule 21: both are at the end of the encoding, which says "at least" of either."""
    capture = hold(60, IN, grace=4)
    lines = told(capture, drive(a=row(5, 10, 11, 5)), facts={"a": Facts(ceiling=10)})
    assert "3 back a saturated 10 since 1" in lines


def test_the_tenth_is_rounded_down_to_whole_microseconds():
    """Rule 24: of 9.000009 s it is 0.9 s, and the reason says so."""
    (attempt,) = attempts_of(hold(9.000009, IN, grace=4), drive(a=row(5, 9, 9)))
    assert (attempt.reason.code, attempt.reason.t_us, attempt.reason.bound) == ("excursions", us(1.9), 0.9)
    assert isinstance(attempt.reason.t_us, int)


def test_the_peak_of_a_wander_is_its_worst():
    """Rules 10 and 21: 2 from the start at 1 s, then 1.5: the excursion's peak is the first; of a later one, 2.5."""
    capture = hold(60, band("a", 2, 12, 1), grace=4)
    assert "3 back a wander 7 since 1" in told(capture, drive(a=row(5, 7, 6.5, 5.5)))
    assert "3 back a wander 7.5 since 1" in told(capture, drive(a=row(5, 7, 7.5, 5.5)))


# ---- what a sample says ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [0, 20])
def test_the_ends_of_the_plausible_range_are_plausible(value):
    """Rule 5: readable at the very ends."""
    facts = {"a": Facts(low=0, high=20)}
    assert told(hold(9, band("a", -5, 25)), drive(a=row(value, value)), facts=facts)[0] == "0 began"
    past = value + (1 if value else -1)
    assert told(hold(9, band("a", -5, 25)), drive(a=row(past, past)), facts=facts) == []


def test_saturation_is_seen_also_where_other_samples_cannot_be_read():
    """Rules 5 and 30: one sample is no number; one at the end of the encoding passes a limit beyond that end."""
    capture = hold(9, IN, limits=(limit("b", 50, scope="drive"),))
    lines = told(capture, drive(a={0: 9}, b=row(5, math.nan, 10)), facts={"b": Facts(ceiling=10)})
    assert lines == ["2 alarm b 10"]


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


def test_a_withdrawn_sweep_leaves_nothing_to_be_woken_for():
    """Rule 28: back on the near side, no attempt runs."""
    judge = Judge(JudgePlan((sweep(2000, 4000, stale=9),)))
    for t, n in enumerate((1800.0, 2100.0, 1900.0)):
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


def test_all_pieces_count():
    """Rules 44 and 45: two seconds, and two, and what is missing of five in the third; the second piece has a cell."""
    a = row(5, 5, 5, 9, 5, 5, 5, 9, 5, 5, 5)
    assert [x for x in told(collect(5, 1, IN), drive(a=a)) if "coll" in x] == ["9 collected 5"]
    celled = collect(5, 1, IN, axes=[axis("b", 0, 5, 10)], dwell=3, wanted=[(1,)])
    lines = told(celled, drive(a=a, b=row(1, 1, 1, 1, 7, 7, 7, 7, 7, 7, 7)))
    assert [x for x in lines if "coll" in x] == ["9 collected 5"]


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


def test_a_capture_whose_other_is_never_secured_never_begins():
    """Rule 14: one secured of two asked for is not enough."""
    lines = told([hold(1, IN, times=2), hold(1, IN, id="y", needs=("x",))], drive(a=row(5, 5, 5, 5)))
    assert [x for x in lines if " y " in x] == []


def test_going_on_without_a_pause_says_nothing():
    """Rule 14: it opens no gate that is shut and ends nothing that runs."""
    words = [mark(1, "resume")]
    assert told(hold(2, IN), drive(words, a=run(0, 3, 5)))[1] == "2 secured"
    assert told(hold(2, IN, arming=True), drive(words, a=run(0, 3, 5))) == []


def test_paused_twice_is_paused_once():
    """Rule 14: going on once opens the gate."""
    words = [mark(1, "pause"), mark(2, "pause"), mark(3, "resume")]
    lines = told(hold(2, IN), drive(words, a=run(0, 4, 5)))
    assert lines[:3] == ["0 began", "1 missed paused | 0..0", "3 began"]


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
