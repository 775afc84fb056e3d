"""Judging while it happens: whole instants in, events out, and when to wake it. Constant memory, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from coach.core.derive import Cut, Held, Stepper
from coach.core.events import Event
from coach.core.machine import Machine
from coach.core.online import Held as Holding
from coach.core.online import OnlineCondition, OnlineRecord, OnlineSwept
from coach.core.online_limits import OnlineWatch
from coach.core.running import Emitted
from coach.core.spec import Asked, Band, Capture, Facts, JudgePlan, Sweep
from coach.core.tracks import BEFORE, NEVER, flag_of
from coach.core.view import CaptureView, JudgeView
from coach.core.viewing import view_of
from coach.recording import Mark, Note

Listener = OnlineCondition | OnlineWatch


class _Signal:
    """One signal's last sample and who listens to it."""

    __slots__ = ("facts", "feeds", "held", "listeners", "records")

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.held = Held(BEFORE, 0.0, 0)
        self.listeners: list[tuple[Listener, Machine]] = []
        self.records: list[tuple[OnlineRecord, Machine]] = []
        self.feeds: list[_Derived] = []


class _Derived:
    """One derived signal in its step form."""

    __slots__ = ("fresh_us", "inputs", "signal", "stamp_us", "stepper")

    def __init__(self, signal: _Signal, inputs: Sequence[_Signal], fresh_us: Sequence[int], stepper: Stepper) -> None:
        self.signal = signal
        self.inputs = tuple(inputs)
        self.fresh_us = tuple(fresh_us)
        self.stepper = stepper
        self.stamp_us = BEFORE


