"""Filters and resampling: values between samples, an even grid, Savitzky-Golay, Hampel. Plain numpy."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

HAMPEL_S = 3.0
HAMPEL_MADS = 4.4478
"""Median of 3 s before and after, and 4.4478 median absolute deviations: 40 CFR 1037.528(g)(1)."""
_CHUNK = 20_000


def readable(series: Series) -> Series:
    """The samples that have a value."""
    good = np.isfinite(series.value)
    return series if good.all() else Series(series.t_us[good], series.value[good])


def period_us(series: Series) -> float:
    """The median time between two samples; infinite for fewer than two."""
    return float(np.median(np.diff(series.t_us))) if len(series) > 1 else float("inf")


def longest_gap_us(series: Series) -> float:
    """Across longer silences than this nothing is interpolated: five usual periods, at least 0.5 s."""
    return max(0.5 * US, 5 * period_us(series)) if len(series) > 1 else 0.0


def value_at(series: Series, t_us: NDArray[np.int64], *, most_us: float | None = None) -> Floats:
    """The value at times between samples, linearly; NaN outside, and across silences longer than `most_us`.

    Args:
        series: samples; unreadable ones are left out.
        t_us: shape (n,).
        most_us: five usual periods if left out.
    """
    s = readable(series)
    if not len(s):
        return np.full(len(t_us), np.nan)
    most_us = longest_gap_us(s) if most_us is None else most_us
    right = np.searchsorted(s.t_us, t_us, side="left")
    exact = (right < len(s)) & (s.t_us[np.minimum(right, len(s) - 1)] == t_us)
    inner = (right > 0) & (right < len(s))
    close = np.zeros(len(t_us), dtype=np.bool_)
    close[inner] = s.t_us[right[inner]] - s.t_us[right[inner] - 1] <= most_us
    found = np.interp(t_us, s.t_us, s.value)
    return np.where(exact | close, found, np.nan)


def held_at(series: Series, t_us: NDArray[np.int64], stale_us: float) -> Floats:
    """The last value at or before each of `t_us`, no older than `stale_us`: for states, which have no between."""
    s = readable(series)
    if not len(s):
        return np.full(len(t_us), np.nan)
    last = np.searchsorted(s.t_us, t_us, side="right") - 1
    ok = (last >= 0) & (t_us - s.t_us[np.maximum(last, 0)] <= stale_us)
    return np.where(ok, s.value[np.maximum(last, 0)], np.nan)


def dwell_us(t_us: NDArray[np.int64], most_us: float) -> Floats:
    """Microseconds that each of `t_us` stands for: half the way to its neighbours, each at most half of `most_us`."""
    if len(t_us) < 2:
        return np.zeros(len(t_us))
    half = np.minimum(np.diff(t_us).astype(np.float64), most_us) / 2
    return np.concatenate([half[:1], half[:-1] + half[1:], half[-1:]]) if len(half) > 1 else np.repeat(half, 2)


def even_grid(series: Series, step_us: float | None = None) -> tuple[NDArray[np.int64], Floats, float]:
    """The series on an even grid by linear interpolation: times, values (NaN in silences), step in seconds."""
    s = readable(series)
    if len(s) < 2:
        return s.t_us, s.value, 1.0
    step = max(1.0, round(period_us(s) if step_us is None else step_us))
    t = np.arange(int(s.t_us[0]), int(s.t_us[-1]) + 1, int(step), dtype=np.int64)
    return t, value_at(s, t), step / US


@lru_cache(maxsize=64)
def savgol_weights(half: int, degree: int, derivative: int) -> tuple[Floats, ...]:
    """Weights of a Savitzky-Golay filter over 2 * half + 1 points: one row for each place in the window.

    Least squares of a polynomial over the window (Savitzky and Golay 1964). Row `half` is the filter inside a series;
    the rows before and after serve its two ends.
    """
    x = np.arange(-half, half + 1, dtype=np.float64)
    fit = np.linalg.pinv(np.vander(x, degree + 1, increasing=True))
    rows = []
    for at in x:
        powers = np.zeros(degree + 1)
        for k in range(derivative, degree + 1):
            factor = float(np.prod(np.arange(k - derivative + 1, k + 1))) if derivative else 1.0
            powers[k] = factor * at ** (k - derivative)
        rows.append(powers @ fit)
    return tuple(rows)


def savgol(value: Floats, half: int, degree: int = 2, *, derivative: int = 0, step: float = 1.0) -> Floats:
    """Savitzky-Golay smoothing, or a derivative of the smoothed curve; the ends are fitted, not padded.

    Args:
        value: shape (n,), evenly spaced, n at least 2 * half + 1.
        half: points to each side.
        degree: of the polynomial.
        derivative: 0 for the value, 1 for its slope per unit of `step`.
        step: spacing.

    Raises:
        ValueError: fewer values than the window has.
    """
    width = 2 * half + 1
    if len(value) < width or degree >= width:
        raise ValueError(f"a window of {width} points of degree {degree} needs as many values, not {len(value)}")
    rows = savgol_weights(half, degree, derivative)
    out = np.empty(len(value))
    out[half : len(value) - half] = np.lib.stride_tricks.sliding_window_view(value, width) @ rows[half]
    for k in range(half):
        out[k] = rows[k] @ value[:width]
        out[len(value) - 1 - k] = rows[width - 1 - k] @ value[-width:]
    return out / step**derivative


def hampel(series: Series, *, resolution: float = 0.0) -> Bools:
    """Which samples are spikes: further from the median of 3 s around them than 4.4478 median absolute deviations.

    Source: 40 CFR 1037.528(g)(1). The median absolute deviation is taken as at least half a step of the encoding: a
    signal that rests on one step would have none, and each other step would be a spike. A window of fewer than five
    values judges nothing.

    Args:
        series: samples at any spacing; unreadable ones are no spikes.
        resolution: one step of the encoding, in the signal's unit.

    Returns:
        Shape (n,), for the samples of `series`.
    """
    found = np.zeros(len(series), dtype=np.bool_)
    good = np.flatnonzero(np.isfinite(series.value))
    if len(good) < 5:
        return found
    t, v = series.t_us[good], series.value[good]
    first = np.searchsorted(t, t - round(HAMPEL_S * US), side="left")
    count = np.searchsorted(t, t + round(HAMPEL_S * US), side="right") - first
    width = int(count.max())
    rows = max(1, _CHUNK * 60 // max(width, 1))
    for a in range(0, len(v), rows):
        b = min(len(v), a + rows)
        place = first[a:b, None] + np.arange(width)[None, :]
        window = np.where(np.arange(width)[None, :] < count[a:b, None], v[np.minimum(place, len(v) - 1)], np.inf)
        middle = _median(window, count[a:b])
        away = np.where(np.isfinite(window), np.abs(window - middle[:, None]), np.inf)
        mad = _median(away, count[a:b])
        off = np.abs(v[a:b] - middle)
        least = HAMPEL_MADS * np.maximum(mad, resolution / 2)
        found[good[a:b]] = (off > least * (1 + 1e-9) + 1e-12) & (count[a:b] >= 5)
    return found


def _median(rows: Floats, count: NDArray[np.int64]) -> Floats:
    """The median of the first `count` of the sorted values of each row; the rest are infinite."""
    ordered = np.sort(rows, axis=1)
    each = np.arange(len(rows))
    middle: Floats = (ordered[each, (count - 1) // 2] + ordered[each, count // 2]) / 2
    return middle
