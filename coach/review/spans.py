"""Speed spans: how long a drive took from one value of a signal up to another, and the distance it covered.

Crossings are interpolated linearly between the two samples around them. Gradient and wind are not known.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series

MOST_APART_US = 5 * US


@dataclass(frozen=True, slots=True)
class Span:
    """One rise from `low` to `high`.

    Attributes:
        start_s, end_s: interpolated crossings, seconds from the drive's first sample.
        uncertainty_s: half the sampling interval around each crossing, both together: a bound, not a deviation.
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


def _rises(series: Series, level: float) -> NDArray[np.int64]:
    """Indices of the samples just before an upward crossing of `level`: below it, and the next one is not."""
    value = series.value
    found: NDArray[np.int64] = np.flatnonzero((value[:-1] < level) & (value[1:] >= level))
    return found


def _crossing_s(series: Series, i: int, level: float) -> float:
    t, v = series.t_us, series.value
    share = (level - float(v[i])) / (float(v[i + 1]) - float(v[i]))
    return (float(t[i]) + share * float(t[i + 1] - t[i])) / US


def spans(series: Series, low: float, high: float) -> Iterator[Span]:
    """Every rise from `low` to `high`: from the last upward crossing of `low` to the next one of `high`.

    A rise over two samples further apart than 5 s is left out: nobody knows what happened between them.

    Args:
        series: samples of one signal.
        low, high: in the signal's unit.

    Raises:
        ValueError: `low` is not below `high`.
    """
    if not low < high:
        raise ValueError(f"a span needs two values, the lower one first, not {low} and {high}")
    lows, highs = _rises(series, low), _rises(series, high)
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
            uncertainty_s=float(steps[0] + steps[-1]) / 2 / US,
            monotone=bool((np.diff(series.value[bottom : top + 2]) >= 0).all()),
        )


def fastest_span(series: Series, low: float, high: float) -> Span | None:
    """The quickest rise from `low` to `high`, the first of equals, or None."""
    return min(spans(series, low, high), key=lambda s: s.seconds, default=None)


def distance_m(road_speed: Series, *, most_apart_us: int = MOST_APART_US) -> float:
    """Distance in metres by the trapezium rule over road speed in km/h; stretches without samples are left out."""
    step = np.diff(road_speed.t_us)
    mean_kmh = (road_speed.value[:-1] + road_speed.value[1:]) / 2
    known = step <= most_apart_us
    return float(np.sum(mean_kmh[known] / 3.6 * step[known] / US))
