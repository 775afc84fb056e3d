"""Judging a stored drive: numpy finds where anything changes, and the same state machine is stepped there."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coach.core.array_limits import ArrayWatch
from coach.core.arrays import ArrayCondition, ArrayRecord, ArraySwept
from coach.core.derive import OK, Feed
from coach.core.events import Alarm, Attempt, Ended, Event
from coach.core.judge import Judge
from coach.core.machine import Machine
from coach.core.running import Emitted
from coach.core.runs import Column, Ints, flags_of
from coach.core.spec import Band, Capture, Facts, JudgePlan
from coach.core.tracks import BEFORE, NEVER
from coach.recording import Mark, Note, Recording, Series


@dataclass(frozen=True)
class Verdict:
    """What a drive came to.

    Attributes:
        events: all events, in order.
        attempts: by capture, in order.
        alarms: all alarms, in order.
        notes: what the judge noticed.
        rules: version of the rules.
    """

    events: tuple[Event, ...]
    attempts: Mapping[str, tuple[Attempt, ...]]
    alarms: tuple[Alarm, ...]
    notes: tuple[Note, ...]
    rules: int


def verdict_of(plan: JudgePlan, events: Sequence[Event], notes: Sequence[Note] = ()) -> Verdict:
    """The verdict that `events` amount to."""
    attempts: dict[str, list[Attempt]] = {c.id: [] for c in plan.captures}
    for e in events:
        if isinstance(e, Ended):
            attempts[e.capture].append(e.attempt)
    alarms = tuple(e for e in events if isinstance(e, Alarm))
    return Verdict(tuple(events), {k: tuple(v) for k, v in attempts.items()}, alarms, tuple(notes), plan.rules)


def judge_instants(plan: JudgePlan, recording: Recording) -> Verdict:
    """The verdict of the live judge, fed instant by instant: the same as `judge_recording`, and slower."""
    judge = Judge(plan)
    events: list[Event] = []
    marks = sorted(recording.marks or (), key=lambda m: m.t_us)
    i = 0
    for t, values in recording.instants():
        while i < len(marks) and marks[i].t_us <= t:
            events += judge.mark(marks[i])[1]
            i += 1
        events += judge.feed(t, values)
    for mark in marks[i:]:
        events += judge.mark(mark)[1]
    if recording.end_us is not None:
        events += judge.advance(recording.end_us)
    return verdict_of(plan, events + judge.end(), judge.notes())


def judge_recording(plan: JudgePlan, recording: Recording) -> Verdict:
    """Judge a stored drive. Arrays in, the same events out as from `Judge`."""
    columns = _Columns(plan, recording)
    marks = sorted(recording.marks or (), key=lambda m: m.t_us)
    last = recording.duration_us
    out: list[Emitted] = []
    final: list[Emitted] = []
    done: dict[str, int] = {}
    for index in _in_order(plan.captures):
        spec = plan.captures[index]
        drive = _Drive(spec, index, columns, out)
        for other in spec.needs:
            if other in done:
                drive.machine.needed(other, done[other])
        drive.run(marks, last, recording.end_us)
        before = len(out)
        drive.machine.finish(last)
        final += out[before:]
        del out[before:]
        secured = [a.secured_us for a in drive.machine.attempts if a.secured_us is not None]
        if spec.collect is not None:
            if drive.machine.collected_us is not None:
                done[spec.id] = drive.machine.collected_us
        elif len(secured) >= spec.times:
            done[spec.id] = secured[spec.times - 1]
    out.sort(key=lambda e: e[:3])
    final.sort(key=lambda e: e[2])
    return verdict_of(plan, [e[3] for e in out] + [e[3] for e in final])


def _in_order(captures: Sequence[Capture]) -> Iterator[int]:
    """Indices of the captures, each after those that it needs (a ring of needs never opens: any order does)."""
    index = {c.id: i for i, c in enumerate(captures)}
    seen: set[int] = set()
    for start in range(len(captures)):
        stack = [(start, False)]
        while stack:
            i, ready = stack.pop()
            if ready:
                yield i
            elif i not in seen:
                seen.add(i)
                stack.append((i, True))
                stack += [(index[n], False) for n in captures[i].needs if n in index]


class _Columns:
    """Every signal's samples with flags, derived ones included, each made once."""

    def __init__(self, plan: JudgePlan, recording: Recording) -> None:
        self._plan = plan
        self._series = recording.series
        self._derivations = {d.name: d for d in plan.derivations}
        self._made: dict[str, Column] = {}

    def inputs(self, name: str) -> tuple[str, ...]:
        """The measured signals that `name` rests on."""
        derivation = self._derivations.get(name)
        return (name,) if derivation is None else tuple(derivation.inputs)

    def get(self, name: str) -> Column:
        """The samples of `name`; none when the drive has no such signal."""
        column = self._made.get(name)
        if column is None:
            column = self._made[name] = self._make(name)
        return column

    def _make(self, name: str) -> Column:
        derivation = self._derivations.get(name)
        if derivation is None:
            series = self._series.get(name)
            if series is None:
                series = Series(np.zeros(0, dtype=np.int64), np.zeros(0))
            flags = flags_of(series.value, self._plan.facts.get(name, Facts()))
            return Column(series.t_us, series.value, flags, (series.t_us,))
        feeds = []
        for n in derivation.inputs:
            c = self.get(n)
            flag = np.full(len(c.t_us), OK, dtype=np.uint8) if c.flag is None else c.flag
            feeds.append(Feed(c.t_us, c.value, flag, (n,), (c.t_us,)))
        fresh = [self._plan.fresh_us.get(n, NEVER) for n in derivation.inputs]
        made = derivation.array(feeds, fresh)
        flag_or_none = made.flag if bool(made.flag.any()) else None
        return Column(made.t_us, made.value, flag_or_none, made.input_t_us, made.until_us, made.since_us)


