"""Corners of the core that drives seldom come to: gates by name, views of a sweep, places without staleness."""

from __future__ import annotations

import pytest

from coach.core.afterwards import judge_instants, judge_recording
from coach.core.derive import AT_CEILING, AT_FLOOR, UNREADABLE, Held
from coach.core.events import Alarm, Code, Ended
from coach.core.gates import Gates
from coach.core.judge import Judge
from coach.core.pointwise import core_derivations
from coach.core.spec import Band, Capture, JudgePlan, Limit, Sweep
from coach.core.tracks import worst_of
from coach.recording import Mark, from_pairs

S = 1_000_000


def both(plan, recording):
    """The events of both judges, which must be the same."""
    live, stored = judge_instants(plan, recording).events, judge_recording(plan, recording).events
    assert live == stored
    return live


def test_a_capture_has_a_hold_or_a_sweep():
    """Neither or both cannot be judged."""
    with pytest.raises(ValueError, match="'x' needs either a hold or a sweep"):
        Capture("x")
    with pytest.raises(ValueError, match="'x' needs either a hold or a sweep"):
        Capture("x", hold_us=S, sweep=Sweep("n", 1, 2, 0))


def test_a_limit_needs_a_bound():
    """A limit with neither bound is a mistake of whoever made the plan."""
    with pytest.raises(ValueError, match="limit of a has neither high nor low"):
        Limit("a").bound  # noqa: B018 - reading it is what is tested


@pytest.mark.parametrize(
    ("shut", "name"),
    [
        (lambda g: g.mark(Mark(0, "pause")), "paused"),
        (lambda g: g.mark(Mark(0, "skip", "x")), "skipped"),
        (lambda g: g.wait_for_answer(), "limit"),
        (lambda g: g.have("y", 10), "needs"),
        (lambda g: (g.have("y", 0), g.rest(10)), "rest"),
        (lambda g: g.have("y", 0), "confirm"),
        (lambda g: (g.have("y", 0), g.mark(Mark(0, "confirm", "x", "fan off"))), "arm"),
    ],
)
def test_the_first_shut_gate_is_named(shut, name):
    """Paused before skipped before waiting for the calibrator, then needs, rest, confirm, arm; with all open, none."""
    gates = Gates(Capture("x", hold_us=S, needs=("y",), confirm=("fan off",), arming=True))
    shut(gates)
    assert gates.shut(5) == name
    assert not gates.open(5)
    for mark in (Mark(6, "resume"), Mark(6, "unskip", "x"), Mark(6, "confirm", "x", "fan off"), Mark(6, "arm", "x")):
        gates.mark(mark)
    gates.have("y", 6)
    assert gates.shut(20) == ("limit" if name == "limit" else None)


def test_a_capture_not_known_is_not_waited_for():
    """Hearing of a capture that this one does not need, or of one again, changes nothing."""
    gates = Gates(Capture("x", hold_us=S, needs=("y",)))
    assert not gates.have("z", 0)
    assert gates.have("y", 1)
    assert not gates.have("y", 2)


@pytest.mark.parametrize(
    ("more", "words", "name"),
    [
        ({}, ("pause", "resume"), "paused"),
        ({}, ("skip", "unskip"), "skipped"),
        ({"arming": True}, ("arm",), "arm"),
        ({"confirm": ("fan off",)}, ("confirm",), "confirm"),
    ],
)
def test_a_gate_is_open_from_the_word_that_opens_it(more, words, name):
    """Rule 15: shut a microsecond before, open at the very stamp, and so it stays."""
    gates = Gates(Capture("x", hold_us=S, **more))
    for word in words:
        whole = word in ("pause", "resume")
        gates.mark(Mark(5 * S, word, None if whole else "x", "fan off" if word == "confirm" else ""))
    assert [gates.shut(t) for t in (5 * S - 1, 5 * S, 9 * S)] == [name, None, None]
    assert [gates.open(t) for t in (5 * S - 1, 5 * S, 9 * S)] == [False, True, True]


def test_rest_and_needs_open_from_their_times_on():
    """Rule 14: the same for what no word opens."""
    gates = Gates(Capture("x", hold_us=S, needs=("y",)))
    gates.rest(3 * S)
    assert gates.have("y", 2 * S)
    assert [gates.shut(t) for t in (2 * S - 1, 2 * S, 3 * S - 1, 3 * S)] == ["needs", "rest", "rest", None]


