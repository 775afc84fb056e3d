"""The warning before a limit: does the least-squares slope of the last samples reach it soon (rule 36)?"""

from __future__ import annotations

from collections.abc import Sequence

from coach.recording import US

SPAN_US = 400_000
POINTS = 4
NEAR = 0.15


def near(value: float, bound: float, upper: bool) -> bool:
    """Whether an inside value is within 15 % of the limit."""
    margin = abs(bound) * NEAR
    return value >= bound - margin if upper else value <= bound + margin


def suffix(t_us: Sequence[int]) -> int | None:
    """Index of the first sample of the shortest row of last samples with at least 0.4 s and four samples, or None."""
    i = len(t_us) - POINTS
    if i < 0:
        return None
    while t_us[-1] - t_us[i] < SPAN_US:
        i -= 1
        if i < 0:
            return None
    return i


def reaches(t_us: Sequence[int], value: Sequence[float], bound: float, upper: bool, ahead_us: int) -> bool:
    """Whether the least-squares line through the samples, from the last value on, reaches `bound` in `ahead_us`."""
    n = len(t_us)
    first = t_us[0]
    x = [(t - first) / US for t in t_us]
    mean_x, mean_v = sum(x) / n, sum(value) / n
    above = sum((a - mean_x) * (v - mean_v) for a, v in zip(x, value, strict=True))
    below = sum((a - mean_x) ** 2 for a in x)
    projected = value[-1] + above / below * (ahead_us / US)
    return projected >= bound if upper else projected <= bound
