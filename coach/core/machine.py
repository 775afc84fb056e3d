"""The state machine of one capture, written once: how a drive is judged (docs/explanation/how-judgement-works.md).

It is stepped at instants of the capture where something may change. Live, those are found sample by sample;
afterwards, with numpy. It keeps no samples: it asks its tracks.
"""

from __future__ import annotations

from collections.abc import Sequence

from coach.core.events import (
    Alarm,
    AlarmOver,
    Attempt,
    Began,
    Code,
    Ended,
    Event,
    Excursion,
    ExcursionBegan,
    ExcursionEnded,
    LimitAhead,
    LimitAheadOver,
    Outcome,
    Reason,
    Secured,
    Withdrawn,
)
from coach.core.gates import Gates
from coach.core.spec import Capture, Sweep
from coach.core.tracks import BEFORE, NEVER, Condition, Record, Swept, Watch, Worst, worse
from coach.recording import US, Mark

REARM_US = 3_000_000
SMALL_US = 3_000_000
LATE_US = 400_000

# Where an event stands among others of the same time: said by a person, at the instant, at a deadline.
SAID, INSTANT, DEADLINE = range(3)

Emitted = tuple[int, int, int, Event]
"""Time, where it stands, index of the capture, the event."""


def crossing(a: tuple[int, float], b: tuple[int, float], level: float) -> int:
    """Time at which the line from `a` to `b` passes `level`, rounded to whole microseconds."""
    if b[1] == a[1]:
        return b[0]
    return a[0] + round((b[0] - a[0]) * ((level - a[1]) / (b[1] - a[1])))