def test_views_of_a_sweep_from_waiting_to_arrival():
    """Armed on the near side, then running with what is left, then holding after it has arrived."""
    sweep = Sweep("n", 2000, 4000, dip=100, then_us=5 * S)
    judge = Judge(JudgePlan((Capture("x", sweep=sweep, keep=(Band("p", 90),)),)))
    seen = []
    for i, n in enumerate((1000, 1500, 2500, 3500, 4100, 4200)):
        judge.feed(i * S, {"n": float(n), "p": 95.0 if i else 10.0})
        (view,) = judge.view().captures
        seen.append((view.phase, view.progress, view.left, view.furthest))
    assert seen == [
        ("waiting", 0.0, None, None),
        ("armed", 0.0, None, None),
        ("running", 0.25, 1500.0, 2500.0),
        ("running", 0.75, 500.0, 3500.0),
        ("running", 1.0, 0.0, 4100.0),
        ("running", 1.0, 0.0, 4100.0),
    ]


def test_a_value_may_hold_for_ever():
    """A plan that gives a signal no `stale_after` lets its last value hold to the drive's end."""
    plan = JudgePlan((Capture("x", hold_us=2 * S, keep=(Band("a", 1), Band("b", 1))),))
    events = both(plan, from_pairs([(0, "a", 1.0), *((i * S, "b", 1.0) for i in range(100))]))
    (end,) = [e for e in events if isinstance(e, Ended)]
    assert (end.attempt.secured_us, end.attempt.end_us, end.attempt.reason.code) == (None, 99 * S, Code.DRIVE_ENDED)


def test_what_holds_for_ever_may_be_waited_for():
    """The second signal comes at 50 s only: then it begins, live and stored."""
    plan = JudgePlan((Capture("x", hold_us=2 * S, keep=(Band("a", 1), Band("b", 1))),))
    events = both(plan, from_pairs([(0, "a", 1.0), (S, "b", 0.0), *((i * S, "b", 1.0) for i in range(50, 60))]))
    (end,) = [e for e in events if isinstance(e, Ended)]
    assert (end.attempt.start_us, end.attempt.end_us) == (50 * S, 59 * S)


def test_an_input_may_hold_for_ever():
    """The same for one input of a derived signal: only the other one goes stale."""
    band, stale = Band("gauge_boost", 0), {"manifold_pressure": 2 * S}
    plan = JudgePlan((Capture("x", hold_us=S, keep=(band,), stale_us=stale),), derivations=core_derivations())
    samples = [(0, "barometric_pressure", 100.0), *((i * S, "manifold_pressure", 120.0) for i in (1, 2, 3, 9, 10))]
    ends = [e.attempt for e in both(plan, from_pairs(samples)) if isinstance(e, Ended)]
    assert [(a.start_us, a.end_us, a.reason and a.reason.code) for a in ends] == [
        (S, 3 * S, Code.STALE), (9 * S, 10 * S, None),
    ]  # fmt: skip
    assert ends[0].reason.bound == 2.0


def test_a_stale_input_makes_no_sample_for_a_limit():
    """Barometric pressure is older than this limit allows: the limit is not seen, and no attempt begins."""
    limit = Limit("gauge_boost", high=95, unseen_us={"manifold_pressure": S, "barometric_pressure": S})
    plan = JudgePlan((Capture("x", hold_us=S, keep=(Band("a", 1),), limits=(limit,)),), derivations=core_derivations())
    samples = [(0, "barometric_pressure", 100.0)]
    for i in range(5, 9):
        samples += [(i * S, "manifold_pressure", 120.0), (i * S, "a", 1.0)]
    assert both(plan, from_pairs(samples)) == ()


def test_a_word_after_the_last_sample_counts():
    """A pause said when no sample comes any more ends the attempt, in both judges."""
    plan = JudgePlan((Capture("x", hold_us=9 * S, keep=(Band("a", 1),)),))
    marks = (Mark(0, "resume"), Mark(5 * S, "pause"))
    events = both(plan, from_pairs([(i * S, "a", 1.0) for i in range(3)], marks=marks))
    assert [(e.t_us, e.attempt.reason.code) for e in events if isinstance(e, Ended)] == [(5 * S, Code.PAUSED)]


