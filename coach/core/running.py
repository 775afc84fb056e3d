"""The state of one capture: its tracks, the attempt that runs, and how an attempt ends (rules 18, 19 and 43)."""

from __future__ import annotations

from collections.abc import Sequence

from coach.core.events import (
    Attempt,
    Code,
    Ended,
    Event,
    Excursion,
    LimitAheadOver,
    Outcome,
    Reason,
)
from coach.core.gates import Gates
from coach.core.pieces import Pieces
from coach.core.spec import Capture, Sweep
from coach.core.tracks import BEFORE, NEVER, Condition, Record, Swept, Watch, Worst

SMALL_US = 3_000_000

# Where an event stands among others of the same time: said by a person, at the instant, at a deadline.
SAID, INSTANT, DEADLINE = range(3)

Emitted = tuple[int, int, int, Event]
"""Time, where it stands, index of the capture, the event."""


class Running:
    """What is known of one capture and of its running attempt; the rules stand in the classes below it.

    Attributes:
        gap_due: no gap of a recorded signal runs out before this.
        due: no deadline falls due before this; when an instant lies beyond it, call `before` first.
        wake: from this time on it must be stepped at every instant of its own, edges or not.
        attempts: the ended ones.
        best: of those missed or sparse the one that came furthest, the first of equals.
        secured_count: attempts secured so far; where pieces are collected, 1 once they all are.
        axes: what names the cell, where pieces are collected by cells.
    """

    def __init__(
        self, spec: Capture, index: int, conditions: Sequence[Condition], watches: Sequence[Watch],
        records: Sequence[Record], swept: Swept | None, out: list[Emitted], axes: Sequence[Condition] = (),
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
        self.pieces = None if spec.collect is None else Pieces(spec.collect, axes)
        self.collected_us: int | None = None
        self.due = NEVER
        self.gap_due = NEVER
        self.wake = NEVER
        self.attempts: list[Attempt] = []
        self.best: Attempt | None = None
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

    def _standing(self) -> list[Condition]:
        """The conditions that must hold now: the swept signal only until it has arrived."""
        if self.reached_us is not None and self.swept is not None:
            return self.banded
        return self.kept

    def _open(self) -> list[Condition]:
        return [c for c in self.kept if c.excursion_us is not None]

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
                return 1, excess, value, Code.WANDER, c.wander
            c.most = (least, most)
            c.good_us = t_us
        return None

    def _breaking(self, t_us: int) -> list[int]:
        """Last good stamps of the conditions whose sample at `t_us` would break the attempt (rule 19)."""
        ends = [
            self._last_good(c, t_us)
            for c in self._standing()
            if c.excursion_us is None and (now := c.at(t_us)) is not None and self._bad(c, t_us, now[0]) is not None
        ]
        return ends + self._falling_back(t_us)

    def _falling_back(self, t_us: int) -> list[int]:
        """Last good stamp of the swept signal before `t_us`, if its sample there ends the attempt (rule 28)."""
        swept, sweep = self.swept, self.spec.sweep
        if swept is None or sweep is None or self.reached_us is not None or not swept.plausible_at(t_us):
            return []
        now = swept.plausible(t_us)
        assert now is not None
        return [swept.good_before(t_us)] if self._fell_back(now[1], sweep) else []

    def _fell_back(self, value: float, sweep: Sweep) -> bool:
        """Whether a plausible value of the running sweep ends it as missed: too far back, and not just begun."""
        sign = 1.0 if sweep.rising else -1.0
        near_side = (value - sweep.start) * sign < 0
        begun = (self.furthest - sweep.start) * sign * 10 > sweep.span
        return (self.furthest - value) * sign > sweep.dip and (begun or not near_side)

    def _last_good(self, c: Condition, t_us: int) -> int:
        return c.good_us if c.wander is not None else c.last_good(t_us)

    def _last_instant(self, t_us: int) -> int:
        return max((last[0] for c in self.kept if (last := c.latest(t_us)) is not None), default=BEFORE)

    def _end(self, t_us: int, phase: int, outcome: Outcome, reason: Reason | None, vouched_us: int) -> None:
        spec, start = self.spec, self.start_us
        assert start is not None
        looked = t_us - 1 if phase == SAID else t_us  # a word takes effect before the samples of its stamp
        end = min([vouched_us, *(self._last_good(c, looked) for c in self._open())])
        end = max(end, start if self.secured_us is None else self.secured_us)
        if self.secured_us is not None:
            outcome = Outcome.SECURED
        progress, covers = 0.0, None
        if spec.sweep is not None:
            covers = (self.first_value, self.furthest)
            progress = min(1.0, abs(self.furthest - spec.sweep.start) / spec.sweep.span)
        else:
            assert spec.hold_us is not None
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
        unlucky = outcome in (Outcome.MISSED, Outcome.SPARSE)
        if unlucky and (self.best is None or progress > self.best.progress):
            self.best = attempt
        if self.pieces is not None:
            self.pieces.end(start, end, piece=self.secured_us is not None)
        self._emit(phase, Ended(t_us, spec.id, attempt))
        self.ended_us = t_us
        if not small and spec.rest_us:
            self.gates.rest(t_us + spec.rest_us)
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
