"""Conditions inside an attempt: breaks, grace and excursions, wander (rules 10 and 20 to 24)."""

from __future__ import annotations

from coach.core.events import (
    Code,
    Excursion,
    ExcursionBegan,
    ExcursionEnded,
    Outcome,
    Reason,
)
from coach.core.running import INSTANT, Running
from coach.core.tracks import Condition, Worst, worse


class ExcursionRules(Running):
    """What a sample of a condition's signal does to the running attempt."""

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
        ends = [self._last_good(c, t_us) for c, _ in starting] + self._falling_back(t_us)
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

    @staticmethod
    def _outside(c: Condition, worst: Worst, t_us: int) -> Reason:
        _, _, value, code, bound = worst
        return Reason(code, t_us, c.name, value, bound)
