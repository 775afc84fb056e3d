"""What the judge shows of itself between events: each condition, each limit, and where the capture stands."""

from __future__ import annotations

import math

import pytest

from coach.core.events import Outcome
from coach.core.judge import Judge
from coach.core.spec import Capture, Facts, JudgePlan
from coach.core.view import CaptureView, ConditionView, LimitView
from tests.core.rulebook import BOOST, GEAR, asked, axis, band, collect, hold, limit, mark, sweep, us

FACTS = {"a": Facts(low=0, high=20, ceiling=10, floor=1), "n": Facts()}


def shown(
    capture: Capture, *instants: tuple[float, dict[str, float]], at: float | None = None, marks=()
) -> CaptureView:
    """The view after these instants, words first."""
    plan = JudgePlan((capture,), FACTS, (BOOST, GEAR), dict.fromkeys(("a", "b", "n"), us(5)))
    judge = Judge(plan)
    for m in marks:
        judge.mark(m)
    for t, values in instants:
        judge.feed(us(t), values)
    if at is not None:
        judge.advance(us(at))
    (view,) = judge.view(None if at is None else us(at)).captures
    return view


def condition(capture: Capture, *instants, **more) -> ConditionView:
    (found,) = shown(capture, *instants, **more).conditions
    return found


@pytest.mark.parametrize(
    ("value", "status", "readable"),
    [
        (5.0, "met", True),
        (3.0, "low", True),
        (9.0, "high", True),
        (10.0, "saturated", True),
        (1.0, "saturated", True),
        (21.0, "out_of_range", False),
        (math.nan, "unreadable", False),
    ],
)
def test_a_condition_says_how_its_last_sample_stands(value, status, readable):
    """Its bounds, the last value where there is one that can be read, its stamp and what is wrong with it."""
    expected = ConditionView("keep", "a", 4, 8, 2, value if readable else None, us(3), status)
    assert condition(hold(9, band("a", 4, 8, 2)), (3, {"a": value})) == expected


def test_without_bounds_a_saturated_value_is_saturated_all_the_same():
    """Rule 9: it is not met, whatever the band."""
    assert condition(hold(9, band("a")), (3, {"a": 10.0})).status == "saturated"


def test_a_condition_that_never_had_a_sample_is_missing():
    """No value, no stamp."""
    expected = ConditionView("keep", "a", 4, 8, None, None, None, "missing")
    assert condition(hold(9, band("a", 4, 8)), (0, {"b": 1.0})) == expected


@pytest.mark.parametrize(("at", "status"), [(5, "met"), (5.000001, "stale")])
def test_a_condition_goes_stale_after_its_time(at, status):
    """Rule 6: exactly then it still holds; the last value stays in sight."""
    seen = condition(hold(9, band("a", 4, 8)), (0, {"a": 5.0}), at=at)
    assert (seen.status, seen.value, seen.t_us) == (status, 5.0, 0)


def test_a_derived_value_that_was_taken_back_is_unknown():
    """Rule 7: `gear` fitted nothing since 1 s, so it is unknown from 1.4 s on, and not stale."""
    capture = hold(9, band("gear", 4, 8))
    assert condition(capture, (0, {"n": 4.0}), (1, {"n": 5.0}), at=1.4).status == "met"
    assert condition(capture, (0, {"n": 4.0}), (1, {"n": 5.0}), at=1.41).status == "unknown"


def test_start_conditions_are_told_from_those_to_keep():
    """Each in its role, start first."""
    view = shown(hold(9, band("a", 4, 8), start=(band("b", 1),)), (0, {"a": 5.0, "b": 0.0}))
    assert [(c.role, c.signal, c.status) for c in view.conditions] == [("start", "b", "low"), ("keep", "a", "met")]


