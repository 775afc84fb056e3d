"""Fewer points for a screen, with the peaks kept: the lowest and the highest of every stretch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MOST = 1000
"""Points of one signal at most; a phone is not wider."""


def thin(value: NDArray[np.float64], most: int = MOST) -> NDArray[np.intp]:
    """Indices of at most `most` samples, in order: first, last, and the extremes of equal stretches.

    Args:
        value: shape (n,); NaN is a sample that could not be read and counts only where a stretch has nothing else.
        most: at least 4.
    """
    n = len(value)
    if n <= most:
        return np.arange(n)
    stretches = (most - 2) // 2
    size = -(-n // stretches)
    padded = np.full(stretches * size, np.nan)
    padded[:n] = value
    table = padded.reshape(stretches, size)
    bad = np.isnan(table)
    lowest = np.where(bad, np.inf, table).argmin(axis=1)
    highest = np.where(bad, -np.inf, table).argmax(axis=1)
    first = np.arange(stretches) * size
    found = np.concatenate([[0, n - 1], first + lowest, first + highest])
    return np.unique(found[found < n])
