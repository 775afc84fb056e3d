"""The simulator as a live source: the car drives while it is watched, at real speed, N times as fast, or flat out."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from coach.clock import US, Clock
from coach.errors import BadInput
from coach.sources.base import Advance, Ended, Instant, SourceEvent
from coach.sources.simulator.car import Car
from coach.sources.simulator.drive import events
from coach.sources.simulator.driver import Phase
from coach.sources.simulator.sensors import DEFAULT_BATCHES, Batch

TICK_S = 0.1
"""While nothing happens, the time that has passed is told this often (seconds of the clock)."""


class SimulatorSource:
    """A source that simulates as it goes; it holds no drive in memory.

    Args:
        script: what the driver does.
        car: the car.
        seed: of all that is random.
        speed: 1.0 is real speed, None as fast as the listener takes it.
        batches: what is asked for, and how often.
        name: words for a screen.

    Raises:
        BadInput: a speed that is not above zero.
    """

    kind: Literal["simulator"] = "simulator"
    people_recorded = False

    def __init__(
        self,
        script: Sequence[Phase],
        car: Car,
        seed: int = 1,
        *,
        speed: float | None = 1.0,
        batches: tuple[Batch, ...] = DEFAULT_BATCHES,
        name: str = "simulated car",
    ) -> None:
        if speed is not None and not 0 < speed < math.inf:
            raise BadInput(f"the simulator's speed is a number above 0, such as 1 or 8, not {speed:g}", where="speed")
        self._script, self._car, self._seed, self._batches = tuple(script), car, seed, batches
        self.speed = speed
        self.name = name
        self.signals = frozenset(name for batch in batches for name in batch.signals)
        self.meta: Mapping[str, Any] = {"simulated": True, "seed": seed}

    def run(self, emit: Callable[[SourceEvent], None], stop: threading.Event, clock: Clock) -> None:
        """Drives the script once; see `Source.run`."""
        start_us, told_us = clock.steady_us(), 0
        for t_us, event in events(self._script, self._car, self._seed, self._batches):
            while self.speed is not None and not stop.is_set():
                left_us = start_us + math.ceil(t_us / self.speed) - clock.steady_us()
                if left_us <= 0 or clock.wait(stop, min(left_us / US, TICK_S)):
                    break
                now_us = int((clock.steady_us() - start_us) * self.speed)
                if told_us < now_us < t_us:
                    told_us = now_us
                    emit(Advance(now_us))
            if stop.is_set():
                break
            if isinstance(event, Instant):
                told_us = event.t_us
            emit(event)
        emit(Ended("stopped" if stop.is_set() else "finished"))
