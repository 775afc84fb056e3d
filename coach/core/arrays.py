"""Tracks over stored arrays: conditions become runs with numpy, and what the machine asks is looked up.

A *run* is a row of samples of one kind with no staleness between them; an *edge* is where a run begins.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.core.ahead import NEAR, POINTS, SPAN_US, reaches, suffix
from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE
from coach.core.online import too_fast
from coach.core.spec import Asked, Band, Facts, Limit, Sweep
from coach.core.tracks import BEFORE, NEVER, Condition, Record, Swept, Watch, Worst, crossing, worse, worst_of
from coach.recording import US

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Flags = NDArray[np.uint8]


@dataclass(slots=True)
class Column:
    """A signal's samples: int64 stamps, float64 values, uint8 flags or None when all are OK.

    `stamps`: for a derived signal the stamps of the inputs' samples, else just `(t_us,)`.
    `cut_us`, `since_us`: a derived signal's cuts (see `derive.Feed`), or None.
    """

    t_us: Ints
    value: Floats
    flag: Flags | None
    stamps: tuple[Ints, ...]
    cut_us: Ints | None = None
    since_us: Ints | None = None


def flags_of(value: Floats, facts: Facts) -> Flags | None:
    """Flags of measured samples, or None when all are OK."""
    if len(value) == 0:
        return None
    least, most = float(value.min()), float(value.max())
    if (
        facts.low <= least
        and most <= facts.high
        and np.isfinite(least)
        and np.isfinite(most)
        and (facts.ceiling is None or most < facts.ceiling)
        and (facts.floor is None or least > facts.floor)
    ):
        return None
    flag = np.zeros(len(value), dtype=np.uint8)
    if facts.floor is not None:
        flag[value <= facts.floor] = AT_FLOOR
    if facts.ceiling is not None:
        flag[value >= facts.ceiling] = AT_CEILING
    flag[(value < facts.low) | (value > facts.high)] = OUT_OF_RANGE
    flag[~np.isfinite(value)] = UNREADABLE
    return flag


class Runs:
    """The samples of one track, cut into runs, with a cursor at the judge's present."""

    __slots__ = (
        "first",
        "first_until",
        "flag",
        "inputs",
        "next_us",
        "r",
        "run_t",
        "since_us",
        "t_us",
        "until",
        "until_us",
        "value",
    )

    def __init__(self, column: Column, stale_us: Sequence[int], kept: Bools | None = None) -> None:
        t, value, flag, stamps = column.t_us, column.value, column.flag, column.stamps
        cut, since = column.cut_us, column.since_us
        until: Ints | None = None
        if len(stamps) > 1 or cut is not None:
            until = np.full(len(t), NEVER, dtype=np.int64)
            for stamp, stale in zip(stamps, stale_us, strict=True):
                if stale != NEVER:
                    np.minimum(until, stamp + stale, out=until)
            here = until >= t
            if not here.all():
                kept = here if kept is None else kept & here
        if kept is not None and not kept.all():
            t, value = t[kept], value[kept]
            flag = None if flag is None else flag[kept]
            until = None if until is None else until[kept]
            cut = None if cut is None else cut[kept]
            since = None if since is None else since[kept]
            stamps = tuple(s[kept] for s in stamps)
        self.t_us, self.value, self.flag, self.inputs = t, value, flag, stamps
        self.since_us: Ints | None = None
        if until is not None and cut is not None:
            shorter = cut < until
            until = np.where(shorter, cut, until)
            assert since is not None
            self.since_us = np.where(shorter, since, NEVER)
        self.until_us = until
        self.until = stale_us[0]
        self.r = -1
        self.next_us = BEFORE
        self.first = np.zeros(0, dtype=np.int64)
        self.run_t: list[int] = []
        self.first_until: list[int] = []

    def until_of(self, i: int) -> int:
        """Up to when sample `i` holds."""
        if self.until_us is not None:
            return int(self.until_us[i])
        return NEVER if self.until == NEVER else int(self.t_us[i]) + self.until

    def stale_breaks(self) -> Bools | None:
        """For each sample but the first, whether the one before it had gone stale; None when none had."""
        t = self.t_us
        if self.until_us is not None:
            broken: Bools = t[1:] > self.until_us[:-1]
        elif self.until == NEVER:
            return None
        else:
            broken = np.diff(t) > self.until
        return broken if broken.any() else None

    def split(self, change: Bools, stale: Bools | None) -> None:
        """Cut into runs where `change` says so (for each sample but the first), and where it had gone stale."""
        edge = change if stale is None else change | stale
        n = len(self.t_us)
        self.first = np.concatenate(([0], np.flatnonzero(edge) + 1)) if n else np.zeros(0, dtype=np.int64)
        self.run_t = self.t_us[self.first].tolist()
        last = np.append(self.first[1:], n) - 1
        if stale is None:
            self.first_until = [NEVER] * len(self.run_t)
        else:
            ends = np.append(stale, True)[last] if n else np.zeros(0, dtype=bool)
            self.first_until = [
                self.until_of(i) if s else NEVER for i, s in zip(last.tolist(), ends.tolist(), strict=True)
            ]
        if n:
            self.first_until[-1] = self.until_of(n - 1)

    def edges(self) -> Ints:
        """Stamps at which runs begin."""
        begin: Ints = self.t_us[self.first]
        return begin

    def seek(self, t_us: int) -> None:
        """Move the cursor to the run of `t_us`, which never goes back."""
        if t_us >= self.next_us:
            self.r = r = bisect_right(self.run_t, t_us) - 1
            self.next_us = self.run_t[r + 1] if r + 1 < len(self.run_t) else NEVER

    def run(self, t_us: int) -> int:
        """The run of `t_us`, -1 before the first."""
        return bisect_right(self.run_t, t_us) - 1

    def index(self, t_us: int) -> int:
        """Index of the last sample at or before `t_us`, -1 when there is none."""
        return int(self.t_us.searchsorted(t_us, side="right")) - 1

    def stamp(self, i: int) -> int:
        """Stamp of sample `i`, BEFORE for -1."""
        return int(self.t_us[i]) if i >= 0 else BEFORE

    def flag_of(self, i: int) -> int:
        """Flag of sample `i`."""
        return OK if self.flag is None else int(self.flag[i])

    def last_of(self, t_us: int, kind: Sequence[bool]) -> int:
        """Stamp of the last sample at or before `t_us` in a run for which `kind` holds, or BEFORE."""
        r = self.run(t_us)
        if r >= 0 and kind[r]:
            return self.stamp(self.index(t_us))
        while r >= 0 and not kind[r]:
            r -= 1
        return self.stamp(int(self.first[r + 1]) - 1) if r >= 0 else BEFORE

    def first_at(self, t_us: int) -> int:
        """Stamp of the first sample at or after `t_us`, or NEVER."""
        i = int(self.t_us.searchsorted(t_us))
        return int(self.t_us[i]) if i < len(self.t_us) else NEVER


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
        return _decisive(self.runs, self._stale_us, self._last()) / US

    def at(self, t_us: int) -> tuple[float, int] | None:
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
        return self.met_before(t_us, t_us)

    def met_before(self, p_us: int, t_us: int) -> bool:
        r = self.runs.run(p_us)
        return r >= 0 and self._good[r] and p_us <= self.runs.first_until[r]

    def previous(self, t_us: int) -> int:
        return self.runs.stamp(self.runs.index(t_us - 1))


