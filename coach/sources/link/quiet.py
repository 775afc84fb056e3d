"""What a link does while somebody else talks to the car: nothing, until it is quiet or a person says so."""

from __future__ import annotations

import threading
from collections.abc import Callable

from coach.clock import US, Clock
from coach.sources.link.session import Session
from coach.sources.link.trouble import Failure

QUIET_S = (5.0, 30.0)
"""After signs of somebody else nothing is asked for so long; then one question, and twice as long each time up to the
second where it is not answered cleanly."""
CLEAN_MOST = 2
"""So many clean answers, a second apart, and asking goes on."""
TICK_S = 0.05

# Failures after which the connection has to be made anew.
START_AGAIN = frozenset({"disconnected", "adapter_reset", "not_understood"})


class Quiet:
    """Waiting for quiet. It belongs to the link's thread but for `retry` and `occupied`.

    Attributes:
        occupied: whether asking has stopped because somebody else talks to the car.
    """

    def __init__(self) -> None:
        self.occupied = False
        self._again = threading.Event()

    def retry(self) -> None:
        """A person says that the other one is gone: asks at once instead of waiting. From any thread."""
        self._again.set()

    def leave_alone(self, times: int, wait: Callable[[float], None], clock: Clock) -> None:
        """Makes no connection for a while: the longer, the more often that was the reason.

        Args:
            times: how often it was so before, in a row.
            wait: waits so many seconds and tells the time meanwhile; raises Stopped.
            clock: for the time.
        """
        first_s, longest_s = QUIET_S
        until_us = clock.steady_us() + round(min(first_s * 2 ** min(times, 10), longest_s) * US)
        self.occupied = True
        self._again.clear()
        while clock.steady_us() < until_us and not self._again.is_set():
            wait(TICK_S)
        self.occupied = False

    def until_quiet(self, session: Session, wait: Callable[[float], None], clock: Clock) -> None:
        """Asks nothing until it is quiet, or until somebody says so.

        Raises:
            Failure: the port is gone.
            Stopped: somebody wants to stop.
        """
        self.occupied = True
        self._again.clear()
        quiet_s, longest_s = QUIET_S
        try:
            while True:
                self._silent(session, quiet_s, wait, clock)
                self._again.clear()
                if self._clean(session, wait):
                    return
                quiet_s = min(2 * quiet_s, longest_s)
        finally:
            self.occupied = False
            session.crowd.forget()

    def _silent(self, session: Session, seconds: float, wait: Callable[[float], None], clock: Clock) -> None:
        """Sends nothing until nothing was heard for so long, or until somebody says that it is quiet."""
        until_us = clock.steady_us() + round(seconds * US)
        while clock.steady_us() < until_us and not self._again.is_set():
            wait(TICK_S)
            if session.talk.overheard():
                until_us = clock.steady_us() + round(seconds * US)

    def _clean(self, session: Session, wait: Callable[[float], None]) -> bool:
        """Whether a few questions, a second apart, are answered as they should."""
        for number in range(CLEAN_MOST):
            if number:
                wait(1.0)
            try:
                session.single(1, 0)
            except Failure as failure:
                if failure.code in START_AGAIN:
                    raise
                return False
        return True
