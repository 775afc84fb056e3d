"""Stored samples of one signal, cut into runs with numpy.

A *run* is a row of samples of one kind with no staleness between them; an *edge* is where a run begins.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE
from coach.core.spec import Facts
from coach.core.tracks import BEFORE, NEVER

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
    """A flag for each of the measured `value`, or None when all are OK."""
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
    """The samples of one track, cut into runs, with a cursor at the judge's present.

    Args:
        stale_us: for each of the column's stamps, how long it holds.
        kept: which samples count, of the column's length; None is all.
    """

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
        """Move the cursor to the run of `t_us`; needed only once `t_us` has come to `next_us`, and never back."""
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


def decisive(runs: Runs, stale_us: Sequence[int], i: int) -> int:
    """How long the input holds that makes sample `i` go stale first."""
    ends = [
        (int(s[i]) + stale, k) for k, (s, stale) in enumerate(zip(runs.inputs, stale_us, strict=True)) if stale != NEVER
    ]
    return stale_us[min(ends)[1]] if ends else NEVER
