"""What can go wrong beside the car while a drive is recorded: a disk that falls behind, a clock that is set."""

from __future__ import annotations

from coach.clock import US, Clock
from coach.store.drivelog import DriveLog
from coach.store.writer import BEHIND_US

CLOCK_JUMP_US = 2 * US
"""A wall clock that moves so far against the steady one was set; less is a clock being kept in step."""


class Watch:
    """Looks after both.

    Attributes:
        trouble: the sentence that the page shows meanwhile, or None.
    """

    def __init__(self, log: DriveLog, clock: Clock, now_us: int) -> None:
        self.trouble: str | None = None
        self._log, self._clock = log, clock
        self._offset_us = clock.wall_us() - now_us

    def disk(self) -> bool:
        """Looks how far the writer is behind, and gives whether `trouble` changed."""
        behind = self._log.behind_us() >= BEHIND_US
        if behind == (self.trouble is not None):
            return False
        self.trouble = "The disk is more than 10 seconds behind. Recording goes on from memory." if behind else None
        return True

    def clock(self, now_us: int, t_us: int) -> None:
        """Notes a clock that was set; what is judged never follows it.

        Args:
            now_us: of the steady clock.
            t_us: of the drive.
        """
        offset_us = self._clock.wall_us() - now_us
        jump_us = offset_us - self._offset_us
        self._offset_us = offset_us
        if abs(jump_us) >= CLOCK_JUMP_US:
            self._log.clock_jumped(t_us, jump_us)