def _decisive(runs: Runs, stale_us: Sequence[int], i: int) -> int:
    """How long the input holds that makes sample `i` go stale first."""
    ends = [
        (int(s[i]) + stale, k) for k, (s, stale) in enumerate(zip(runs.inputs, stale_us, strict=True)) if stale != NEVER
    ]
    return stale_us[min(ends)[1]] if ends else NEVER


class ArraySwept(ArrayCondition, Swept):
    """The swept signal over arrays."""

    __slots__ = ("_near", "_plain", "_sign", "_t", "_value", "sides", "sweep")

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

    def crossed(self, t_us: int) -> int | None:
        i = self._index(t_us)
        j = int(self._near[i]) if i >= 0 else -1
        if j < 0 or j == i:
            return None
        a, b = self._sample(j), self._sample(j + 1)
        assert a is not None
        assert b is not None
        return crossing(a, b, self.sweep.start)


def plausible(t_us: Ints, value: Floats, sign: float, fastest: float | None) -> Bools | None:
    """Which samples are not too fast from the last plausible one; None when all are."""
    if fastest is None or len(t_us) < 2:
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


class ArrayWatch(Watch):
    """A limit's signal over arrays."""

    __slots__ = ("_beyond", "_inside", "_raw", "_row", "_stale_us", "ahead_us", "runs", "upper")

    def __init__(self, limit: Limit, ahead_us: int, column: Column, stale_us: Sequence[int]) -> None:
        super().__init__(limit)
        self._stale_us = stale_us
        self.ahead_us = ahead_us
        self.upper = limit.high is not None
        flag = column.flag
        kept = None if flag is None else (flag != UNREADABLE) & (flag != OUT_OF_RANGE)
        self.runs = runs = Runs(column, stale_us, kept)
        beyond: Bools = runs.value > limit.bound if self.upper else runs.value < limit.bound
        if runs.flag is not None:
            beyond |= runs.flag == (AT_CEILING if self.upper else AT_FLOOR)
        stale = runs.stale_breaks()
        raw = self._ahead(beyond, stale)
        change = beyond[1:] != beyond[:-1]
        if raw is not None:
            change |= raw[1:] != raw[:-1]
        runs.split(change, stale)
        self._beyond: list[bool] = beyond[runs.first].tolist()
        self._inside = [not b for b in self._beyond]
        self._raw: list[bool] = raw[runs.first].tolist() if raw is not None else [False] * len(self._beyond)
        self._row: list[int] = []
        for r, t in enumerate(runs.run_t):
            self._row.append(self._row[-1] if r and not self._beyond[r] and not self._beyond[r - 1] else t)

    def _ahead(self, beyond: Bools, stale: Bools | None) -> Bools | None:
        """Rule 36 for every sample; None when it holds for none. Only what may hold is computed."""
        t, v = self.runs.t_us, self.runs.value
        bound, upper = self.limit.bound, self.upper
        margin = abs(bound) * NEAR
        close = (v >= bound - margin if upper else v <= bound + margin) & ~beyond
        if len(t) < POINTS or not close.any():
            return None
        toward = np.diff(v) > 0 if upper else np.diff(v) < 0
        rises = np.concatenate(([0], np.cumsum(toward)))
        begin = np.zeros(len(t), dtype=np.int64)
        if stale is not None:
            starts = np.flatnonzero(stale) + 1
            begin[starts] = starts
            np.maximum.accumulate(begin, out=begin)
        raw = np.zeros(len(t), dtype=bool)
        some = np.flatnonzero(close)
        reach = np.minimum(np.searchsorted(t, t[some] - SPAN_US, side="right") - 1, some - POINTS + 1)
        some = some[(reach >= 0) & ((rises[some] > rises[np.maximum(reach, 0)]) | (v[some] == bound))]
        for i in some.tolist():
            first = int(begin[i])
            stamps = t[max(first, self._back(i)) : i + 1].tolist()
            k = suffix(stamps)
            if k is not None:
                raw[i] = reaches(stamps[k:], v[i - len(stamps) + 1 + k : i + 1].tolist(), bound, upper, self.ahead_us)
        return raw if raw.any() else None

    def _back(self, i: int) -> int:
        """An index from which the row for sample `i` surely fits."""
        return max(
            0,
            min(
                i - POINTS + 1, int(np.searchsorted(self.runs.t_us, int(self.runs.t_us[i]) - SPAN_US, side="right")) - 1
            ),
        )

    @property
    def beyond(self) -> bool:
        return self.runs.r >= 0 and self._beyond[self.runs.r]

    @property
    def until(self) -> int:
        return self.runs.first_until[self.runs.r] if self.runs.r >= 0 else BEFORE

    @property
    def unseen_s(self) -> float:
        runs = self.runs
        last = (int(runs.first[runs.r + 1]) if runs.r + 1 < len(runs.first) else len(runs.t_us)) - 1
        return _decisive(runs, self._stale_us, last) / US

    def at(self, t_us: int) -> float | None:
        i = self.runs.index(t_us)
        return float(self.runs.value[i]) if self.runs.stamp(i) == t_us else None

    def raw_ahead(self, t_us: int) -> bool:
        return self._raw[self.runs.r]

    def inside_row(self, t_us: int) -> int | None:
        return self._row[self.runs.r - 1] if self.runs.r > 0 else None

    def first_beyond(self, t_us: int) -> bool:
        r = self.runs.r
        return self._beyond[r] and self.runs.run_t[r] == t_us and (r == 0 or not self._beyond[r - 1])

    def count_from(self, since_us: int) -> None:
        """Nothing to do: the samples are there to be counted."""

    def beyond_since(self, since_us: int, t_us: int) -> tuple[int, float]:
        runs = self.runs
        i = runs.index(since_us)
        r = runs.run(since_us)
        while r + 1 < len(runs.run_t) and self._beyond[r + 1]:
            r += 1
        end = int(runs.first[r + 1]) if r + 1 < len(runs.first) else len(runs.t_us)
        row = runs.value[i : min(end, runs.index(t_us) + 1)]
        return len(row), float(row.max() if self.upper else row.min())

    def last_inside(self, t_us: int) -> int:
        return self.runs.last_of(t_us, self._inside)

    def inside_after(self, s_us: int, t_us: int) -> bool:
        return self.last_inside(t_us) > s_us

    def seen(self, t_us: int) -> bool:
        return self.runs.r >= 0 and t_us <= self.until

    def clear_before(self, p_us: int, t_us: int) -> bool:
        r = self.runs.run(p_us)
        return r >= 0 and p_us <= self.runs.first_until[r] and (self.limit.after_us > 0 or not self._beyond[r])

    def previous(self, t_us: int) -> int:
        return self.runs.stamp(self.runs.index(t_us - 1))


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

    def restart(self, start_us: int) -> None:
        self._deadline = None
        if self.deadline <= start_us:
            self._deadline, self._restarted = start_us + self.gap_us, self.runs.r

    def block(self, t_us: int) -> None:
        self._free = self.runs.first_at(t_us + 1)

    def free(self, t_us: int) -> bool:
        return self._free <= t_us

    def last(self, t_us: int) -> int:
        return self.runs.stamp(self.runs.index(t_us))

    def count(self, after_us: int, t_us: int) -> int:
        return self.runs.index(t_us) - self.runs.index(after_us)
