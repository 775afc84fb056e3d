"""The instants at which a derived signal has a sample: where an input has one and the last samples of all are fresh."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.core.derive import Feed


@dataclass(frozen=True, slots=True)
class Merged:
    """Instants of a derived signal, all arrays of one length m.

    Attributes:
        t_us: int64, strictly increasing.
        index: for each input, the index of its last sample at or before the instant.
        fresh: for each input, whether that sample is of this very instant.
    """

    t_us: NDArray[np.int64]
    index: tuple[NDArray[np.intp], ...]
    fresh: tuple[NDArray[np.bool_], ...]


def merge_inputs(feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Merged:
    """The instants at which every input is fresh and at least one has a sample.

    Args:
        feeds: the inputs; an empty one makes the result empty.
        fresh_us: how old the last sample of each input may be, inclusive, in microseconds.
    """
    t = _union([feed.t_us for feed in feeds])
    if all(feed.t_us is t or np.array_equal(feed.t_us, t) for feed in feeds) and min(fresh_us) >= 0:
        # Batched polling: nothing to look for, every instant has every input.
        every, each = np.arange(len(t)), np.ones(len(t), dtype=np.bool_)
        return Merged(t, (every,) * len(feeds), (each,) * len(feeds))
    index = []
    usable = np.ones(len(t), dtype=np.bool_)
    for feed, age_us in zip(feeds, fresh_us, strict=True):
        last = np.searchsorted(feed.t_us, t, side="right") - 1
        seen = last >= 0
        usable &= seen
        usable[seen] &= t[seen] - feed.t_us[last[seen]] <= age_us
        index.append(last)
    t = t[usable]
    index = [last[usable] for last in index]
    fresh = tuple(feed.t_us[last] == t for feed, last in zip(feeds, index, strict=True))
    return Merged(t, tuple(index), fresh)


def _union(stamps: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """All stamps, each once, in order."""
    first = stamps[0]
    # Batched polling gives all inputs the same stamps.
    if all(np.array_equal(t, first) for t in stamps[1:]):
        return first
    # A stable sort finds the sorted runs and merges them: linear here, where numpy's own union hashes, then sorts.
    merged = np.concatenate(stamps)
    merged.sort(kind="stable")
    new = np.ones(len(merged), dtype=np.bool_)
    new[1:] = merged[1:] != merged[:-1]
    return merged[new]
