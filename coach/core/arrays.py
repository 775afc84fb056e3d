"""Conditions, swept and recorded signals over stored arrays: what the machine asks is looked up in runs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coach.core.derive import OK, UNREADABLE
from coach.core.online import too_fast
from coach.core.runs import Bools, Column, Floats, Ints, Runs, decisive
from coach.core.spec import Asked, Band, Sweep
from coach.core.tracks import BEFORE, NEVER, Condition, Record, Swept, Worst, crossing, worse, worst_of
from coach.recording import US


class ArrayCondition(Condition):
    """A condition over arrays."""

    __slots__ = ("_good", "_stale_us", "runs")

    def __init__(self, band: Band, role: str, column: Column, stale_us: Sequence[int]) -> None:
        super().__init__(band, role)
        self._stale_us = stale_us
        self.runs = runs = Runs(column, stale_us)
        value, flag = runs.value, runs.flag
        good: Bools = np.ones(len(value), dtype=bool) if flag is None else flag == OK
        if self.low is not None:
            good &= value >= self.low
        if self.high is not None:
            good &= value <= self.high
        runs.split(good[1:] != good[:-1], runs.stale_breaks())
        self._good: list[bool] = good[runs.first].tolist()

    def met_intervals(self) -> tuple[Ints, Ints]:
        """First stamp of each run of good samples, and the last moment at which each is met."""
        runs = self.runs
        good = np.array(self._good, dtype=bool)
        starts = runs.edges()
        ends = np.minimum(np.append(starts[1:] - 1, NEVER), np.array(runs.first_until, dtype=np.int64))
        return starts[good], ends[good]

    @property
    def good(self) -> bool:
        return self.runs.r >= 0 and self._good[self.runs.r]

    @property
    def until(self) -> int:
        return self.runs.first_until[self.runs.r] if self.runs.r >= 0 else BEFORE

    @property
    def since(self) -> int | None:
        since = self.runs.since_us
        if since is None or self.until == NEVER:
            return None
        at = int(since[self._last()])
        return None if at == NEVER else at

    def _last(self) -> int:
        """Index of the last sample of the present run."""
        r = self.runs.r
        return (int(self.runs.first[r + 1]) if r + 1 < len(self.runs.first) else len(self.runs.t_us)) - 1

    @property
    def stale_s(self) -> float:
        return decisive(self.runs, self._stale_us, self._last()) / US

    def at(self, t_us: int) -> tuple[float, int] | None:
        r = self.runs.r
        if self.wander is None and (r < 0 or self.runs.run_t[r] != t_us):
            return None
        i = self.runs.index(t_us)
        return (float(self.runs.value[i]), self.runs.flag_of(i)) if self.runs.stamp(i) == t_us else None

    def latest(self, t_us: int) -> tuple[int, float] | None:
        i = self.runs.index(t_us)
        return (int(self.runs.t_us[i]), float(self.runs.value[i])) if i >= 0 else None

    def last_good(self, t_us: int) -> int:
        return self.runs.last_of(t_us, self._good)

    def good_before(self, t_us: int) -> int:
        return self.runs.last_of(t_us - 1, self._good)

    def worst_between(self, since_us: int, t_us: int) -> Worst:
        runs = self.runs
        worst: Worst | None = None
        for i in range(runs.index(since_us), runs.index(t_us) + 1):
            bad = worst_of(float(runs.value[i]), runs.flag_of(i), self.low, self.high)
            if bad is not None and worse(bad, worst):
                worst = bad
        assert worst is not None
        return worst

    def met(self, t_us: int) -> bool:
        r = self.runs.r
        return r >= 0 and self._good[r] and t_us <= self.runs.first_until[r]

    def met_before(self, p_us: int, t_us: int) -> bool:
        r = self.runs.run(p_us)
        return r >= 0 and self._good[r] and p_us <= self.runs.first_until[r]

    def previous(self, t_us: int) -> int:
        return self.runs.stamp(self.runs.index(t_us - 1))


class ArraySwept(ArrayCondition, Swept):
    """The swept signal over arrays."""

    __slots__ = ("_near", "_sign", "_t", "_value", "sides", "sweep")

    def __init__(self, sweep: Sweep, column: Column, stale_us: Sequence[int]) -> None:
        super().__init__(Band(sweep.signal), "sweep", column, stale_us)
        self.sweep = sweep
        self._sign = 1.0 if sweep.rising else -1.0
        runs = self.runs
        t, v = (
            (runs.t_us, runs.value) if runs.flag is None else (runs.t_us[runs.flag == OK], runs.value[runs.flag == OK])
        )
        keep = plausible(t, v, self._sign, sweep.fastest)
        self._t, self._value = (t, v) if keep is None else (t[keep], v[keep])
        near_side = (self._value - sweep.start) * self._sign < 0
        self.sides: Ints = self._t[1:][near_side[1:] != near_side[:-1]]
        self._near = np.maximum.accumulate(np.where(near_side, np.arange(len(near_side)), -1)) if len(t) else self._t

    def _index(self, t_us: int) -> int:
        return int(self._t.searchsorted(t_us, side="right")) - 1

    def _sample(self, i: int) -> tuple[int, float] | None:
        return (int(self._t[i]), float(self._value[i])) if i >= 0 else None

    def plausible_at(self, t_us: int) -> bool:
        i = self._index(t_us)
        return i >= 0 and int(self._t[i]) == t_us

    def plausible(self, t_us: int) -> tuple[int, float] | None:
        return self._sample(self._index(t_us))

    def plausible_before(self, t_us: int) -> tuple[int, float] | None:
        return self._sample(self._index(t_us - 1))

    def plausible_until(self, t_us: int) -> int:
        return self.runs.until_of(self.runs.index(int(self._t[self._index(t_us - 1)])))

    def crossed(self, t_us: int) -> tuple[int, float] | None:
        i = self._index(t_us)
        j = int(self._near[i]) if i >= 0 else -1
        if j < 0 or j == i:
            return None
        a, b = self._sample(j), self._sample(j + 1)
        assert a is not None
        assert b is not None
        since = self._value[j + 1 : i + 1]
        return crossing(a, b, self.sweep.start), float(since.max() if self._sign > 0 else since.min())


def plausible(t_us: Ints, value: Floats, sign: float, fastest: float | None) -> Bools | None:
    """Which samples are not too fast from the last plausible one; None when all are.

    Args:
        t_us, value: of the signal, alike in length.
        sign: 1 for a rising sweep, -1 for a falling one.
        fastest: in the signal's unit a second; None is any.
    """
    if fastest is None:
        return None
    jump = np.flatnonzero((value[1:] - value[:-1]) * sign * US > fastest * np.diff(t_us)) + 1
    if not len(jump):
        return None
    keep = np.ones(len(t_us), dtype=bool)
    i = 0
    for j in jump.tolist():
        if j < i:
            continue  # met while coming back from an earlier jump
        last = (int(t_us[j - 1]), float(value[j - 1]))
        i = j
        while i < len(t_us) and too_fast(last, (int(t_us[i]), float(value[i])), sign, fastest):
            keep[i] = False
            i += 1
        i += 1
    return keep


class ArrayRecord(Record):
    """A recorded signal over arrays; its runs are cut at gaps only."""

    __slots__ = (
        "_deadline",
        "_free",
        "_restarted",
        "gap_s",
        "gap_us",
        "least_hz",
        "name",
        "rate_hz",
        "runs",
        "short_us",
    )

    def __init__(self, asked: Asked, column: Column) -> None:
        super().__init__()
        self.name = asked.signal
        self.gap_us = asked.gap_us
        self.gap_s = asked.gap_us / US
        self.rate_hz = asked.rate_hz
        self.least_hz = asked.least * asked.rate_hz
        self.short_us = round(10 * US / asked.rate_hz)
        kept = None if column.flag is None else column.flag != UNREADABLE
        plain = Column(column.t_us, column.value, column.flag, (column.t_us,))
        self.runs = runs = Runs(plain, (asked.gap_us,), kept)
        runs.split(np.zeros(max(0, len(runs.t_us) - 1), dtype=bool), runs.stale_breaks())
        self._deadline: int | None = None
        self._restarted = -2
        self._free = BEFORE

    @property
    def deadline(self) -> int:
        if self._deadline is not None and self.runs.r == self._restarted:
            return self._deadline
        return self.runs.first_until[self.runs.r] if self.runs.r >= 0 else BEFORE

    def restart(self, start_us: int) -> int:
        r = self.runs.r
        own = self.runs.first_until[r] if r >= 0 else BEFORE
        if own > start_us:
            self._deadline = None
            return own
        self._deadline, self._restarted = start_us + self.gap_us, r
        return self._deadline

    def block(self, t_us: int) -> None:
        self._free = self.runs.first_at(t_us + 1)

    def free(self, t_us: int) -> bool:
        return self._free <= t_us

    def last(self, t_us: int) -> int:
        return self.runs.stamp(self.runs.index(t_us))

    def count(self, after_us: int, t_us: int) -> int:
        return self.runs.index(t_us) - self.runs.index(after_us)
