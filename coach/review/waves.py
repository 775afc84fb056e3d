"""What swings in a signal, and how late one signal follows another. Plain numpy."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series
from coach.review.smooth import even_grid, longest_gap_us, period_us, readable, value_at

Floats = NDArray[np.float64]

HUNT_LOW_HZ, HUNT_HIGH_HZ = 0.1, 1.5
HUNT_LEAST_RATE_HZ = 4.0
"""Hunting lies between 0.1 and 1.5 Hz; below 4 samples a second it is not looked for (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Swing:
    """The strongest swing of a band: its frequency, its height from peak to peak, its share of the variance."""

    hz: float
    peak_to_peak: float
    share: float


def periodogram(value: Floats, rate_hz: float) -> tuple[Floats, Floats]:
    """Frequencies in hertz and power density of an even `value`: one-sided, Hann window, linear trend taken out."""
    n = len(value)
    x = np.arange(n, dtype=np.float64)
    slope, level = np.polyfit(x, value, 1)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * x / n)
    spectrum = np.fft.rfft((value - slope * x - level) * window)
    power: Floats = np.abs(spectrum) ** 2 / (rate_hz * float((window**2).sum()))
    power[1 : None if n % 2 else -1] *= 2
    hz: Floats = np.fft.rfftfreq(n, 1 / rate_hz).astype(np.float64)
    return hz, power


def strongest_swing(series: Series, low_hz: float = HUNT_LOW_HZ, high_hz: float = HUNT_HIGH_HZ) -> Swing | None:
    """The strongest swing of a signal in a band of frequencies.

    The signal is brought to an even grid, its trend taken out, and the strongest frequency of its periodogram found
    between the bins by least squares of sine and cosine.

    Args:
        series: the samples of one window.
        low_hz, high_hz: the band.

    Returns:
        None where the samples come too slowly (below 4 Hz, or twice `high_hz`), the window is shorter than two
        periods of `low_hz`, or the signal has holes.
    """
    s = readable(series)
    if len(s) < 8 or period_us(s) > US / max(HUNT_LEAST_RATE_HZ, 2 * high_hz) * 1.05:
        return None
    t, value, step = even_grid(s)
    if not np.isfinite(value).all() or len(value) * step < 2 / low_hz:
        return None
    hz, power = periodogram(value, 1 / step)
    inside = np.flatnonzero((hz >= low_hz - 1e-9) & (hz <= high_hz + 1e-9))
    best = float(hz[inside[np.argmax(power[inside])]])
    width = 1 / (len(value) * step)
    x = (t - t[0]) / US
    tries = np.clip(np.linspace(best - width, best + width, 41), low_hz, high_hz)
    fits = [_fit(x, value, float(f)) for f in tries]
    at = int(np.argmin([left for _, left, _ in fits]))
    height, left, whole = fits[at]
    return Swing(float(tries[at]), 2 * height, max(0.0, 1 - left / whole) if whole > 0 else 0.0)


def _fit(x: Floats, value: Floats, hz: float) -> tuple[float, float, float]:
    """Amplitude of one frequency beside a straight line, what is left over, and what the line alone leaves over."""
    line = np.stack([np.ones_like(x), x - x.mean()], axis=1)
    wave = np.stack([np.cos(2 * np.pi * hz * x), np.sin(2 * np.pi * hz * x)], axis=1)
    plain = value - line @ np.linalg.lstsq(line, value, rcond=None)[0]
    both = np.concatenate([line, wave], axis=1)
    fit = np.linalg.lstsq(both, value, rcond=None)[0]
    left = value - both @ fit
    return math.hypot(float(fit[2]), float(fit[3])), float(left @ left), float(plain @ plain)


@dataclass(frozen=True, slots=True)
class Delay:
    """`b` follows `a` by `seconds` (negative: it leads); `correlation` of their slopes at that shift."""

    seconds: float
    correlation: float


DELAY_MOST_S = 2.0
DELAY_STEP_S = 0.02
DELAY_LEAST_CORRELATION = 0.4


def delay_between(a: Series, b: Series, *, most_s: float = DELAY_MOST_S) -> Delay | None:
    """How late `b` follows `a`: the shift at which their changes correlate best, each at its own samples.

    Changes over a second are compared, not values: two signals that drift together would fit at any shift. Both are
    interpolated onto one grid of 20 ms; the peak is refined by a parabola.

    Returns:
        None where one of them hardly moves, they share less than 10 s, or nothing correlates by 0.4 or more.
    """
    a, b = readable(a), readable(b)
    if len(a) < 10 or len(b) < 10:
        return None
    first, last = max(a.t_us[0], b.t_us[0]) / US, min(a.t_us[-1], b.t_us[-1]) / US
    if last - first < 10 + 2 * most_s:
        return None
    step = max(DELAY_STEP_S, (last - first) / 200_000)
    reach, span = round(most_s / step), max(1, round(0.5 / step))
    grid = np.round((first + step * np.arange(int((last - first) / step) + 1)) * US).astype(np.int64)
    change_a = _changes(a, grid, span)
    change_b = _changes(b, grid, span)
    known = np.isfinite(change_a) & np.isfinite(change_b)
    if known.sum() * step < 10:
        return None
    x, y = np.where(np.isfinite(change_a), change_a, 0.0), np.where(np.isfinite(change_b), change_b, 0.0)
    x, y = x - x[known].mean(), y - y[known].mean()
    scale = math.sqrt(float(x @ x) * float(y @ y))
    if scale == 0:
        return None
    size = 1 << (2 * len(x)).bit_length()
    cross = np.fft.irfft(np.conj(np.fft.rfft(x, size)) * np.fft.rfft(y, size), size) / scale
    lags = np.concatenate([cross[-reach:], cross[: reach + 1]])
    at = int(np.argmax(np.abs(lags)))
    peak = float(lags[at])
    if abs(peak) < DELAY_LEAST_CORRELATION:
        return None
    shift = float(at - reach)
    if 0 < at < len(lags) - 1:
        before, after = float(lags[at - 1]), float(lags[at + 1])
        bend = before - 2 * peak + after
        shift += 0.5 * (before - after) / bend if bend else 0.0
    return Delay(shift * step, peak)


def _changes(series: Series, grid: NDArray[np.int64], span: int) -> Floats:
    """Change of a signal over twice `span` grid steps around each grid point; NaN at the ends and in silences."""
    value = value_at(series, grid, most_us=max(longest_gap_us(series), 2 * US))
    change = np.full(len(grid), np.nan)
    change[span:-span] = value[2 * span :] - value[: -2 * span]
    return change
