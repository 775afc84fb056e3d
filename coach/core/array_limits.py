"""A limit's signal over stored arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from coach.core.ahead import NEAR, POINTS, SPAN_US, reaches
from coach.core.derive import AT_CEILING, AT_FLOOR, OUT_OF_RANGE, UNREADABLE
from coach.core.runs import Bools, Column, Runs, decisive
from coach.core.spec import Limit
from coach.core.tracks import BEFORE, Watch
from coach.recording import US


class ArrayWatch(Watch):
    """A limit's signal over arrays."""

    __slots__ = ("_beyond", "_inside", "_raw", "_row", "_stale_us", "ahead_us", "own_us", "runs", "upper")

    def __init__(self, limit: Limit, ahead_us: int, column: Column, stale_us: Sequence[int]) -> None:
        super().__init__(limit)
        self._stale_us = stale_us
        self.ahead_us = ahead_us
        self.upper = limit.high is not None
        flag = column.flag
        kept = None if flag is None else (flag != UNREADABLE) & (flag != OUT_OF_RANGE)
        plain = replace(column, cut_us=None, since_us=None)  # a limit is seen by the age of its samples alone
        self.runs = runs = Runs(plain, stale_us, kept)
        self.own_us = runs.t_us if kept is None else Runs(plain, stale_us).t_us
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
        # Where the row of each begins, if none of its samples is too far from the next (see `ahead.suffix`).
        row = np.minimum(np.searchsorted(t, t[some] - SPAN_US, side="right") - 1, some - POINTS + 1)
        may = (row >= begin[some]) & ((rises[some] > rises[np.maximum(row, 0)]) | (v[some] == bound))
        for i, first in zip(some[may].tolist(), row[may].tolist(), strict=True):
            raw[i] = reaches(t[first : i + 1].tolist(), v[first : i + 1].tolist(), bound, upper, self.ahead_us)
        return raw if raw.any() else None

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
        return decisive(runs, self._stale_us, last) / US

    @property
    def unsettled(self) -> bool:
        r = self.runs.r
        return r >= 0 and (self._beyond[r] or self._raw[r])

    def at(self, t_us: int) -> float | None:
        r = self.runs.r
        if r < 0 or (self.runs.run_t[r] != t_us and not self.unsettled):
            return None
        i = self.runs.index(t_us)
        return float(self.runs.value[i]) if self.runs.stamp(i) == t_us else None

    def raw_ahead(self, t_us: int) -> bool:
        return self._raw[self.runs.r]

    def inside_row(self, t_us: int) -> int | None:
        r = self.runs.r
        return self._row[r - 1] if r > 0 and self.runs.run_t[r] == t_us and not self._beyond[r - 1] else None

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
        i = int(self.own_us.searchsorted(t_us)) - 1
        return int(self.own_us[i]) if i >= 0 else BEFORE
