"""What falls due when nothing comes, or too little, or too late (rule 39)."""

from __future__ import annotations

from coach.core.events import (
    Alarm,
    Code,
    Outcome,
    Reason,
)
from coach.core.excursions import ExcursionRules
from coach.core.limits import LimitRules
from coach.core.running import DEADLINE
from coach.core.tracks import NEVER, Condition, Record, Watch
from coach.recording import US


class DeadlineRules(LimitRules, ExcursionRules):
    """Deadlines of the running attempt, earliest first."""

    def before(self, t_us: int) -> None:
        """Let every deadline before `t_us` fall due. Call it before the samples of `t_us` are taken in."""
        while self.start_us is not None:
            pending = self._pending()
            due = min([p[0] for p in pending], default=NEVER)
            if self.gap_due < t_us and self.gap_due <= due:
                # Only now are the recorded signals asked: their gaps seldom run out first, and there are many.
                pending += [(r.deadline, 6, r.name, r) for r in self.records]
                self.gap_due = min(r.deadline for r in self.records)
                due = min(due, self.gap_due)
            if due >= t_us:
                self.due = min(due, self.gap_due)
                return
            self._fall_due(due, sorted([p[1:] for p in pending if p[0] == due], key=lambda p: p[:2]))
        self.due = NEVER

    def next_due(self) -> int:
        """The earliest deadline of the running attempt, exactly; NEVER when none runs."""
        if self.start_us is None:
            return NEVER
        return min(min((p[0] for p in self._pending()), default=NEVER), *(r.deadline for r in self.records), NEVER)

    def _pending(self) -> list[tuple[int, int, str, Condition | Watch | Record | None]]:
        """(time, rank, name, who) of every deadline of the running attempt but the gaps (rule 39)."""
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