class Machine:
    """One capture's judge.

    Attributes:
        due: no deadline falls due before this; when an instant lies beyond it, call `before` first.
        wake: from this time on it must be stepped at every instant of its own, edges or not.
        attempts: the ended ones.
    """

    def __init__(
        self, spec: Capture, index: int, conditions: Sequence[Condition], watches: Sequence[Watch],
        records: Sequence[Record], swept: Swept | None, out: list[Emitted],
    ) -> None:  # fmt: skip
        self.spec = spec
        self.index = index
        self.conditions = list(conditions)
        self.swept = swept
        self.kept = sorted((c for c in conditions if c.role != "start"), key=lambda c: c.name)
        self.banded = [c for c in self.kept if c.role == "keep"]
        self.watches = sorted(watches, key=lambda w: w.name)
        self.records = sorted(records, key=lambda r: r.name)
        self.out = out
        self.gates = Gates(spec)
        self.due = NEVER
        self.wake = NEVER
        self.attempts: list[Attempt] = []
        self.secured_count = 0
        self.ended_us = BEFORE
        self.has_wander = any(c.wander is not None for c in self.kept)
        self._clear()

    def _clear(self) -> None:
        self.start_us: int | None = None
        self.secured_us: int | None = None
        self.reached_us: int | None = None
        self.furthest = 0.0
        self.first_value = 0.0
        self.from_us: int | None = None
        self.to_us: int | None = None
        self.excursions: list[Excursion] = []
        self.counted = 0
        self.open = 0
        self.open_us = 0
        self.filled_us = 0
        for c in self.conditions:
            c.excursion_us = None
            c.stray = False
            c.worst = None
        for w in self.watches:
            w.beyond_us = None
            w.fresh = False

    # ---- what the drivers call -------------------------------------------------------------------

    def before(self, t_us: int) -> None:
        """Let every deadline before `t_us` fall due. Call it before the samples of `t_us` are taken in."""
        while self.start_us is not None:
            pending = self._pending()
            self.due = min((p[0] for p in pending), default=NEVER)
            if self.due >= t_us:
                return
            self._fall_due(self.due, sorted(p[1:] for p in pending if p[0] == self.due))
        self.due = NEVER

    def next_due(self) -> int:
        """The earliest deadline of the running attempt, exactly; NEVER when none runs."""
        return min((p[0] for p in self._pending()), default=NEVER) if self.start_us is not None else NEVER

    def step(self, t_us: int) -> None:
        """Judge the capture's instant at `t_us`, whose samples the tracks have taken in."""
        self._limits(t_us)
        if self.start_us is not None:
            self._excursions(t_us)
        sweep = self.spec.sweep
        if self.start_us is not None and sweep is not None and self.reached_us is None:
            self._sweep(t_us, sweep)
        if self.start_us is not None and self.secured_us is None:
            self._secure(t_us)
        if self.start_us is None and self.ended_us != t_us and self._may_begin(t_us):
            self._begin(t_us)
        self.wake = self._next_wake(t_us)

    def mark(self, mark: Mark) -> None:
        """Take in what a person said. Deadlines before it must have fallen due."""
        why = self.gates.mark(mark)
        if why is not None and self.start_us is not None:
            t = mark.t_us
            self._end(t, SAID, Outcome.MISSED, Reason(Code(why), t), self._last_instant(t - 1))
        self.wake = min(self.wake, mark.t_us)

    def needed(self, capture: str, t_us: int) -> None:
        """Another capture that this one may need was secured as often as asked at `t_us`."""
        if self.gates.needs_us.get(capture) == NEVER:
            self.gates.needs_us[capture] = t_us + 1
            self.wake = min(self.wake, t_us + 1)

    def finish(self, t_us: int) -> None:
        """The drive ended; `t_us` is its last instant."""
        if self.start_us is not None:
            reason = None if self.secured_us is not None else Reason(Code.DRIVE_ENDED, t_us)
            self._end(t_us, DEADLINE, Outcome.MISSED, reason, self._last_instant(t_us))

    # ---- deadlines -------------------------------------------------------------------------------

    def _pending(self) -> list[tuple[int, int, str, Condition | Watch | Record | None]]:
        """(time, rank, name, who) of every deadline of the running attempt (rule 39)."""
        spec, start = self.spec, self.start_us
        assert start is not None
        due: list[tuple[int, int, str, Condition | Watch | Record | None]] = []
        for w in self.watches:
            if w.beyond_us is not None:
                due.append((w.beyond_us + w.limit.for_us, 0, w.name, w))
            due.append((w.until, 1, w.name, w))
        for c in self._standing():
            due.append((c.until, 2, c.name, c))
            if c.excursion_us is not None:
                due.append((c.excursion_us + spec.grace_us, 3, c.name, c))
        if self.open and spec.hold_us is not None and self.secured_us is None:
            due.append((self.open_us + spec.hold_us // 10 - self.filled_us, 4, self._open()[0].name, None))
        sweep = spec.sweep
        if sweep is not None and sweep.within_us is not None and self.reached_us is None:
            due.append((start + sweep.within_us, 5, sweep.signal, None))
        due += [(r.deadline, 6, r.name, r) for r in self.records]
        return due

    def _fall_due(self, t_us: int, broken: list[tuple[int, str, Condition | Watch | Record | None]]) -> None:
        ends = [self._vouched(rank, who, t_us) for rank, _, who in broken]
        for rank, _, who in broken:
            if rank == 1:
                assert isinstance(who, Watch)
                self._emit(DEADLINE, Alarm(t_us, self.spec.id, who.name, None, who.limit.bound, unseen=True))
            if isinstance(who, Record):
                who.block(t_us)
        rank, name, who = broken[0]
        outcome = Outcome.MISSED
        if rank == 0:
            assert isinstance(who, Watch)
            assert who.beyond_us is not None
            outcome = Outcome.STOPPED
            value = who.beyond_since(who.beyond_us, t_us)[1]
            reason = Reason(Code.LIMIT, t_us, name, value, who.limit.bound)
            self._stopped([w for r, _, w in broken if r == 0 and isinstance(w, Watch)], t_us)
        elif rank == 1:
            assert isinstance(who, Watch)
            reason = Reason(Code.LIMIT_UNSEEN, t_us, name, None, who.unseen_s)
        elif rank == 2:
            assert isinstance(who, Condition)
            if who.since is None:
                reason = Reason(Code.STALE, t_us, name, None, who.stale_s)
            else:
                reason = Reason(Code.UNKNOWN, who.since, name)
        elif rank == 3:
            assert isinstance(who, Condition)
            reason = self._outside(who, self._worst(who, t_us), t_us)
        elif rank == 4:
            assert self.spec.hold_us is not None
            tenth = self.spec.hold_us // 10
            reason = Reason(Code.EXCURSIONS, t_us, name, tenth / US, tenth / US)
        elif rank == 5:
            assert self.spec.sweep is not None
            assert self.spec.sweep.within_us is not None
            within = self.spec.sweep.within_us / US
            reason = Reason(Code.SLOW, t_us, name, within, within)
        else:
            assert isinstance(who, Record)
            outcome = Outcome.SPARSE
            reason = Reason(Code.GAP, t_us, name, None, who.gap_s)
        self._end(t_us, DEADLINE, outcome, reason, min(ends))

    def _vouched(self, rank: int, who: Condition | Watch | Record | None, t_us: int) -> int:
        """Up to where what broke at the deadline `t_us` vouches."""
        if isinstance(who, Record):
            return who.last(t_us)
        if isinstance(who, Watch):
            return who.last_inside(t_us)
        if isinstance(who, Condition):
            return self._last_good(who, t_us)
        if rank == 5:
            assert self.swept is not None
            return self._last_good(self.swept, t_us)
        return NEVER

    # ---- limits ----------------------------------------------------------------------------------

    def _limits(self, t_us: int) -> None:
        stops: list[tuple[Watch, float]] = []
        for w in self.watches:
            value = w.at(t_us)
            if value is not None and self._look(w, value, t_us):
                stops.append((w, value))
        if stops:
            who, value = stops[0]
            ends = [w.last_inside(t_us) for w, _ in stops]
            self._stopped([w for w, _ in stops], t_us)
            reason = Reason(Code.LIMIT, t_us, who.name, value, who.limit.bound)
            self._end(t_us, INSTANT, Outcome.STOPPED, reason, min(ends))

    def _look(self, w: Watch, value: float, t_us: int) -> bool:
        """Look at a sample of a limit's signal; says whether it stops the attempt at once."""
        limit, name = w.limit, self.spec.id
        inside_attempt = self.start_us is not None and t_us >= self.start_us + limit.after_us
        watched = inside_attempt or limit.scope == "drive"
        w.fresh = w.fresh or watched
        if not w.beyond:
            w.beyond_us = None
            if w.passing_us is not None:
                since, w.passing_us = w.passing_us, None
                count, peak = w.beyond_since(since, t_us)
                self._emit(INSTANT, AlarmOver(t_us, name, w.name, since, count, peak))
            ahead = watched and w.raw_ahead(t_us)
            if ahead and not w.ahead:
                self._emit(INSTANT, LimitAhead(t_us, name, w.name, value, limit.bound))
            elif w.ahead and not ahead:
                self._emit(INSTANT, LimitAheadOver(t_us, name, w.name))
            w.ahead = ahead
            return False
        if w.first_beyond(t_us):
            row = w.inside_row(t_us)
            if row is not None and t_us - row > REARM_US:
                w.rearmed = True
        if w.ahead:
            w.ahead = False
            self._emit(INSTANT, LimitAheadOver(t_us, name, w.name))
        if not watched:
            return False
        if w.rearmed:
            w.rearmed = False
            w.passing_us = t_us
            w.count_from(t_us)
            self._emit(INSTANT, Alarm(t_us, name, w.name, value, limit.bound))
        if not inside_attempt:
            return False
        if limit.for_us == 0:
            return True
        if w.beyond_us is None:
            w.beyond_us = t_us
            w.count_from(t_us)
            self.due = min(self.due, t_us + limit.for_us)
        return False

    def _stopped(self, watches: Sequence[Watch], t_us: int) -> None:
        for w in watches:
            w.stopped_us = t_us
        if self.spec.wait_after_limit and self.secured_us is None:
            self.gates.limit_us = NEVER

    # ---- excursions ------------------------------------------------------------------------------

    def _standing(self) -> list[Condition]:
        """The conditions that must hold now: the swept signal only until it has arrived."""
        if self.reached_us is not None and self.swept is not None:
            return self.banded
        return self.kept

    def _open(self) -> list[Condition]:
        return [c for c in self.kept if c.excursion_us is not None]

    def _excursions(self, t_us: int) -> None:
        starting: list[tuple[Condition, Worst]] = []
        for c in self._standing():
            sample = c.at(t_us)
            if sample is None:
                continue
            bad = self._bad(c, t_us, sample[0])
            if bad is None:
                if c.excursion_us is not None:
                    self._close(c, t_us)
            elif c.excursion_us is None:
                starting.append((c, bad))
            elif c.wander is not None and worse(bad, c.worst):
                c.worst = bad
        if not starting:
            return
        spec = self.spec
        ends = [self._last_good(c, t_us) for c, _ in starting]
        if spec.grace_us == 0:
            c, bad = starting[0]
            self._end(t_us, INSTANT, Outcome.MISSED, self._outside(c, bad, t_us), min(ends))
            return
        for c, bad in starting:
            if self.secured_us is None:
                self.counted += 1
                if spec.max_excursions is not None and self.counted > spec.max_excursions:
                    cap = spec.max_excursions
                    reason = Reason(Code.EXCURSIONS, t_us, c.name, float(self.counted), float(cap))
                    self._end(t_us, INSTANT, Outcome.MISSED, reason, min(ends))
                    return
            c.excursion_us, c.worst = t_us, bad
            if not self.open:
                self.open_us = t_us
            self.open += 1
            code, value = bad[3], bad[2]
            self._emit(INSTANT, ExcursionBegan(t_us, spec.id, len(self.attempts), c.name, code, value))
        self.due = min(self.due, t_us)

    def _bad(self, c: Condition, t_us: int, value: float) -> Worst | None:
        """How bad the sample at `t_us` is in the running attempt, its wander included; None when good."""
        c.stray = False
        if not c.good:
            return c.worst_between(t_us, t_us)
        if c.wander is not None:
            least, most = min(c.most[0], value), max(c.most[1], value)
            if most - least > c.wander:
                c.stray = True
                excess = (most - least) - c.wander
                return 1, excess, value, Code.WANDER
            c.most = (least, most)
            c.good_us = t_us
        return None

    def _close(self, c: Condition, t_us: int) -> None:
        assert c.excursion_us is not None
        worst = self._worst(c, t_us)
        done = Excursion(c.name, c.excursion_us, t_us, worst[2], worst[3])
        c.excursion_us, c.worst = None, None
        self.open -= 1
        if not self.open:
            self.filled_us += t_us - self.open_us
        self.excursions.append(done)
        self._emit(INSTANT, ExcursionEnded(t_us, self.spec.id, len(self.attempts), done))

    def _worst(self, c: Condition, t_us: int) -> Worst:
        """The worst sample of the open excursion of `c` up to `t_us`."""
        assert c.excursion_us is not None
        if c.wander is not None:
            assert c.worst is not None
            return c.worst
        return c.worst_between(c.excursion_us, t_us)

    def _outside(self, c: Condition, worst: Worst, t_us: int) -> Reason:
        _, _, value, code = worst
        bound = {Code.LOW: c.low, Code.HIGH: c.high, Code.WANDER: c.wander}.get(code)
        if code is Code.SATURATED:
            bound = c.high if c.high is not None else c.low
        return Reason(code, t_us, c.name, value, bound)

    def _last_good(self, c: Condition, t_us: int) -> int:
        return c.good_us if c.wander is not None else c.last_good(t_us)

    # ---- the sweep -------------------------------------------------------------------------------

    def _sweep(self, t_us: int, sweep: Sweep) -> None:
        swept = self.swept
        assert swept is not None
        if not swept.plausible_at(t_us):
            return
        now, before = swept.plausible(t_us), swept.plausible_before(t_us)
        assert now is not None
        value = now[1]
        sign = 1.0 if sweep.rising else -1.0
        back = (self.furthest - value) * sign
        if (value - sweep.start) * sign < 0 and not (
            back > sweep.dip and (self.furthest - sweep.start) * sign * 10 > sweep.span
        ):
            self._emit(INSTANT, Withdrawn(t_us, self.spec.id, len(self.attempts)))
            self._unwatch(t_us, INSTANT)
            self._clear()
            return
        if back > sweep.dip:
            reason = Reason(Code.DIP, t_us, sweep.signal, value, self.furthest - sweep.dip * sign)
            self._end(t_us, INSTANT, Outcome.MISSED, reason, swept.good_before(t_us))
            return
        if self.open or not all(c.met(t_us) and not c.stray for c in self.kept):
            return
        if back < 0:
            self.furthest = value
        if (value - sweep.to) * sign >= 0:
            past = before is None or (before[1] - sweep.to) * sign >= 0
            self.to_us = t_us if past or before is None else crossing(before, now, sweep.to)
            self.reached_us = t_us

    # ---- securing and beginning ------------------------------------------------------------------

    def _secure(self, t_us: int) -> None:
        spec, start = self.spec, self.start_us
        assert start is not None
        if self.open:
            return
        sweep = spec.sweep
        if sweep is None:
            assert spec.hold_us is not None
            wanted = start + spec.hold_us
        elif self.reached_us is None:
            return
        elif sweep.then_us is None:
            wanted = BEFORE
        else:
            wanted = self.reached_us + sweep.then_us
        if wanted > t_us or any(self._last_good(c, t_us) < wanted for c in self.banded):
            return
        if sweep is not None and 10 * self.filled_us > t_us - start:
            names = sorted(self.excursions, key=lambda e: e.signal)
            reason = Reason(Code.EXCURSIONS, t_us, names[0].signal, self.filled_us / US, (t_us - start) / 10 / US)
            self._end(t_us, INSTANT, Outcome.MISSED, reason, t_us)
            return
        thin = self._thin(start, t_us)
        if thin is not None:
            self._end(t_us, INSTANT, Outcome.SPARSE, thin, t_us)
            return
        self.secured_us = t_us
        self.secured_count += 1
        self._emit(INSTANT, Secured(t_us, spec.id, len(self.attempts), start))
        if sweep is not None:
            self._end(t_us, INSTANT, Outcome.SECURED, None, t_us)

    def _thin(self, start_us: int, t_us: int) -> Reason | None:
        """Rule 38: the recorded signal furthest below the least rate it needs, or None."""
        found: tuple[float, Reason] | None = None
        for r in self.records:
            if t_us - start_us < r.short_us:
                continue
            rate = r.count(start_us, t_us) * US / (t_us - start_us)
            if rate < r.least_hz:
                share = rate / r.rate_hz
                if found is None or share < found[0]:
                    found = share, Reason(Code.RATE, t_us, r.name, rate, r.least_hz)
        return found[1] if found else None

    def ready(self, t_us: int) -> bool:
        """Rule 13 without the gates that people and other captures shut."""
        return (
            all(c.met(t_us) for c in self.conditions)
            and all(w.seen(t_us) and (w.limit.after_us > 0 or not w.beyond) for w in self.watches)
            and all(w.stopped_us is None or w.inside_after(w.stopped_us, t_us) for w in self.watches)
            and all(r.free(t_us) for r in self.records)
        )

    def _may_begin(self, t_us: int) -> bool:
        sweep = self.spec.sweep
        if not self.gates.open(t_us) or not self.ready(t_us):
            return False
        if sweep is None:
            return True
        assert self.swept is not None
        now = self.swept.plausible(t_us)
        sign = 1.0 if sweep.rising else -1.0
        if now is None or (now[1] - sweep.start) * sign < 0:
            return False
        crossed = self.swept.crossed(t_us)
        if crossed is None:
            return False
        if self.swept.plausible_at(t_us):
            before = self.swept.plausible_before(t_us)
            if before is not None and (before[1] - sweep.start) * sign < 0 and self._was_armed(t_us):
                self.from_us = crossed
                return True
        past = (now[1] - sweep.start) * sign
        if sweep.late is not None:
            return past <= sweep.late
        return t_us - crossed <= LATE_US and past * 10 <= sweep.span

    def _was_armed(self, t_us: int) -> bool:
        """Whether the sweep was armed after the last instant of the capture before `t_us` (rule 26)."""
        assert self.swept is not None
        p = max(*(c.previous(t_us) for c in self.conditions), *(w.previous(t_us) for w in self.watches), BEFORE)
        return (
            self.ended_us < p
            and self.gates.open(p)
            and all(c.met_before(p, t_us) for c in self.conditions)
            and all(w.clear_before(p, t_us) for w in self.watches)
            and all(w.stopped_us is None or w.inside_after(w.stopped_us, p) for w in self.watches)
            and all(r.free(p) for r in self.records)
        )

    def _begin(self, t_us: int) -> None:
        from_us = self.from_us
        self._clear()
        self.start_us = t_us
        self._emit(INSTANT, Began(t_us, self.spec.id, len(self.attempts)))
        for c in self.kept:
            if c.wander is not None:
                last = c.latest(t_us)
                assert last is not None
                c.least_and_most(last[1])
                c.good_us = c.last_good(t_us)
        if self.spec.sweep is not None:
            assert self.swept is not None
            now = self.swept.plausible(t_us)
            assert now is not None
            self.from_us = from_us
            self.furthest = self.first_value = now[1]
        for r in self.records:
            r.restart(t_us)
        for w in self.watches:
            w.stopped_us = None
        self.due = t_us

    def _next_wake(self, t_us: int) -> int:
        if self.start_us is None:
            if self.ended_us == t_us:
                return t_us + 1
            opens = self.gates.opens()
            return opens if t_us < opens < NEVER else NEVER
        wake = NEVER
        for w in self.watches:
            if not w.fresh:
                wake = min(wake, max(t_us + 1, self.start_us + w.limit.after_us))
        if self.has_wander or (self.spec.sweep is not None and self.reached_us is None):
            return t_us + 1
        if self.secured_us is None:
            if self.spec.hold_us is not None:
                wake = min(wake, max(t_us + 1, self.start_us + self.spec.hold_us))
            else:
                wake = t_us + 1
        return wake

    # ---- ending ----------------------------------------------------------------------------------

    def _last_instant(self, t_us: int) -> int:
        return max((last[0] for c in self.kept if (last := c.latest(t_us)) is not None), default=BEFORE)

    def _end(self, t_us: int, phase: int, outcome: Outcome, reason: Reason | None, vouched_us: int) -> None:
        spec, start = self.spec, self.start_us
        assert start is not None
        end = min([vouched_us, *(self._last_good(c, t_us) for c in self._open())])
        end = max(end, start if self.secured_us is None else self.secured_us)
        if self.secured_us is not None:
            outcome = Outcome.SECURED
        progress, covers = 0.0, None
        if spec.sweep is not None:
            covers = (self.first_value, self.furthest)
            progress = min(1.0, abs(self.furthest - spec.sweep.start) / spec.sweep.span)
        elif spec.hold_us is not None:
            progress = min(1.0, (end - start) / spec.hold_us)
        small = (
            outcome in (Outcome.MISSED, Outcome.SPARSE)
            and end - start < SMALL_US
            and not (spec.sweep is not None and progress > 0.1)
        )
        attempt = Attempt(
            spec.id, len(self.attempts), outcome, start, end, self.secured_us, reason, tuple(self.excursions),
            self.from_us, self.to_us, covers, progress, small,
        )  # fmt: skip
        self.attempts.append(attempt)
        self._emit(phase, Ended(t_us, spec.id, attempt))
        self.ended_us = t_us
        if not small and spec.rest_us:
            self.gates.rest_us = t_us + spec.rest_us
        self._unwatch(t_us, phase)
        self._clear()
        self.due = NEVER
        self.wake = min(self.wake, t_us + 1)

    def _unwatch(self, t_us: int, phase: int) -> None:
        """Nobody watches the limits of scope `attempt` any more: a warning ahead is over."""
        for w in self.watches:
            if w.ahead and w.limit.scope == "attempt":
                w.ahead = False
                self._emit(phase, LimitAheadOver(t_us, self.spec.id, w.name))

    def _emit(self, phase: int, event: Event) -> None:
        self.out.append((event.t_us, phase, self.index, event))
