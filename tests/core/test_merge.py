"""The instants of a derived signal, against a plain loop over every stamp."""

from __future__ import annotations

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from coach.core.derive import Feed
from coach.core.merge import merge_inputs


def feed(stamps):
    t = np.array(sorted(stamps), dtype=np.int64)
    return Feed(t, np.zeros(len(t)), np.zeros(len(t), dtype=np.uint8), ("x",), (t,))


def plain(stamps, ages):
    """Rows of stamp, index of each input's last sample, whether it is of this instant."""
    rows = []
    for t in sorted(set().union(*stamps)):
        last = [max((i for i, s in enumerate(sorted(one)) if s <= t), default=None) for one in stamps]
        if None in last:
            continue
        at = [sorted(one)[i] for one, i in zip(stamps, last, strict=True)]
        if all(t - s <= age for s, age in zip(at, ages, strict=True)):
            rows.append((t, *last, *(s == t for s in at)))
    return rows


@example([{1, 2, 3}, {2, 3, 4}], [0, 0, 0], False)
@example([{1, 2, 3}, {2, 5}, {2, 3, 5}], [9, 1, 9], False)
@given(
    st.lists(st.sets(st.integers(0, 40), max_size=12), min_size=1, max_size=3),
    st.lists(st.integers(0, 15), min_size=3, max_size=3),
    st.booleans(),
)
def test_merge_is_the_plain_loop(stamps, ages, batched):
    """However the stamps lie, also all alike, the merge gives the instants of the plain loop."""
    if batched:
        stamps = [stamps[0]] * len(stamps)
    ages = ages[: len(stamps)]
    merged = merge_inputs([feed(one) for one in stamps], ages)
    columns = [merged.t_us, *merged.index, *merged.fresh]
    assert [tuple(row) for row in zip(*(c.tolist() for c in columns), strict=True)] == plain(stamps, ages)
