"""Limits: alarms, stops and the warning ahead (rules 30 to 36)."""

from __future__ import annotations

from collections.abc import Sequence

from coach.core.events import (
    Alarm,
    AlarmOver,
    Code,
    LimitAhead,
    LimitAheadOver,
    Outcome,
    Reason,
)
from coach.core.running import INSTANT, Running
from coach.core.tracks import Watch

REARM_US = 3_000_000


class LimitRules(Running):
    """What a sample of a limit's signal does."""

    def _limits(self, t_us: int) -> None:
        stops: list[tuple[Watch, float]] = []
        for w in self.watches:
            value = w.at(t_us)
            if value is not None and self._look(w, value, t_us):
                stops.append((w, value))
        if stops:
            who, value = stops[0]
            # What else breaks at this instant counts for the window as well (rule 19).
            ends = [w.last_inside(t_us) for w, _ in stops] + self._breaking(t_us)
            self._stopped([w for w, _ in stops], t_us)
            reason = Reason(Code.LIMIT, t_us, who.name, value, who.limit.bound)
            self._end(t_us, INSTANT, Outcome.STOPPED, reason, min(ends))

    def _look(self, w: Watch, value: float, t_us: int) -> bool:
        """Look at a sample of a limit's signal; says whether it stops the attempt at once."""
        limit, name = w.limit, self.spec.id
        inside_attempt = self.start_us is not None and t_us >= self.start_us + limit.after_us
        watched = inside_attempt or limit.scope == "drive"
        w.fresh = w.fresh or inside_attempt
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
            self.gates.wait_for_answer()
