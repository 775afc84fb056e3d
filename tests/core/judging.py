"""Helpers of the judge's tests: feeding the online judge, and saying whether two judges agree."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from coach.core.events import Attempt, Ended, Event, LimitAhead, LimitAheadOver, Reason
from coach.core.judge import Judge
from coach.core.spec import JudgePlan
from coach.recording import Mark, Recording

HAS_ARRAYS = importlib.util.find_spec("coach.core.afterwards") is not None


def online(plan: JudgePlan, recording: Recording, *, between: Callable[[Judge, int], list[Event]] | None = None):
    """The online judge's events, fed one instant at a time; `between` may do something before each instant."""
    judge = Judge(plan)
    events: list[Event] = []
    marks = sorted(recording.marks or (), key=lambda m: m.t_us)
    for t, values in recording.instants():
        while marks and marks[0].t_us <= t:
            events += said(judge, marks.pop(0))
        if between is not None:
            events += between(judge, t)
        events += judge.feed(t, values)
    end = recording.end_us
    while marks:
        events += said(judge, marks.pop(0))
    if end is not None:
        if between is not None:
            events += between(judge, end)
        events += judge.advance(end)
    events += judge.end()
    return events


def said(judge: Judge, mark: Mark) -> list[Event]:
    took, events = judge.mark(mark)
    assert took == mark
    return events


def in_order(plan: JudgePlan, events: Iterable[Event]) -> list[Event]:
    """Events by time, then by capture."""
    place = {c.id: i for i, c in enumerate(plan.captures)}
    return sorted(events, key=lambda e: (e.t_us, place[e.capture]))


def plain(events: Sequence[Event]) -> list[tuple]:
    """Events in a form that two judges can be compared by: numbers rounded, warnings by code and time."""
    rows = [_row(e) for e in events]
    return sorted(rows, key=lambda r: (r[0], r[1], repr(r)))


def _row(event: Event) -> tuple:
    kind = type(event).__name__
    if isinstance(event, LimitAhead | LimitAheadOver):
        return event.t_us, event.capture, kind, event.signal
    if isinstance(event, Ended):
        return event.t_us, event.capture, kind, _attempt(event.attempt)
    rest = tuple(_number(getattr(event, name)) for name in event.__slots__ if name not in ("t_us", "capture"))
    return event.t_us, event.capture, kind, *rest


def _attempt(attempt: Attempt) -> Attempt:
    return replace(
        attempt,
        progress=round(attempt.progress, 6),
        covers=None if attempt.covers is None else tuple(_number(v) for v in attempt.covers),
        reason=None if attempt.reason is None else _reason(attempt.reason),
    )


def _reason(reason: Reason) -> Reason:
    return replace(reason, value=_number(reason.value), bound=_number(reason.bound))


def _number(value):
    return round(value, 6) if isinstance(value, float) else value