@pytest.mark.parametrize("ends", [(2000, 4000), (4000, 2000)])
def test_the_swept_signal_is_shown_between_its_two_ends(ends):
    """The smaller end first, whichever way it goes."""
    seen = condition(sweep(*ends), (0, {"n": 3000.0}))
    assert (seen.role, seen.low, seen.high, seen.status) == ("sweep", 2000, 4000, "met")


def test_an_open_excursion_is_dated():
    """Since when it is outside; None again once it is back."""
    capture = hold(60, band("a", 4, 8), grace=3)
    outside = [(0, {"a": 5.0}), (1, {"a": 9.0}), (2, {"a": 9.5})]
    assert condition(capture, *outside).outside_us == us(1)
    assert condition(capture, *outside, (3, {"a": 6.0})).outside_us is None


# ---- limits ---------------------------------------------------------------------------------------------------------


def seen_limit(capture: Capture, *instants, **more) -> LimitView:
    (found,) = shown(capture, *instants, **more).limits
    return found


@pytest.mark.parametrize(("value", "status"), [(95.0, "inside"), (95.5, "beyond")])
def test_a_limit_says_on_which_side_its_value_is(value, status):
    """Its bound, which way it goes, the last value and its stamp."""
    capture = hold(9, band("a", 4, 8), limits=(limit("b", 95),))
    assert seen_limit(capture, (2, {"b": value})) == LimitView("b", 95, True, value, us(2), status, ahead=False)


def test_a_lower_limit_is_told_from_an_upper_one():
    """Oil pressure must never be below."""
    capture = hold(9, band("a", 4, 8), limits=(limit("b", low=2),))
    assert seen_limit(capture, (2, {"b": 1.0})) == LimitView("b", 2, False, 1.0, us(2), "beyond", ahead=False)


def test_a_limit_that_is_not_seen_says_so():
    """Never seen: no value. Seen too long ago: the last value, and unseen."""
    capture = hold(9, band("a", 4, 8), limits=(limit("b", 95),))
    assert seen_limit(capture, (2, {"a": 5.0})) == LimitView("b", 95, True, None, None, "unseen", ahead=False)
    late = seen_limit(capture, (2, {"b": 90.0}), at=7.000001)
    assert late == LimitView("b", 95, True, 90.0, us(2), "unseen", ahead=False)
    assert seen_limit(capture, (2, {"b": 90.0}), at=7).status == "inside"


def test_a_limit_that_comes_near_is_ahead():
    """Rule 36: ten a second from 90 on reaches 100 well within 0.7 s of 96."""
    capture = hold(9, band("a", 4, 8), limits=(limit("b", 100),))
    view = shown(capture, *[(i / 5, {"a": 5.0, "b": 88.0 + 2 * i}) for i in range(5)])
    assert (view.limits[0].status, view.limits[0].ahead) == ("inside", True)


# ---- captures -------------------------------------------------------------------------------------------------------


def test_nothing_runs_before_the_conditions_are_met():
    """Waiting, with nothing done and nothing that could be left."""
    view = shown(hold(4, band("a", 4, 8)), (0, {"a": 9.0}))
    assert (view.id, view.phase, view.gate, view.gate_us) == ("x", "waiting", None, None)
    assert (view.number, view.start_us, view.secured_us, view.furthest) == (None, None, None, None)
    assert (view.progress, view.left, view.secured_count, view.attempts) == (0, None, 0, 0)
    assert (view.last, view.best, view.missing) == (None, None, ())


def test_a_running_hold_says_what_is_done_and_left():
    """A quarter of four seconds; then secured and going on, with nothing left."""
    fives = [(t, {"a": 5.0}) for t in (2, 3, 4, 5, 6)]
    view = shown(hold(4, band("a", 4, 8)), *fives[:2])
    assert (view.phase, view.number, view.start_us, view.secured_us) == ("running", 0, us(2), None)
    assert (view.progress, view.left, view.furthest) == (0.25, us(3), None)
    view = shown(hold(4, band("a", 4, 8)), *fives, at=7)
    assert (view.phase, view.start_us, view.secured_us, view.secured_count) == ("held", us(2), us(6), 1)
    assert (view.progress, view.left) == (1, 0)


