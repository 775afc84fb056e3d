"""The state machine of one capture, written once: how a drive is judged (docs/explanation/how-judgement-works.md).

It is stepped at instants of the capture where something may change. Live, those are found sample by sample;
afterwards, with numpy. It keeps no samples: it asks its tracks.
"""

from __future__ import annotations

from coach.core.deadlines import DeadlineRules
from coach.core.events import (
    Began,
    Code,
    Collected,
    Outcome,
    Reason,
    Secured,
)
from coach.core.pieces import Pieces
from coach.core.running import DEADLINE, INSTANT, SAID
from coach.core.sweeping import SweepRules
from coach.core.tracks import BEFORE, NEVER
from coach.recording import US, Mark

BACKLOG = 4096
"""More visits of cells than this are not kept one by one."""


class Machine(DeadlineRules, SweepRules):
    """One capture's judge: the order within an instant (rule 40), securing and beginning."""

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
        if self.pieces is not None and self.collected_us is None:
            self._collect(t_us, self.pieces)
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
        if self.gates.have(capture, t_us + 1):
            self.wake = min(self.wake, t_us + 1)

    def finish(self, t_us: int) -> None:
        """The drive ended; `t_us` is its last instant."""
        if self.start_us is not None:
            reason = None if self.secured_us is not None else Reason(Code.DRIVE_ENDED, t_us)
            self._end(t_us, DEADLINE, Outcome.MISSED, reason, self._last_instant(t_us))
        if self.pieces is not None and self.collected_us is None and self.pieces.reached(None, t_us):
            self._collected(t_us, self.pieces.total_us, DEADLINE)

    def _collect(self, t_us: int, pieces: Pieces) -> None:
        """Rules 44 and 45: whether the pieces have their time together."""
        start = self.start_us
        if start is not None:
            if pieces.axes:
                pieces.visit(t_us)
                if pieces.backlog > BACKLOG:
                    pieces.forget(self._sure(t_us))
            if self.secured_us is None or self.open:
                start = None
        vouched = min([self._last_good(c, t_us) for c in self.banded], default=t_us)
        if pieces.reached(start, vouched):
            self._collected(t_us, pieces.sums(start, vouched)[0], INSTANT)

    def _sure(self, t_us: int) -> int:
        """The running window will not end before this."""
        sure = [self._last_good(c, t_us) for c in self.banded]
        sure += [w.last_inside(t_us) for w in self.watches] + [r.last(t_us) for r in self.records]
        return min(sure, default=t_us)

    def _collected(self, t_us: int, total_us: int, phase: int) -> None:
        self.collected_us = t_us
        self.secured_count = 1
        self._emit(phase, Collected(t_us, self.spec.id, total_us))

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
            first = min(e.signal for e in self.excursions)
            reason = Reason(Code.EXCURSIONS, t_us, first, self.filled_us / US, (t_us - start) / 10 / US)
            self._end(t_us, INSTANT, Outcome.MISSED, reason, t_us)
            return
        thin = self._thin(start, t_us)
        if thin is not None:
            self._end(t_us, INSTANT, Outcome.SPARSE, thin, t_us)
            return
        self.secured_us = t_us
        if self.pieces is None:
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
        return sweep is None or self._sweep_may_begin(t_us, sweep)

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
        self.gap_due = min([r.restart(t_us) for r in self.records], default=NEVER)
        for w in self.watches:
            w.stopped_us = None
        if self.pieces is not None and self.pieces.axes and self.collected_us is None:
            self.pieces.visit(t_us)
        self.due = t_us

    def _next_wake(self, t_us: int) -> int:
        if self.start_us is None:
            opens = self.gates.opens_us
            if self.ended_us == t_us and (self.spec.sweep is not None or self.ready(t_us)):
                return max(t_us + 1, opens)
            return opens if t_us < opens else NEVER
        wake = NEVER
        for w in self.watches:
            if not w.fresh and w.unsettled:
                wake = min(wake, max(t_us + 1, self.start_us + w.limit.after_us))
        if self.has_wander or self.spec.hold_us is None:
            return t_us + 1
        if self.pieces is not None and self.collected_us is None:
            if self.pieces.axes:
                return t_us + 1
            if self.secured_us is not None:
                left = self.pieces.spec.total_us - self.pieces.total_us
                wake = min(wake, max(t_us + 1, self.start_us + left))
        if self.secured_us is None:
            wake = min(wake, max(t_us + 1, self.start_us + self.spec.hold_us))
        return wake