class Judge:
    """Judges a drive as it comes.

    Feed it whole instants in order; the same drive gives the same events however it is cut, and whenever `advance`
    is called. `events` come back sorted by time.

    Args:
        plan: what to judge, with every quantity resolved.
    """

    def __init__(self, plan: JudgePlan) -> None:
        self.plan = plan
        self._now = BEFORE
        self._late: dict[str, int] = {}
        self._out: list[Emitted] = []
        self._signals: dict[str, _Signal] = {}
        self._derived_inputs = {d.name: tuple(d.inputs) for d in plan.derivations}
        self.machines = [self._machine(c, i) for i, c in enumerate(plan.captures)]
        self._dependents = any(c.needs for c in plan.captures)
        for d in plan.derivations:
            if d.name not in self._signals:
                continue
            inputs = [self._signal(n) for n in d.inputs]
            feed = _Derived(self._signals[d.name], inputs, [plan.fresh_us.get(n, NEVER) for n in d.inputs], d.stepper())
            for signal in dict.fromkeys(inputs):
                signal.feeds.append(feed)

    # ---- building --------------------------------------------------------------------------------

    def _signal(self, name: str) -> _Signal:
        return self._signals.setdefault(name, _Signal(self.plan.facts.get(name, Facts())))

    def _holding(self, name: str, stale_us: Mapping[str, int]) -> Holding:
        return Holding(self._derived_inputs.get(name, (name,)), stale_us)

    def _machine(self, spec: Capture, index: int) -> Machine:
        listeners: list[Listener] = []
        conditions = [
            OnlineCondition(band, role, self._holding(band.signal, spec.stale_us))
            for role, bands in (("start", spec.start), ("keep", spec.keep))
            for band in bands
        ]
        swept = None
        if isinstance(spec.sweep, Sweep):
            swept = OnlineSwept(spec.sweep, self._holding(spec.sweep.signal, spec.stale_us))
            conditions.append(swept)
        watches = [OnlineWatch(x, spec.warn_ahead_us, self._holding(x.signal, x.unseen_us)) for x in spec.limits]
        axes = [
            OnlineCondition(Band(axis.signal), "cell", self._holding(axis.signal, spec.stale_us))
            for axis in (spec.collect.axes if spec.collect else ())
        ]
        listeners = [*conditions, *axes, *watches]
        records = [OnlineRecord(asked) for asked in spec.record if self._counts(asked)]
        machine = Machine(spec, index, conditions, watches, records, swept, self._out, axes)
        for x in listeners:
            self._signal(x.name).listeners.append((x, machine))
        for r in records:
            self._signal(r.name).records.append((r, machine))
        return machine

    @staticmethod
    def _counts(asked: Asked) -> bool:
        return asked.need

    # ---- feeding ---------------------------------------------------------------------------------

    def feed(self, t_us: int, values: Mapping[str, float]) -> list[Event]:
        """Judge the instant at `t_us`: all samples with that stamp.

        An instant stamped at or before the last one is noted and not judged. Signals nobody asked for are ignored.
        """
        if t_us <= self._now:
            for name in values:
                self._late[name] = self._late.get(name, 0) + 1
            return []
        self._now = t_us
        machines = self.machines
        for m in machines:
            if t_us > m.due:
                m.before(t_us)
        touched: set[Machine] = set()
        edges: set[Machine] = set()
        feeds: list[_Derived] = []
        signals = self._signals
        for name, value in values.items():
            signal = signals.get(name)
            if signal is None or name in self._derived_inputs:
                continue
            flag = flag_of(value, signal.facts)
            held = signal.held
            held.t_us, held.value, held.flag = t_us, value, flag
            self._push(signal, t_us, value, flag, (t_us,), touched, edges)
            if signal.feeds:
                feeds += signal.feeds
        for feed in feeds:
            if feed.stamp_us != t_us:
                feed.stamp_us = t_us
                self._derive(feed, t_us, touched, edges)
        for m in machines:
            if m in touched and (m in edges or t_us >= m.wake):
                m.step(t_us)
        return self._drain()

    def _push(
        self, signal: _Signal, t_us: int, value: float, flag: int, stamps: Sequence[int],
        touched: set[Machine], edges: set[Machine],
    ) -> None:  # fmt: skip
        for listener, machine in signal.listeners:
            if listener.push(t_us, value, flag, stamps):
                edges.add(machine)
                touched.add(machine)
            elif listener.sampled(t_us):
                touched.add(machine)
        for record, machine in signal.records:
            if record.push(t_us, flag):
                machine.wake = min(machine.wake, t_us)

    def _derive(self, feed: _Derived, t_us: int, touched: set[Machine], edges: set[Machine]) -> None:
        held = [s.held for s in feed.inputs]
        if any(h.t_us == BEFORE or t_us - h.t_us > fresh for h, fresh in zip(held, feed.fresh_us, strict=True)):
            return
        made = feed.stepper.step(t_us, held, [h.t_us == t_us for h in held])
        if made is None:
            return
        if isinstance(made, Cut):
            for listener, machine in feed.signal.listeners:
                if isinstance(listener, OnlineCondition):
                    listener.cut(made.until_us, made.since_us)
                    machine.due = min(machine.due, made.until_us)
            return
        self._push(feed.signal, t_us, made.value, made.flag, [h.t_us for h in held], touched, edges)

    def mark(self, mark: Mark) -> tuple[Mark, list[Event]]:
        """Take in what a person said; returns it as it takes effect, and what follows from it.

        A word said at or before the last judged instant takes effect one microsecond after it: store what is returned.
        It must not be stamped later than the next instant to come: deadlines before it fall due as if every instant
        before it had been fed.
        """
        if mark.t_us <= self._now:
            mark = replace(mark, t_us=self._now + 1)
        for m in self.machines:
            if mark.t_us > m.due:
                m.before(mark.t_us)
            m.mark(mark)
        return mark, self._drain()

    def advance(self, t_us: int) -> list[Event]:
        """Every instant before `t_us` was fed: deadlines before it may fall due."""
        for m in self.machines:
            if t_us > m.due:
                m.before(t_us)
        return self._drain()

    def end(self) -> list[Event]:
        """The drive is over: what still runs ends at its last instant."""
        events = self._drain()
        for m in self.machines:
            m.finish(max(self._now, 0))
        return events + self._drain()

    def _drain(self) -> list[Event]:
        out = self._out
        if not out:
            return []
        if self._dependents:
            self._tell_needs()
        if len(out) > 1:
            out.sort(key=lambda e: e[:3])
        events = [e[3] for e in out]
        out.clear()
        return events

    def _tell_needs(self) -> None:
        for m in self.machines:
            if m.secured_count >= m.spec.times:
                for other in self.machines:
                    other.needed(m.spec.id, self._now)

    # ---- telling ---------------------------------------------------------------------------------

    def next_deadline(self) -> int | None:
        """A time at or before the next deadline: nothing can fall due by itself earlier; None when nothing can."""
        due = NEVER
        for m in self.machines:
            if m.due != NEVER:
                due = min(due, m.next_due())
        return None if due == NEVER else due

    def view(self, t_us: int | None = None) -> JudgeView:
        """What the judge sees at `t_us` (default: the last instant)."""
        now = max(self._now, 0) if t_us is None else max(t_us, self._now)
        captures: tuple[CaptureView, ...] = tuple(view_of(m, now) for m in self.machines)
        return JudgeView(now, captures)

    def notes(self) -> tuple[Note, ...]:
        """What the judge noticed about the drive."""
        return tuple(
            Note("late", "stamped at or before the last judged instant, and not judged", name, count)
            for name, count in sorted(self._late.items())
        )
