"""The sweep: how it is armed and begins, goes on and arrives (rules 25 to 29)."""

from __future__ import annotations

from coach.core.events import (
    Code,
    Outcome,
    Reason,
    Withdrawn,
)
from coach.core.running import INSTANT, Running
from coach.core.spec import Sweep
from coach.core.tracks import BEFORE, crossing

LATE_US = 400_000


class SweepRules(Running):
    """What a sample of the swept signal does."""

    def _sweep_may_begin(self, t_us: int, sweep: Sweep) -> bool:
        """Whether it crosses its start now, having been armed, or begins late (rules 26 and 27)."""
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
                self.from_us = crossed[0]
                return True
        # Having been further than that once, it does not begin on its way back.
        past = (crossed[1] - sweep.start) * sign
        if sweep.late is not None:
            return past <= sweep.late
        return t_us - crossed[0] <= LATE_US and past * 10 <= sweep.span

    def _was_armed(self, t_us: int) -> bool:
        """Whether the sweep was armed after the last instant of the capture before `t_us` (rule 26)."""
        assert self.swept is not None
        p = max(*(c.previous(t_us) for c in self.conditions), *(w.previous(t_us) for w in self.watches), BEFORE)
        return (
            self.ended_us < p
            and p <= self.swept.plausible_until(t_us)
            and self.gates.open(p)
            and all(c.met_before(p, t_us) for c in self.conditions)
            and all(w.clear_before(p, t_us) for w in self.watches)
            and all(w.stopped_us is None or w.inside_after(w.stopped_us, p) for w in self.watches)
            and all(r.free(p) for r in self.records)
        )

    def _sweep(self, t_us: int, sweep: Sweep) -> None:
        swept = self.swept
        assert swept is not None
        if not swept.plausible_at(t_us):
            return
        now, before = swept.plausible(t_us), swept.plausible_before(t_us)
        assert now is not None
        value = now[1]
        sign = 1.0 if sweep.rising else -1.0
        if self._fell_back(value, sweep):
            reason = Reason(Code.DIP, t_us, sweep.signal, value, self.furthest - sweep.dip * sign)
            self._end(t_us, INSTANT, Outcome.MISSED, reason, swept.good_before(t_us))
            return
        if (value - sweep.start) * sign < 0:
            self._emit(INSTANT, Withdrawn(t_us, self.spec.id, len(self.attempts)))
            self._unwatch(t_us, INSTANT)
            self._clear()
            return
        if self.open or not all(c.met(t_us) and not c.stray for c in self.kept):
            return
        if (value - self.furthest) * sign > 0:
            self.furthest = value
        if (value - sweep.to) * sign >= 0:
            past = before is None or (before[1] - sweep.to) * sign >= 0
            self.to_us = t_us if past or before is None else crossing(before, now, sweep.to)
            self.reached_us = t_us