def test_attempts_that_ended_are_counted_and_the_last_and_the_best_are_kept():
    """Of those that were not secured the one that came furthest, the first of equals."""
    values = (5, 5, 9, 5, 5, 5, 9, 5, 5, 5, 9, 5, 9)
    view = shown(hold(4, band("a", 4, 8)), *[(t, {"a": float(v)}) for t, v in enumerate(values)])
    assert (view.phase, view.attempts, view.number) == ("waiting", 4, None)
    assert (view.last.number, view.best.number, view.best.progress) == (3, 1, 0.5)


def test_a_secured_attempt_is_the_last_but_never_the_best_of_the_others():
    """`best` is for near misses."""
    values = (5, 5, 5, 5, 5, 9)
    view = shown(hold(4, band("a", 4, 8)), *[(t, {"a": float(v)}) for t, v in enumerate(values)])
    assert (view.last.outcome, view.best, view.secured_count) == (Outcome.SECURED, None, 1)


@pytest.mark.parametrize(
    ("more", "marks", "gate"),
    [
        ({}, [mark(0, "pause")], "paused"),
        ({}, [mark(0, "skip")], "skipped"),
        ({"needs": ("other",)}, [], "needs"),
        ({"confirm": ("fan off",)}, [], "confirm"),
        ({"confirm": ("fan off",)}, [mark(0, "confirm", text="fan off")], None),
        ({"arming": True}, [], "arm"),
        ({"arming": True}, [mark(0, "arm")], None),
    ],
)
def test_a_shut_gate_closes_a_capture(more, marks, gate):
    """Rule 14: which gate it is; none of these opens by itself."""
    view = shown(hold(4, band("a", 4, 8), **more), (1, {"a": 9.0}), marks=marks)
    assert (view.gate, view.gate_us, view.phase) == (gate, None, "closed" if gate else "waiting")


def test_rest_says_when_it_is_over():
    """Rule 14: ten seconds from the ending of an attempt that was not small."""
    values = (5, 5, 5, 5, 9)
    rows = [(t, {"a": float(v)}) for t, v in enumerate(values)]
    view = shown(hold(9, band("a", 4, 8), rest=10), *rows)
    assert (view.gate, view.gate_us, view.phase) == ("rest", us(14), "closed")
    assert shown(hold(9, band("a", 4, 8), rest=10), *rows, at=14).gate is None


def test_after_a_stop_a_capture_may_wait_for_the_calibrator():
    """Rule 14: no attempt more in this drive."""
    capture = hold(9, band("a", 4, 8), limits=(limit("b", 95),), wait_after_limit=True)
    view = shown(capture, (0, {"a": 5.0, "b": 90.0}), (1, {"a": 5.0, "b": 99.0}), (2, {"a": 5.0, "b": 90.0}))
    assert (view.gate, view.phase, view.last.outcome) == ("limit", "closed", Outcome.STOPPED)


@pytest.mark.parametrize(("down", "at"), [(False, 1800.0), (True, 4200.0)])
def test_a_sweep_on_the_near_side_is_armed(down, at):
    """It only has to cross its start; once past it, it is not armed any more, nor while a condition is not met."""
    capture = sweep(4000, 2000, band("a", 4, 8)) if down else sweep(2000, 4000, band("a", 4, 8))
    assert shown(capture, (0, {"n": at, "a": 5.0})).phase == "armed"
    assert shown(capture, (0, {"n": 3000.0, "a": 5.0})).phase == "waiting"
    assert shown(capture, (0, {"n": capture.sweep.start, "a": 5.0})).phase == "waiting"
    assert shown(capture, (0, {"n": at, "a": 9.0})).phase == "waiting"


