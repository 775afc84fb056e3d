"""Whether the car moves, from the samples as they come: what locks the page, and when a capture may be armed."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping

from coach.recording import US

MOVING_KMH = 5.0
MOVING_FOR_US = 1 * US
"""From this speed on, for so long, the car counts as moving."""
STANDING_KMH = 1.0
KNOWN_FOR_US = 2 * US
"""A speed or an engine speed is known so long after its sample."""
STEADY_FOR_US = 3 * US
STEADY_KMH = 2.0
STEADY_SAMPLES = 3
"""A dial can be read while the speed stays within so much for so long, by so many samples."""
_NEVER = -(10**15)


class Motion:
    """Follows road speed and engine speed. Unknown speed with the engine running counts as moving."""

    def __init__(self) -> None:
        self._speed_us = self._engine_us = _NEVER
        self._speed_kmh = 0.0
        self._engine_rpm = 0.0
        self._fast_since_us: int | None = None
        self._lately: deque[tuple[int, float]] = deque()

    def feed(self, t_us: int, values: Mapping[str, float]) -> None:
        """Takes the samples of one instant."""
        speed = values.get("road_speed")
        if speed is not None and math.isfinite(speed):
            self._speed_us, self._speed_kmh = t_us, speed
            self._lately.append((t_us, speed))
            while self._lately[0][0] < t_us - STEADY_FOR_US:
                self._lately.popleft()
            if speed < MOVING_KMH:
                self._fast_since_us = None
            elif self._fast_since_us is None:
                self._fast_since_us = t_us
        engine = values.get("engine_speed")
        if engine is not None and math.isfinite(engine):
            self._engine_us, self._engine_rpm = t_us, engine

    def moving(self, t_us: int) -> bool:
        """Whether the car moves at `t_us`."""
        if t_us - self._speed_us > KNOWN_FOR_US:
            return t_us - self._engine_us <= KNOWN_FOR_US and self._engine_rpm > 0
        return self._fast_since_us is not None and t_us - self._fast_since_us >= MOVING_FOR_US

    def steady_kmh(self, t_us: int) -> float | None:
        """The mean road speed over the last seconds, where it was known and steady; what a dial is read beside."""
        known = t_us - self._speed_us <= KNOWN_FOR_US and len(self._lately) >= STEADY_SAMPLES
        if not known or self._lately[-1][0] - self._lately[0][0] < STEADY_FOR_US // 2:
            return None
        speeds = [kmh for _, kmh in self._lately]
        return sum(speeds) / len(speeds) if max(speeds) - min(speeds) <= STEADY_KMH else None

    def standing(self, t_us: int) -> bool:
        """Whether the car surely stands at `t_us`: its speed is known and nil, or the engine is known to be off."""
        if t_us - self._speed_us <= KNOWN_FOR_US:
            return self._speed_kmh < STANDING_KMH
        return t_us - self._engine_us <= KNOWN_FOR_US and self._engine_rpm == 0