class _Drive:
    """One capture over a whole drive."""

    def __init__(self, spec: Capture, index: int, columns: _Columns, out: list[Emitted]) -> None:
        def stale(name: str, table: Mapping[str, int]) -> tuple[int, ...]:
            return tuple(table.get(n, NEVER) for n in columns.inputs(name))

        conditions = [
            ArrayCondition(band, role, columns.get(band.signal), stale(band.signal, spec.stale_us))
            for role, bands in (("start", spec.start), ("keep", spec.keep))
            for band in bands
        ]
        swept = None
        if spec.sweep is not None:
            name = spec.sweep.signal
            swept = ArraySwept(spec.sweep, columns.get(name), stale(name, spec.stale_us))
            conditions.append(swept)
        watches = [
            ArrayWatch(x, spec.warn_ahead_us, columns.get(x.signal), stale(x.signal, x.unseen_us)) for x in spec.limits
        ]
        records = [ArrayRecord(asked, columns.get(asked.signal)) for asked in spec.record if asked.need]
        axes = [
            ArrayCondition(Band(a.signal), "cell", columns.get(a.signal), stale(a.signal, spec.stale_us))
            for a in (spec.collect.axes if spec.collect else ())
        ]
        self.machine = Machine(spec, index, conditions, watches, records, swept, out, axes)
        self.own = [c.runs.t_us for c in (*conditions, *axes)] + [w.own_us for w in watches]
        self.all = [*(c.runs for c in (*conditions, *axes)), *(w.runs for w in watches), *(r.runs for r in records)]
        edges = {id(runs): runs.edges() for runs in self.all}
        always = [edges[id(w.runs)] for w in watches] + [edges[id(r.runs)] for r in records]
        if swept is not None:
            always.append(swept.sides)
        self.foreign = frozenset(t for r in records for t in r.runs.run_t)
        self.busy = _unique([*always, *(edges[id(c.runs)] for c in conditions)])
        self.idle = _unique([*always, ready_from(conditions)])

    def run(self, marks: Sequence[Mark], last_us: int, end_us: int | None) -> None:
        """Step the machine wherever anything may change."""
        m = self.machine
        m.wake = BEFORE
        t, said = BEFORE, 0
        known = last_us if end_us is None else max(last_us, end_us)
        while True:
            times = self.idle if m.start_us is None else self.busy
            i = bisect_right(times, t)
            at = times[i] if i < len(times) else NEVER
            if m.wake < at:
                at = min(at, self._own_from(max(m.wake, t + 1)))
            mark = marks[said] if said < len(marks) and marks[said].t_us <= at else None
            if mark is not None:
                at = mark.t_us
            running = m.start_us is not None
            m.before(min(at, known) if mark is None else at)
            if running and m.start_us is None:
                t = max(t, m.ended_us)
                continue
            if mark is not None:
                self._seek(at - 1)
                before = len(m.out)
                m.mark(mark)
                # Of words of one stamp, what follows from the first comes first: live, it has been told by then.
                m.out[before:] = [(e[0], said - len(marks), e[2], e[3]) for e in m.out[before:]]
                said += 1
            elif at == NEVER:
                return
            else:
                self._seek(at)
                if at in self.foreign and self._own_from(at) != at:
                    m.wake = min(m.wake, at)
                else:
                    m.step(at)
                t = at

    def _seek(self, t_us: int) -> None:
        for runs in self.all:
            if t_us >= runs.next_us:
                runs.seek(t_us)

    def _own_from(self, t_us: int) -> int:
        """The first instant of the capture at or after `t_us`, or NEVER."""
        found = [(stamps, int(stamps.searchsorted(t_us))) for stamps in self.own]
        return min([int(stamps[i]) for stamps, i in found if i < len(stamps)], default=NEVER)


def _unique(times: Sequence[Ints]) -> list[int]:
    none = np.zeros(0, dtype=np.int64)
    t = np.sort(np.concatenate([none, *times]), kind="stable")  # np.unique hashes whole numbers, and is far slower
    found: list[int] = t[np.diff(t, prepend=t[:1] - 1) != 0].tolist()
    return found


def ready_from(conditions: Sequence[ArrayCondition]) -> Ints:
    """Stamps from which on all conditions are met."""
    none = np.zeros(0, dtype=np.int64)
    pieces = [(none, none), *(c.met_intervals() for c in conditions)]
    starts = np.concatenate([p[0] for p in pieces])
    ends = np.concatenate([p[1] for p in pieces])
    t = np.concatenate([starts, np.where(ends == NEVER, ends, ends + 1)])
    step = np.concatenate([np.ones(len(starts), dtype=np.int64), -np.ones(len(ends), dtype=np.int64)])
    order = np.lexsort((step, t))  # at one time, what ends comes before what begins
    met = np.cumsum(step[order])
    begins: Ints = t[order][(met == len(conditions)) & (step[order] > 0)]
    return begins
