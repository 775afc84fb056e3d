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


def gap_notes(t_us: NDArray[np.int64]) -> list[Note]:
    """Steps between rows of more than a second and more than five usual ones (the median).

    Args:
        t_us: int64, the rows' times in order.
    """
    steps = np.diff(t_us)
    steps = steps[steps > 0]
    if len(steps) < 2:
        return []
    bound = max(_GAP_LEAST_US, _GAP_PERIODS * float(np.median(steps)))
    gaps = steps[steps > bound]
    if not len(gaps):
        return []
    at = int(t_us[int(np.argmax(np.diff(t_us)))])
    text = (
        f"{_counted(len(gaps), 'gap')} of more than {bound / US:.1f} s between rows, "
        f"the longest {float(np.max(gaps)) / US:.3f} s at {(at - int(t_us[0])) / US:.3f} s"
    )
    return [Note("gap", text, count=len(gaps))]


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
        changes = np.flatnonzero(one.value[1:] != one.value[:-1])
        if len(changes) < _HELD_CHANGES:
            continue
        steps = np.diff(changes)
        place = len(steps) // 20
        if np.partition(steps, place)[place] < _HELD_ROWS:
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
