"""Makes the view of one capture from its machine; changes nothing in it."""

from __future__ import annotations

from typing import Literal

from coach.core.derive import AT_CEILING, AT_FLOOR, OK
from coach.core.gates import Gate
from coach.core.machine import Machine
from coach.core.online import OnlineCondition
from coach.core.online_limits import OnlineWatch
from coach.core.spec import Collect
from coach.core.tracks import BEFORE, NEVER, Condition, worst_of
from coach.core.view import CaptureView, ConditionView, LimitView, Status

Phase = Literal["waiting", "armed", "running", "held", "closed"]


def view_of(machine: Machine, now_us: int) -> CaptureView:
    """The capture of `machine` at `now_us`."""
    spec = machine.spec
    gate = machine.gates.shut(now_us)
    rest = machine.gates.rest_us
    shut: Gate | Literal["inside"] | None = gate
    if gate is None and any(
        w.stopped_us is not None and not w.inside_after(w.stopped_us, now_us) for w in machine.watches
    ):
        shut = "inside"
    progress, left = _progress(machine, now_us)
    collected_us, dwell_us = _collected(machine, now_us)
    if machine.spec.collect is not None:
        progress, still = _share(machine.spec.collect, machine, collected_us or 0, dwell_us)
        left = left if machine.start_us is not None and machine.secured_us is None else still
    return CaptureView(
        id=spec.id,
        phase=_phase(machine, now_us, shut is not None),
        gate=shut,
        gate_us=rest if gate == "rest" else None,
        number=len(machine.attempts) if machine.start_us is not None else None,
        start_us=machine.start_us,
        secured_us=machine.secured_us,
        progress=progress,
        left=left,
        furthest=machine.furthest if machine.start_us is not None and spec.sweep is not None else None,
        secured_count=machine.secured_count,
        attempts=len(machine.attempts),
        last=machine.attempts[-1] if machine.attempts else None,
        best=machine.best,
        conditions=tuple(_condition(machine, c, now_us) for c in machine.conditions),
        limits=tuple(_limit(w, now_us) for w in machine.watches if isinstance(w, OnlineWatch)),
        missing=tuple(r.name for r in machine.records if r.last(NEVER) == BEFORE),
        collected_us=collected_us,
        dwell_us=dwell_us,
    )


def _phase(machine: Machine, now_us: int, shut: bool) -> Phase:
    if machine.start_us is not None:
        return "held" if machine.secured_us is not None else "running"
    if shut:
        return "closed"
    sweep = machine.spec.sweep
    if sweep is not None and machine.swept is not None and machine.ready(now_us):
        last = machine.swept.plausible(now_us)
        if last is not None and (last[1] - sweep.start) * (1.0 if sweep.rising else -1.0) < 0:
            return "armed"
    return "waiting"


def _progress(machine: Machine, now_us: int) -> tuple[float, float | None]:
    start, spec = machine.start_us, machine.spec
    if start is None:
        return 0.0, None
    sweep = spec.sweep
    if sweep is None:
        assert spec.hold_us is not None
        done = max(0, now_us - start)
        return min(1.0, done / spec.hold_us), float(max(0, spec.hold_us - done))
    if machine.reached_us is not None:
        return 1.0, 0.0
    come = abs(machine.furthest - sweep.start)
    return min(1.0, come / sweep.span), max(0.0, sweep.span - come)


def _collected(machine: Machine, now_us: int) -> tuple[int | None, tuple[int, ...]]:
    """Time of the pieces so far, and by cell."""
    if machine.pieces is None:
        return None, ()
    start = machine.start_us if machine.secured_us is not None else None
    vouched = min([c.good_us if c.wander is not None else c.last_good(now_us) for c in machine.banded], default=now_us)
    total, dwell = machine.pieces.sums(start, vouched)
    return total, tuple(dwell)


def _share(collect: Collect, machine: Machine, total_us: int, dwell: tuple[int, ...]) -> tuple[float, float]:
    """Which share of all is collected, and how much is left of what takes longest."""
    if machine.collected_us is not None:
        return 1.0, 0.0
    left = collect.total_us - total_us
    share = total_us / collect.total_us
    if collect.wanted and collect.dwell_us:
        assert machine.pieces is not None
        got = [min(dwell[i], collect.dwell_us) for i in machine.pieces.wanted]
        wanted = collect.dwell_us * len(got)
        left, share = max(left, wanted - sum(got)), min(share, sum(got) / wanted)
    return max(0.0, min(1.0, share)), float(max(0, left))


def _condition(machine: Machine, c: Condition, now_us: int) -> ConditionView:
    last = c.latest(now_us)
    sweep = machine.spec.sweep
    low, high = c.low, c.high
    role: Literal["start", "keep", "sweep"] = "start" if c.role == "start" else "keep"
    if c.role == "sweep" and sweep is not None:
        role = "sweep"
        low, high = min(sweep.start, sweep.to), max(sweep.start, sweep.to)
    status: Status = "missing"
    value = None
    if last is not None and isinstance(c, OnlineCondition):
        value = last[1] if c.flag in (OK, AT_CEILING, AT_FLOOR) else None
        if now_us > c.until:
            status = "unknown" if c.since is not None else "stale"
        elif c.good and not c.stray:
            status = "met"
        else:
            status = _status(c, last[1])
    return ConditionView(role, c.name, low, high, c.wander, value, last[0] if last else None, status, c.excursion_us)


def _status(c: OnlineCondition, value: float) -> Status:
    if c.stray:
        return "wander"
    bad = worst_of(value, c.flag, c.low, c.high)
    assert bad is not None
    return bad[3].value  # type: ignore[return-value]  # the causes that a status names


def _limit(w: OnlineWatch, now_us: int) -> LimitView:
    last = w.value()
    status: Literal["inside", "beyond", "unseen"] = "unseen"
    if last is not None and w.seen(now_us):
        status = "beyond" if w.beyond else "inside"
    return LimitView(
        w.name, w.limit.bound, w.upper, last[1] if last else None, last[0] if last else None, status, w.ahead
    )
