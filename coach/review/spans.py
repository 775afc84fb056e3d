"""Speed spans: how long a drive took from one value of a signal up to another, the distance, and the acceleration.

Crossings are interpolated linearly between the two samples around them. Gradient and wind are not known, and nothing is
corrected for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series

MOST_APART_US = 5 * US
KMH_A_MS = 3.6


@dataclass(frozen=True, slots=True)
class Span:
    """One rise from `low` to `high`.

    Attributes:
        start_s, end_s: interpolated crossings, seconds from the drive's first sample.
        uncertainty_s: half the sampling interval around each crossing, both together, and the time in which the signal
            moves by half a step of its encoding: a bound, not a deviation.
        monotone: the signal never fell between the two.
    """

    start_s: float
    end_s: float
    uncertainty_s: float
    monotone: bool

    @property
    def seconds(self) -> float:
        """How long it took."""
        return self.end_s - self.start_s


def _reaches(series: Series, level: float) -> NDArray[np.int64]:
    """Indices of the samples just before `level` is reached from below: below it, and the next one is not."""
    value = series.value
    found: NDArray[np.int64] = np.flatnonzero((value[:-1] < level) & (value[1:] >= level))
    return found


def _leaves(series: Series, level: float) -> NDArray[np.int64]:
    """Indices of the samples just before `level` is left upwards: not above it, and the next one is."""
    value = series.value
    found: NDArray[np.int64] = np.flatnonzero((value[:-1] <= level) & (value[1:] > level))
    return found


def _crossing_s(series: Series, i: int, level: float) -> float:
    t, v = series.t_us, series.value
    share = (level - float(v[i])) / (float(v[i + 1]) - float(v[i]))
    return (float(t[i]) + share * float(t[i + 1] - t[i])) / US


def spans(series: Series, low: float, high: float, *, step: float = 0.0) -> Iterator[Span]:
    """Every rise from `low` to `high`: from the last upward crossing of `low` to the next one of `high`.

    Where the signal is never below `low`, as at a standing start from 0, it begins where the signal last left it.

    A rise over two samples further apart than 5 s is left out: nobody knows what happened between them.

    Args:
        series: samples of one signal.
        low, high: in the signal's unit.
        step: of the signal's encoding, 1 for whole km/h; 0: it is continuous.

    Raises:
        ValueError: `low` is not below `high`.
    """
    if not low < high:
        raise ValueError(f"a span needs two values, the lower one first, not {low} and {high}")
    stands = len(series) > 0 and float(np.nanmin(series.value)) >= low
    lows, highs = (_leaves if stands else _reaches)(series, low), _reaches(series, high)
    after = -1
    for top in highs.tolist():
        begin = lows[(lows <= top) & (lows >= after)]
        after = top + 1
        if not len(begin):
            continue
        bottom = int(begin[-1])
        steps = np.diff(series.t_us[bottom : top + 2])
        if int(steps.max()) > MOST_APART_US:
            continue
        yield Span(
            start_s=_crossing_s(series, bottom, low),
            end_s=_crossing_s(series, top, high),
            uncertainty_s=float(steps[0] + steps[-1]) / 2 / US + sum(_unread_s(series, i, step) for i in (bottom, top)),
            monotone=bool((np.diff(series.value[bottom : top + 2]) >= 0).all()),
        )


def _unread_s(series: Series, i: int, step: float) -> float:
    """Time in which the signal moves by half a step around a crossing: over the four samples around it."""
    if not step:
        return 0.0
    a, b = max(0, i - 1), min(len(series) - 1, i + 2)
    rise, took_s = abs(float(series.value[b] - series.value[a])), float(series.t_us[b] - series.t_us[a]) / US
    return step / 2 * took_s / rise if rise else took_s


def fastest_span(series: Series, low: float, high: float, *, step: float = 0.0) -> Span | None:
    """The quickest rise from `low` to `high`, the first of equals, or None; arguments as for `spans`."""
    return min(spans(series, low, high, step=step), key=lambda s: s.seconds, default=None)


@dataclass(frozen=True, slots=True)
class Way:
    """What lies in one span of road speed; each uncertainty is a bound.

    Attributes:
        metres, metres_uncertainty: by the trapezium rule between the two crossings.
        ms2, ms2_uncertainty: mean acceleration, from the two speeds and the time.
    """

    metres: float
    metres_uncertainty: float
    ms2: float
    ms2_uncertainty: float


def way_of(road_speed: Series, span: Span, low: float, high: float, *, step: float = 0.0) -> Way:
    """Distance and mean acceleration of a span of road speed.

    Args:
        road_speed: in km/h.
        span: of `spans`.
        low, high: its two speeds, km/h.
        step: of the encoding, km/h.
    """
    t = road_speed.t_us / US
    inside = (t > span.start_s) & (t < span.end_s)
    at = np.concatenate(([span.start_s], t[inside], [span.end_s]))
    kmh = np.concatenate(([low], road_speed.value[inside], [high]))
    metres = float(np.sum((kmh[:-1] + kmh[1:]) / 2 / KMH_A_MS * np.diff(at)))
    # Each end may be off by its share of the time, and every reading by half a step.
    off = high / KMH_A_MS * span.uncertainty_s + step / 2 / KMH_A_MS * span.seconds
    gain = (high - low) / KMH_A_MS
    ms2 = gain / span.seconds
    least = gain / (span.seconds + span.uncertainty_s)
    return Way(metres, off, ms2, max(ms2 - least, ms2 * span.uncertainty_s / span.seconds))


def acceleration(road_speed: Series, *, window_s: float = 1.0) -> Series:
    """Acceleration in m/s2 at each sample: the least-squares slope of road speed over `window_s` around it.

    NaN where fewer than three samples lie in the window.
    """
    t, v = road_speed.t_us / US, road_speed.value / KMH_A_MS
    first = np.searchsorted(t, t - window_s / 2, side="left")
    last = np.searchsorted(t, t + window_s / 2, side="right")
    count = (last - first).astype(np.float64)

    def summed(x: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.concatenate(([0.0], np.cumsum(x)))
        return np.asarray(total[last] - total[first])

    with np.errstate(divide="ignore", invalid="ignore"):
        mean_t, mean_v = summed(t) / count, summed(v) / count
        spread = summed(t * t) - count * mean_t * mean_t
        slope = (summed(t * v) - count * mean_t * mean_v) / spread
    known = (count >= 3) & (spread > 1e-9)
    return Series(road_speed.t_us, np.where(known, slope, np.nan))


def distance_m(road_speed: Series, *, most_apart_us: int = MOST_APART_US) -> float:
    """Distance in metres by the trapezium rule over road speed in km/h; stretches without samples are left out."""
    step = np.diff(road_speed.t_us)
    mean_kmh = (road_speed.value[:-1] + road_speed.value[1:]) / 2
    known = step <= most_apart_us
    return float(np.sum(mean_kmh[known] / KMH_A_MS * step[known] / US))
