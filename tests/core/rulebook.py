"""A small language for the examples of the rules: captures and drives in seconds in, one line an event out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from coach.core.afterwards import judge_recording
from coach.core.derive import Derivation
from coach.core.events import (
    Alarm,
    AlarmOver,
    Attempt,
    Began,
    Collected,
    Ended,
    Event,
    ExcursionBegan,
    ExcursionEnded,
    LimitAhead,
    LimitAheadOver,
    Secured,
    Withdrawn,
)
from coach.core.pointwise import Pointwise
from coach.core.spec import Asked, Axis, Band, Capture, Collect, Facts, JudgePlan, Limit, Sweep
from coach.recording import US, Mark, Recording, from_pairs
from tests.core.judging import in_order, online, plain
from tests.core.mirror import (
    has_mirror,
    mirrored_drive,
    mirrored_events,
    mirrored_plan,
    of_the_twin,
    told_to_both,
    with_twin,
)
from tests.core.oracle import oracle
from tests.core.strategies import Picky

SIGNALS = ("a", "b", "c", "n", "boost")
BOOST = Pointwise("boost", ("a", "b"), (1.0, -1.0))
GEAR = Picky("gear", "n")
Samples = Mapping[float, float]


def us(seconds: float) -> int:
    return round(seconds * US)


def band(signal: str, low: float | None = None, high: float | None = None, wander: float | None = None) -> Band:
    return Band(signal, low, high, wander)


def limit(
    signal: str, high: float | None = None, low: float | None = None, *, after: float = 0, lasting: float = 0,
    scope: str = "attempt", unseen: float = 5,
) -> Limit:  # fmt: skip
    inputs = ("a", "b") if signal == "boost" else (signal,)
    return Limit(signal, high, low, scope, us(after), us(lasting), dict.fromkeys(inputs, us(unseen)))


def asked(signal: str, hz: float, *, gap: float = 5, least: float = 0.8, need: bool = True) -> Asked:
    return Asked(signal, hz, us(gap), least, need)


def hold(seconds: float, *keep: Band, grace: float = 0, rest: float = 0, stale: float = 5, **more) -> Capture:
    """A capture `x` (or `id=`) that holds its keep bands."""
    more.setdefault("id", "x")
    return Capture(
        hold_us=us(seconds), keep=keep, grace_us=us(grace), rest_us=us(rest),
        stale_us=dict.fromkeys(SIGNALS, us(stale)), **more,
    )  # fmt: skip


def axis(signal: str, *edges: float) -> Axis:
    return Axis(signal, edges)


def collect(
    total: float, piece: float, *keep: Band, axes: Sequence[Axis] = (), dwell: float = 0,
    wanted: Sequence[tuple[int, ...]] = (), **more,
) -> Capture:  # fmt: skip
    """A capture `x` (or `id=`) that sums up pieces."""
    return hold(piece, *keep, collect=Collect(us(total), tuple(axes), us(dwell), tuple(wanted)), **more)


def sweep(
    start: float, to: float, *keep: Band, dip: float = 1, within: float | None = None, then: float | None = None,
    late: float | None = None, fastest: float | None = None, grace: float = 0, stale: float = 5, signal: str = "n",
    **more,
) -> Capture:  # fmt: skip
    """A capture `x` that sweeps `n` from `start` to `to`."""
    made = Sweep(
        signal,
        start,
        to,
        dip,
        None if within is None else us(within),
        late,
        None if then is None else us(then),
        fastest,
    )
    more.setdefault("id", "x")
    return Capture(
        sweep=made, keep=keep, grace_us=us(grace), stale_us=dict.fromkeys(SIGNALS, us(stale)), **more
    )  # fmt: skip


def run(first: float, last: float, value: float, step: float = 1) -> dict[float, float]:
    """The same value every `step` seconds from `first` to `last`, both included."""
    return {round(first + i * step, 6): value for i in range(round((last - first) / step) + 1)}


def row(*values: float, start: float = 0, step: float = 1) -> dict[float, float]:
    """Values one after the other, every `step` seconds."""
    return {round(start + i * step, 6): v for i, v in enumerate(values)}


def mark(t: float, kind: str, capture: str | None = "x", text: str = "") -> Mark:
    return Mark(us(t), kind, None if kind in ("pause", "resume") else capture, text)


def drive(marks: Sequence[Mark] | None = (), end: float | None = None, **samples: Samples) -> Recording:
    pairs = [(us(t), name, v) for name, column in samples.items() for t, v in column.items()]
    told = None if marks is None else tuple(marks)
    return from_pairs(pairs, marks=told, end_us=None if end is None else us(end))


def events_of(
    captures: Capture | Iterable[Capture], recording: Recording, *, facts: Mapping[str, Facts] | None = None,
    derivations: Sequence[Derivation] = (BOOST, GEAR), fresh: float = 5,
) -> list[Event]:  # fmt: skip
    """The events, after seeing that oracle, live judge and array judge agree on them, upside down and in pairs too."""
    made = (captures,) if isinstance(captures, Capture) else tuple(captures)
    plan = JudgePlan(made, facts or {}, tuple(derivations), dict.fromkeys(SIGNALS, us(fresh)))
    live = online(plan, recording)
    assert list(judge_recording(plan, recording).events) == live
    assert plain(oracle(plan, recording)) == plain(live)
    if has_mirror(plan):
        turned, over = mirrored_plan(plan), mirrored_drive(recording)
        assert plain(mirrored_events(online(turned, over))) == plain(live)
        assert judge_recording(turned, over).events == tuple(online(turned, over))
    if len(made) == 1:
        pair, said = with_twin(plan), told_to_both(recording)
        both = online(pair, said)
        assert judge_recording(pair, said).events == tuple(both)
        assert of_the_twin(both, made[0].id) == [e for e in both if e.capture == made[0].id] == live
    return in_order(plan, live)


def attempts_of(captures: Capture | Iterable[Capture], recording: Recording, **more) -> list[Attempt]:
    return [e.attempt for e in events_of(captures, recording, **more) if isinstance(e, Ended)]


def told(captures: Capture | Iterable[Capture], recording: Recording, **more) -> list[str]:
    """The events, one line each; the capture is named unless it is the only one."""
    alone = isinstance(captures, Capture)
    return [f"{_s(e.t_us)} {'' if alone else e.capture + ' '}{line(e)}" for e in events_of(captures, recording, **more)]


def line(event: Event) -> str:
    """An event without its time: `missed high a 9/8 | 0..1` is outcome, reason, value over bound, window."""
    match event:
        case Began():
            return "began"
        case Withdrawn():
            return "withdrawn"
        case Secured():
            return "secured"
        case Collected():
            return f"collected {_s(event.total_us)}"
        case ExcursionBegan():
            return f"outside {event.signal} {event.code} {_n(event.value)}"
        case ExcursionEnded():
            gone = event.excursion
            return f"back {gone.signal} {gone.code} {_n(gone.peak)} since {_s(gone.start_us)}"
        case Alarm():
            return f"alarm {event.signal} {'unseen' if event.unseen else _n(event.value)}"
        case AlarmOver():
            return f"alarm over {event.signal} x{event.samples} peak {_n(event.peak)} since {_s(event.since_us)}"
        case LimitAhead():
            return f"ahead {event.signal}"
        case LimitAheadOver():
            return f"ahead over {event.signal}"
        case Ended():
            a = event.attempt
            why = ""
            if a.reason is not None:
                why = f" {a.reason.code}"
                if a.reason.signal is not None:
                    why += f" {a.reason.signal} {_n(a.reason.value)}/{_n(a.reason.bound)}"
            return f"{a.outcome}{why} | {_s(a.start_us)}..{_s(a.end_us)}"


def _s(t_us: int) -> str:
    return f"{t_us / US:.10g}"


def _n(value: float | None) -> str:
    return "-" if value is None else f"{value:.10g}"
