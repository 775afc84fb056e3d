"""What must not matter: a plan and a drive upside down, every value negated; a capture that has another like it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from coach.core.events import Attempt, Code, Ended, Event, Excursion, ExcursionEnded, Reason
from coach.core.spec import Band, Capture, Facts, JudgePlan, Limit, Sweep
from coach.recording import Recording, Series

TURNED = {Code.LOW: Code.HIGH, Code.HIGH: Code.LOW}
OF_VALUES = {*TURNED, Code.SATURATED, Code.OUT_OF_RANGE, Code.WANDER, Code.DIP, Code.LIMIT}
"""Reasons whose numbers are in the signal's unit; a wander's bound is a width, and is not turned."""


def mirrored_plan(plan: JudgePlan) -> JudgePlan:
    """Without cells: their lower edge belongs to them and their upper one does not."""
    facts = {n: Facts(-f.high, -f.low, _minus(f.floor), _minus(f.ceiling)) for n, f in plan.facts.items()}
    return replace(plan, captures=tuple(map(_capture, plan.captures)), facts=facts)


def has_mirror(plan: JudgePlan) -> bool:
    return not any(c.collect and c.collect.axes for c in plan.captures)


def mirrored_drive(recording: Recording) -> Recording:
    series: Mapping[str, Series] = {n: Series(s.t_us, -s.value) for n, s in recording.series.items()}
    return Recording(series, marks=recording.marks, end_us=recording.end_us)


def mirrored_events(events: Sequence[Event]) -> list[Event]:
    return [_event(e) for e in events]


def _capture(c: Capture) -> Capture:
    return replace(
        c,
        start=tuple(map(_band, c.start)),
        keep=tuple(map(_band, c.keep)),
        limits=tuple(map(_limit, c.limits)),
        sweep=None if c.sweep is None else _sweep(c.sweep),
    )


def _band(b: Band) -> Band:
    return replace(b, low=_minus(b.high), high=_minus(b.low))


def _limit(x: Limit) -> Limit:
    return replace(x, low=_minus(x.high), high=_minus(x.low))


def _sweep(s: Sweep) -> Sweep:
    return replace(s, start=-s.start, to=-s.to)


def _event(e: Event) -> Event:
    if isinstance(e, Ended):
        return replace(e, attempt=_attempt(e.attempt))
    if isinstance(e, ExcursionEnded):
        return replace(e, excursion=_excursion(e.excursion))
    turned = {k: _minus(getattr(e, k)) for k in ("value", "bound", "peak") if k in e.__slots__}
    if "code" in e.__slots__:
        turned["code"] = TURNED.get(e.code, e.code)
    return replace(e, **turned)


def _attempt(a: Attempt) -> Attempt:
    covers = None if a.covers is None else (-a.covers[0], -a.covers[1])
    reason = None if a.reason is None else _reason(a.reason)
    return replace(a, covers=covers, reason=reason, excursions=tuple(map(_excursion, a.excursions)))


def _reason(r: Reason) -> Reason:
    if r.code not in OF_VALUES:
        return r
    bound = r.bound if r.code is Code.WANDER else _minus(r.bound)
    return replace(r, code=TURNED.get(r.code, r.code), value=_minus(r.value), bound=bound)


def _excursion(x: Excursion) -> Excursion:
    return replace(x, peak=_minus(x.peak), code=TURNED.get(x.code, x.code))


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


TWIN = "twin"


def with_twin(plan: JudgePlan) -> JudgePlan:
    """A plan of one capture and another like it: they are never in each other's way."""
    (one,) = plan.captures
    return replace(plan, captures=(one, replace(one, id=TWIN)))


def told_to_both(recording: Recording) -> Recording:
    """What people say of the one capture, they say of the other next."""
    if recording.marks is None:
        return recording
    pairs = [(m, replace(m, capture=TWIN)) if m.capture else (m,) for m in recording.marks]
    return Recording(recording.series, marks=tuple(m for pair in pairs for m in pair), end_us=recording.end_us)


def of_the_twin(events: Sequence[Event], name: str) -> list[Event]:
    """The twin's events under the name of the one capture."""
    own = [replace(e, capture=name) for e in events if e.capture == TWIN]
    return [replace(e, attempt=replace(e.attempt, capture=name)) if isinstance(e, Ended) else e for e in own]
