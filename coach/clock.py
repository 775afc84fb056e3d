"""The only module that reads a clock. Everything else gets time as an argument."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime

US = 1_000_000
"""Microseconds in a second."""

# CLOCK_BOOTTIME goes on through suspend where the system has it; elsewhere monotonic is the best there is.
_STEADY = getattr(time, "CLOCK_BOOTTIME", None)


class Clock:
    """The system's clocks, in microseconds."""

    def steady_us(self) -> int:
        """Microseconds of a clock that never goes back (and runs through suspend where it can)."""
        if _STEADY is not None:
            return time.clock_gettime_ns(_STEADY) // 1000
        return time.monotonic_ns() // 1000

    def fine_ns(self) -> int:
        """Nanoseconds of the finest clock there is, for measuring how long something takes."""
        return time.perf_counter_ns()

    def wall_us(self) -> int:
        """Microseconds since 1970-01-01 UTC, as the system believes."""
        return time.time_ns() // 1000

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait until `event` is set or `seconds` have passed; says whether it was set."""
        return event.wait(max(0.0, seconds))


@dataclass
class HandClock(Clock):
    """A clock that moves only when told to; for tests and for judging at full speed."""

    now_us: int = 0
    wall_base_us: int = 1_700_000_000 * US

    def steady_us(self) -> int:
        """The hand's time."""
        return self.now_us

    def wall_us(self) -> int:
        """The hand's time, from the wall clock's base."""
        return self.wall_base_us + self.now_us

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Moves the hand on by `seconds` at once."""
        self.now_us += max(0, round(seconds * US))
        return event.is_set()


def wall_text(wall_us: int) -> str:
    """`wall_us` as ISO 8601 in UTC with milliseconds, e.g. `2026-05-04T09:30:00.000Z`."""
    stamp = datetime.fromtimestamp(wall_us / US, tz=UTC)
    return stamp.isoformat(timespec="milliseconds").replace("+00:00", "Z")