def test_a_word_said_too_late_takes_effect_after_the_last_instant():
    """Rule 15: it comes back with the time at which it counts."""
    judge = Judge(JudgePlan((Capture("x", hold_us=9 * S, keep=(Band("a", 1),)),)))
    judge.feed(3 * S, {"a": 1.0})
    mark, events = judge.mark(Mark(2 * S, "pause"))
    assert mark.t_us == 3 * S + 1
    assert [e.t_us for e in events] == [3 * S + 1]


def test_a_capture_without_conditions_is_held_by_its_limit():
    """Nothing to keep, only a limit: the first sample inside begins it."""
    limit = Limit("v", low=11.0, unseen_us={"v": 2 * S})
    plan = JudgePlan((Capture("x", hold_us=2 * S, limits=(limit,)),))
    events = both(plan, from_pairs([(i * S, "v", 12.0) for i in range(4)]))
    assert [type(e).__name__ for e in events] == ["Began", "Secured", "Ended"]


@pytest.mark.parametrize(("flag", "bound"), [(AT_CEILING, 200.0), (AT_FLOOR, 100.0)])
def test_saturation_is_held_against_the_bound_on_its_side(flag, bound):
    """At least this: against the upper bound; at most this: against the lower one; with one bound, against that."""
    assert worst_of(255.0, flag, 100.0, 200.0) == (2, 0.0, 255.0, Code.SATURATED, bound)
    assert worst_of(255.0, flag, None, 200.0) == (2, 0.0, 255.0, Code.SATURATED, 200.0)
    assert worst_of(255.0, flag, 100.0, None) == (2, 0.0, 255.0, Code.SATURATED, 100.0)


def test_after_a_stop_the_view_says_that_the_value_must_come_back():
    """The gate `inside` is shut until a sample inside has come."""
    plan = JudgePlan((Capture("x", hold_us=9 * S, keep=(Band("a", 1),), limits=(Limit("b", high=95),)),))
    judge = Judge(plan)
    gates = []
    for i, b in enumerate((90, 99, 98, 90)):
        judge.feed(i * S, {"a": 1.0, "b": float(b)})
        gates.append(judge.view().captures[0].gate)
    assert gates == [None, "inside", "inside", None]


def test_a_source_that_promises_time_lets_deadlines_fall_due():
    """Nothing comes after 1 s, but every sample up to 9 s is known: what went stale at 3 s did so, live and stored."""
    plan = JudgePlan((Capture("x", hold_us=9 * S, keep=(Band("a", 1),), stale_us={"a": 2 * S}),))
    events = both(plan, from_pairs([(0, "a", 1.0), (S, "a", 1.0)], end_us=9 * S))
    assert [(e.t_us, e.attempt.reason.code) for e in events if isinstance(e, Ended)] == [(3 * S, Code.STALE)]


def test_a_condition_that_wandered_off_is_shown_as_such():
    """In its band, but further from the attempt's own range than `wander`: the view says wander and when it left."""
    judge = Judge(JudgePlan((Capture("x", hold_us=60 * S, keep=(Band("n", 0, 10, 1),), grace_us=5 * S),)))
    judge.feed(0, {"n": 5.0})
    judge.feed(S, {"n": 7.0})
    (condition,) = judge.view(S).captures[0].conditions
    assert (condition.status, condition.value, condition.outside_us) == ("wander", 7.0, S)
    judge.feed(2 * S, {"n": 5.5})
    assert judge.view(2 * S).captures[0].conditions[0].status == "met"


def test_beyond_again_within_three_seconds_is_the_same_passing():
    """Inside for two seconds between two samples beyond: one alarm."""
    plan = JudgePlan(
        (Capture("x", hold_us=60 * S, limits=(Limit("n", high=5, scope="drive", unseen_us={"n": 9 * S}),)),)
    )
    row = [4.0, 6.0, 4.0, 4.0, 6.0, 4.0, 4.0, 4.0, 4.0, 6.0]
    events = both(plan, from_pairs([(i * S, "n", v) for i, v in enumerate(row)]))
    assert [e.t_us // S for e in events if isinstance(e, Alarm)] == [1, 9]


def test_a_sum_saturated_both_ways_says_nothing():
    """At least 10 minus at least 10 may be anything."""
    derivation = core_derivations()[0]
    held = [Held(0, 255.0, AT_CEILING), Held(0, 255.0, AT_CEILING)]
    made = derivation.stepper().step(0, held, [True, True])
    assert made is not None
    assert made.flag == UNREADABLE
