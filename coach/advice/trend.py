"""How long a warm-up will still take, from the temperature's own trend; said only once the trend is steady."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

_SPAN_US = 120_000_000
_LEAST_US = 30_000_000
_AGAIN_US = 15_000_000
_MOST_MINUTES = 30


class WarmUp:
    """Watches one temperature on its way up."""

    def __init__(self) -> None:
        self._past: deque[tuple[int, float]] = deque(maxlen=2_000)
        self._minutes: int | None = None
        self._said_at: int | None = None
        self.first: float | None = None

    def add(self, t_us: int, value: float) -> None:
        """A sample, with its time in the drive; one already there is ignored."""
        if self.first is None:
            self.first = value
        if not self._past or self._past[-1][0] < t_us:
            self._past.append((t_us, value))
        while self._past[0][0] < t_us - _SPAN_US:
            self._past.popleft()

    def minutes(self, target: float) -> int | None:
        """Whole minutes until `target` is reached, or None while nobody can tell. Looked at again every 15 s."""
        now = self._past[-1][0] if self._past else 0
        if self._said_at is None or now - self._said_at >= _AGAIN_US:
            self._minutes, self._said_at = self._estimate(target), now
            if self._minutes is None:
                self._said_at = None
        return self._minutes

    def _estimate(self, target: float) -> int | None:
        if len(self._past) < 4 or self._past[-1][0] - self._past[0][0] < _LEAST_US:
            return None
        points = np.array(self._past, dtype=np.float64)
        t = (points[:, 0] - points[0, 0]) / 1e6
        slope, level = np.polyfit(t, points[:, 1], 1)
        # Scatter around the line as large as the rise itself is no trend.
        rise = slope * t[-1]
        if rise <= 0.5 or float(np.std(points[:, 1] - (level + slope * t))) > rise / 2:
            return None
        minutes = math.ceil((target - points[-1, 1]) / slope / 60)
        return max(1, minutes) if minutes <= _MOST_MINUTES else None
