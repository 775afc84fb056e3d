"""What must hold for every plan and drive, however it is cut: windows claim what samples vouch for, and no more."""

from __future__ import annotations

import itertools
import math

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.core.afterwards import judge_recording
from coach.core.events import Alarm, Attempt, Began, Ended, Event, Outcome, Secured, Withdrawn
from coach.core.judge import Judge
from coach.core.spec import Capture, JudgePlan
from coach.recording import Recording
from tests.core.judging import online
from tests.core.oracle_history import History
from tests.core.strategies import cases

N = settings.default.max_examples
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
LATER = 10**9


@settings(max_examples=N // 2, suppress_health_check=SLOW)
@given(cases(), st.data())
def test_ticks_and_looks_in_between_change_nothing(case, data):
    """The clock may tick, and people may look, at any time up to the next instant: the events stay the same."""
    plan, recording = case
    last = [0]

    def tick(judge: Judge, t: int) -> list[Event]:
        events: list[Event] = []
        for _ in range(data.draw(st.sampled_from([0, 0, 1, 2]))):
            last[0] = data.draw(st.sampled_from(sorted({last[0], last[0] + 1, (last[0] + t) // 2, t - 1, t})))
            if last[0] <= t:
                events += judge.advance(last[0])
            judge.view()
            judge.next_deadline()
        last[0] = t
        return events

    assert online(plan, recording, between=tick) == online(plan, recording)


@settings(max_examples=N // 4, suppress_health_check=SLOW)
@given(cases(), st.randoms(use_true_random=False))
def test_order_within_an_instant_changes_nothing(case, shuffle):
    """Rule 2, for whole drives."""
    plan, recording = case
    names = list(recording.series)
    shuffle.shuffle(names)
    mixed = Recording({name: recording.series[name] for name in names}, marks=recording.marks, end_us=recording.end_us)
    assert online(plan, mixed) == online(plan, recording)
    assert judge_recording(plan, mixed).events == judge_recording(plan, recording).events


@settings(max_examples=N // 2, suppress_health_check=SLOW)
@given(cases())
def test_attempts_are_whole(case):
    """What began ends or is withdrawn once; it is secured where an event says so; windows lie inside their attempts."""
    plan, recording = case
    verdict = judge_recording(plan, recording)
    assert verdict == judge_recording(plan, recording)  # nothing is kept from one drive to the next
    events = verdict.events
    assert list(verdict.alarms) == [e for e in events if isinstance(e, Alarm)]
    back = [i for i, (a, b) in enumerate(itertools.pairwise(events), 1) if b.t_us < a.t_us]
    assert len(back) <= 1  # only what the drive's end closes may be stamped before what fell due after it (rule 42)
    assert all(e.t_us == recording.duration_us for i in back for e in events[i:])
    for capture in plan.captures:
        own = [e for e in events if e.capture == capture.id]
        begun = [(e.t_us, e.number) for e in own if isinstance(e, Began)]
        closed = [e for e in own if isinstance(e, Ended | Withdrawn)]
        assert len(begun) == len(closed)
        secured = {e.number: e.t_us for e in own if isinstance(e, Secured)}
        ended = [e for e in closed if isinstance(e, Ended)]
        assert [e.attempt.number for e in ended] == list(range(len(ended)))
        assert [e.attempt for e in ended] == list(verdict.attempts[capture.id])
        for e in ended:
            check_attempt(capture, e, begun, secured.get(e.attempt.number))
        for (t, number), close in zip(begun, closed, strict=True):
            assert close.t_us >= t
            assert number == (close.attempt.number if isinstance(close, Ended) else close.number)


def check_attempt(capture: Capture, event: Ended, begun: list[tuple[int, int]], secured: int | None) -> None:
    a = event.attempt
    assert (a.start_us, a.number) in begun
    assert a.start_us <= a.end_us <= max(event.t_us, a.start_us)
    assert a.secured_us == secured
    assert (a.outcome is Outcome.SECURED) == (secured is not None)
    assert secured is None or a.start_us <= secured <= a.end_us
    assert 0 <= a.progress <= 1
    for x in a.excursions:
        assert a.start_us < x.start_us < x.end_us <= max(event.t_us, a.end_us)
        assert x.end_us - x.start_us <= capture.grace_us
    if capture.hold_us is not None and secured is not None:
        assert secured - a.start_us >= capture.hold_us


@settings(max_examples=N, suppress_health_check=SLOW)
@given(cases())
def test_a_secured_window_claims_only_what_was_vouched_for(case):
    """Looked up again in the samples: every condition of a secured hold was seen, good but for what grace covered."""
    plan, recording = case
    history = History(plan, recording)
    for capture in plan.captures:
        for attempt in judge_recording(plan, recording).attempts[capture.id]:
            if attempt.outcome is Outcome.SECURED and capture.hold_us is not None:
                check_hold(capture, attempt, history)
                check_limits(capture, attempt, history)
                check_records(capture, attempt, history)


def check_hold(capture: Capture, attempt: Attempt, history: History) -> None:
    for band in capture.keep:
        samples = list(history.upto(band.signal, attempt.end_us))
        start = max(i for i, s in enumerate(samples) if s.t <= attempt.start_us)
        inside = samples[start:]
        good: list[float] = []
        for s, following in zip(inside, [*inside[1:], None], strict=True):
            until = min(stamp + capture.stale_us[name] for name, stamp in s.stamps)
            assert (attempt.end_us if following is None else following.t) <= until
            fits = (
                s.flag == 0
                and (band.low is None or s.value >= band.low)
                and (band.high is None or s.value <= band.high)
                and (band.wander is None or max([*good, s.value]) - min([*good, s.value]) <= band.wander)
            )
            if fits:
                good.append(s.value)
            else:
                covered = [x for x in attempt.excursions if x.signal == band.signal and x.start_us <= s.t < x.end_us]
                assert len(covered) == 1
        assert any(s.t >= attempt.start_us + capture.hold_us for s in inside)
    outside = set()
    for x in attempt.excursions:
        if x.start_us < attempt.secured_us:
            outside |= set(range(x.start_us // 50_000, x.end_us // 50_000 - 1))
    assert len(outside) * 50_000 <= capture.hold_us / 10
    if capture.max_excursions is not None:
        assert len([x for x in attempt.excursions if x.start_us < attempt.secured_us]) <= capture.max_excursions


def check_limits(capture: Capture, attempt: Attempt, history: History) -> None:
    for limit in capture.limits:
        row = None
        for s in history.upto(limit.signal, attempt.end_us):
            if not s.readable or s.t <= attempt.start_us or s.t < attempt.start_us + limit.after_us:
                continue
            if limit.high is not None:
                beyond = s.value > limit.high or s.flag == 1
            else:
                beyond = s.value < limit.bound or s.flag == 2
            row = (s.t if row is None else row) if beyond else None
            assert row is None or s.t - row <= limit.for_us
            assert limit.for_us or not beyond


def check_records(capture: Capture, attempt: Attempt, history: History) -> None:
    for asked in capture.record:
        if not asked.need:
            continue
        stamps = [s.t for s in history.upto(asked.signal, attempt.end_us) if not math.isnan(s.value)]
        inside = [t for t in stamps if attempt.start_us < t <= attempt.secured_us]
        marks = [attempt.start_us, *inside, attempt.secured_us]
        assert all(b - a <= asked.gap_us for a, b in itertools.pairwise(marks))
        lasted_s = (attempt.secured_us - attempt.start_us) / 1e6
        if lasted_s * asked.rate_hz >= 10:
            assert len(inside) >= asked.least * asked.rate_hz * lasted_s - 1e-6


@settings(max_examples=N // 2, suppress_health_check=SLOW)
@given(cases(), st.data())
def test_the_next_deadline_is_never_too_late(case, data):
    """Whoever wakes the judge at `next_deadline` misses nothing; None means that nothing can fall due by itself."""
    plan, recording = case
    instants = list(recording.instants())
    stop = data.draw(st.integers(1, len(instants)))
    judge = Judge(plan)
    for m in recording.marks or ():
        if m.t_us == 0:
            judge.mark(m)
    for t, values in instants[:stop]:
        judge.feed(t, values)
    due = judge.next_deadline()
    events = judge.advance(instants[stop - 1][0] + LATER)
    if due is None:
        assert events == []
    else:
        assert all(e.t_us >= due for e in events)


@settings(max_examples=N // 2, suppress_health_check=SLOW)
@given(cases(most=3))
def test_captures_do_not_disturb_each_other(case):
    """A capture that needs no other comes to the same alone as among others."""
    plan, recording = case
    together = judge_recording(plan, recording)
    for capture in plan.captures:
        if not capture.needs:
            alone = judge_recording(JudgePlan((capture,), plan.facts, plan.derivations, plan.fresh_us), recording)
            assert alone.events == tuple(e for e in together.events if e.capture == capture.id)
