"""Teaching the pedal: reads a source for a moment, parked and with the engine off, without recording a drive."""

from __future__ import annotations

import threading

from coach.clock import US, Clock
from coach.errors import BadInput
from coach.sources.base import Ended, Instant, Source, SourceEvent
from coach.sources.link.source import LinkSource
from coach.vehicle.pedal_ends import LEAST_SAMPLES, steady_reading

SIGNALS = {"pedal": 8.0, "engine_speed": 4.0, "road_speed": 2.0}
"""What is asked of the car, in hertz."""
LASTS_US = 2 * US
"""How long the pedal is looked at, from the first sample on."""
PATIENCE_US = 8 * US
"""How long a car may take to give enough."""


class _Enough(Exception):
    """The pedal was seen for long enough."""


def read_pedal(source: Source, clock: Clock) -> float:
    """The raw pedal now, in per cent.

    Args:
        source: fresh, for this reading alone.
        clock: what the source waits on.

    Raises:
        BadInput: the engine runs, the car moves, the pedal moves or is not seen.
        Failure: the car cannot be reached.
    """
    if isinstance(source, LinkSource):
        source.asked_hz = SIGNALS
    seen: dict[str, list[float]] = {name: [] for name in SIGNALS}
    first_us: list[int] = []
    began_us, failed = clock.steady_us(), ""

    def take(event: SourceEvent) -> None:
        nonlocal failed
        if isinstance(event, Ended):
            failed = event.text
        if isinstance(event, Instant):
            first_us.append(event.t_us)
            for name in SIGNALS:
                if name in event.values:
                    seen[name].append(event.values[name])
            if event.t_us - first_us[0] >= LASTS_US and len(seen["pedal"]) >= LEAST_SAMPLES:
                raise _Enough
        if clock.steady_us() - began_us >= PATIENCE_US:
            raise _Enough

    stop = threading.Event()
    try:
        source.run(take, stop, clock)
    except _Enough:
        pass
    finally:
        stop.set()
    if failed and not seen["pedal"]:
        raise BadInput(failed, where="pedal")
    return steady_reading(seen)
