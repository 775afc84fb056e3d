"""What a reader notices about a table as a whole: gaps, and values that were carried along from row to row."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Note, Series
from coach.signals import Catalogue

_GAP_PERIODS = 5
_GAP_LEAST_US = US
_HELD_ROWS = 3
_HELD_CHANGES = 20


def distinct(t_us: NDArray[np.int64]) -> NDArray[np.int64]:
    """Each time once, in order; sorts `t_us` in place. That sort is quick on runs in order, as a table's times are."""
    t_us.sort(kind="stable")
    new = np.ones(len(t_us), dtype=bool)
    np.not_equal(t_us[1:], t_us[:-1], out=new[1:])
    return t_us if np.all(new) else t_us[new]


def gap_notes(t_us: NDArray[np.int64]) -> list[Note]:
    """Steps between rows of more than a second and more than five usual ones (the median).

    Args:
        t_us: int64, the rows' times, strictly increasing.
    """
    steps = np.diff(t_us)
    if len(steps) < 2:
        return []
    # The median of two million steps, evenly taken, is as good as that of more, and takes less memory.
    usual_us = float(np.median(steps[:: len(steps) // 1_000_000 + 1]))
    bound = max(_GAP_LEAST_US, _GAP_PERIODS * usual_us)
    gaps = int(np.count_nonzero(steps > bound))
    if not gaps:
        return []
    longest = int(np.argmax(steps))
    text = (
        f"{_counted(gaps, 'gap')} of more than {bound / US:.1f} s between rows, "
        f"the longest {steps[longest] / US:.3f} s at {(t_us[longest] - t_us[0]) / US:.3f} s"
    )
    return [Note("gap", text, count=gaps)]


def held_over_notes(series: Mapping[str, Series], catalogue: Catalogue) -> list[Note]:
    """Signals whose value changes far more rarely than rows come: the table may carry old values along.

    A signal that is sampled in every row changes in two rows running now and then. One that is refreshed every tenth
    row never does. So the shortest steps between changes are looked at (the fifth percentile). Steps (a gear, a status)
    and temperatures are left out: they change rarely by nature.
    """
    notes = []
    for name, one in series.items():
        signal = catalogue[name]
        if signal.discrete or signal.quantity == "temperature" or len(one) < _HELD_CHANGES * _HELD_ROWS:
            continue
        changed = one.value[1:] != one.value[:-1]
        count = int(np.count_nonzero(changed))
        # With so many in so few rows, most steps between them are short: no need to look at each.
        if count < _HELD_CHANGES or (count - 1) * (_HELD_ROWS - 0.25) > len(changed):
            continue
        changes = np.flatnonzero(changed)
        steps = np.diff(changes)
        # The fifth percentile is below the bound exactly when more than that many steps are: no need to sort.
        if np.count_nonzero(steps < _HELD_ROWS) > len(steps) // 20:
            continue
        lasted_s = (int(one.t_us[-1]) - int(one.t_us[0])) / US
        text = (
            f"{name} has {len(one) / lasted_s:.1f} rows a second but changes {len(changes) / lasted_s:.2f} times a "
            "second: the table may carry old values along, so rate and gaps are not those of the signal"
        )
        notes.append(Note("held_over", text, signal=name, count=len(one)))
    return notes


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