def test_a_shut_gate_keeps_a_sweep_from_being_armed():
    """Closed says more than armed."""
    assert shown(sweep(2000, 4000), (1, {"n": 1800.0}), marks=[mark(0, "pause")]).phase == "closed"


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_running_sweep_says_how_far_it_came(sign):
    """Half way, what is left in the signal's unit, and the furthest value although it went back a little."""
    capture = sweep(2000 * sign, 4000 * sign, dip=200, then=5)
    rows = [(t, {"n": v * sign}) for t, v in enumerate((1800.0, 2200.0, 3000.0, 2900.0))]
    view = shown(capture, *rows)
    assert (view.phase, view.progress, view.left, view.furthest) == ("running", 0.5, 1000, 3000 * sign)
    view = shown(capture, *rows, (4, {"n": 4100.0 * sign}))
    assert (view.phase, view.progress, view.left) == ("running", 1, 0)


def test_a_sweep_that_leaps_over_both_ends_has_nothing_left():
    """It begins past its end, and arrives with its next sample."""
    view = shown(sweep(2000, 4000), (0, {"n": 1800.0}), (1, {"n": 4100.0}))
    assert (view.phase, view.progress, view.left, view.furthest) == ("running", 1, 0, 4100)


def test_recorded_signals_that_never_came_are_missing():
    """Only those that are needed; one that came once is not missing, and one that only ever was unreadable is."""
    capture = hold(9, band("a", 4, 8), record=(asked("b", 1), asked("n", 1), asked("c", 1, need=False)))
    view = shown(capture, (0, {"a": 5.0, "b": math.nan}), (1, {"n": 1.0}))
    assert view.missing == ("b",)


def test_a_running_piece_says_what_it_still_needs_to_count():
    """Rule 44: of the piece while it is too short, of the whole sum from then on; between pieces of the sum too."""
    capture = collect(10, 2, band("a", 4, 8))
    rows = [(t, {"a": v}) for t, v in enumerate((5.0, 5.0, 5.0, 5.0, 9.0))]
    assert [shown(capture, *rows[: i + 1]).left for i in range(5)] == [us(2), us(1), us(8), us(7), us(7)]
    assert [shown(capture, *rows[: i + 1]).progress for i in range(5)] == pytest.approx([0, 0, 0.2, 0.3, 0.3])
    view = shown(capture, *rows)
    assert (view.collected_us, view.dwell_us, view.secured_count, view.number) == (us(3), (), 0, None)


def test_cells_of_several_pieces_are_summed_to_the_microsecond():
    """Rule 46: two seconds in each of two pieces; what is outside a piece counts nowhere."""
    capture = collect(60, 1, band("a", 4, 8), axes=[axis("b", 0, 5, 10)], dwell=9, wanted=[(1,)])
    rows = [(t, {"a": a, "b": 1.0}) for t, a in enumerate((5.0, 5.0, 5.0, 9.0, 5.0, 5.0, 5.0, 9.0))]
    view = shown(capture, *rows)
    assert (view.collected_us, view.dwell_us) == (us(4), (us(4), 0))


def test_more_than_all_is_never_shown():
    """Rule 44: `b` vouches for five seconds of four and a half just as `a` goes outside, so it is not collected yet."""
    capture = collect(4.5, 1, band("a", 4, 8), band("b", 4, 8), grace=9)
    rows = [(t, {"a": 5.0, "b": 5.0}) for t in range(5)]
    view = shown(capture, *rows, (5, {"a": 5.0}), (6, {"a": 9.0, "b": 5.0}))
    assert (view.secured_count, view.progress, view.left, view.collected_us) == (0, 1, 0, us(5))


def test_a_view_is_never_of_an_earlier_time_than_what_was_judged():
    """Asked for a moment before the last instant, it is of that instant."""
    judge = Judge(JudgePlan((hold(4, band("a", 4, 8)),)))
    assert judge.view().t_us == 0
    judge.feed(us(3), {"a": 5.0})
    assert [judge.view(t).t_us for t in (None, us(1), us(4))] == [us(3), us(3), us(4)]
