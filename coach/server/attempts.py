"""How often a pairing secret may be guessed: per address and in all. An attempt counts before it is looked at."""

from __future__ import annotations

import ipaddress
import math
import threading
from collections import deque

from coach.clock import US, Clock
from coach.errors import CoachError

EACH = 5
ALL = 30
WINDOW_S = 600.0


class TooManyAttempts(CoachError):
    """Guessing is shut for a while."""

    code = "too_many_attempts"
    status = 429

    def __init__(self, wait_s: int) -> None:
        super().__init__(f"too many wrong attempts; wait {math.ceil(wait_s / 60)} minutes, then show a new square")
        self.wait_s = wait_s


class Attempts:
    """Counts attempts within a sliding window; only those that failed stay counted.

    Args:
        each: attempts of one address (an IPv6 network counts as one) within the window.
        in_all: attempts of everybody; also how many are remembered at most.
    """

    def __init__(self, clock: Clock, each: int = EACH, in_all: int = ALL, window_s: float = WINDOW_S) -> None:
        self._clock = clock
        self._each, self._all, self._window_us = each, in_all, round(window_s * US)
        self._made: deque[tuple[int, str]] = deque()
        self._lock = threading.Lock()

    def shut_s(self, address: str | None = None) -> int:
        """Seconds for which nobody (or, with `address`, this one) may try; 0 when it may."""
        with self._lock:
            return self._shut_s(None if address is None else _network(address))

    def begin(self, address: str) -> tuple[int, str]:
        """Counts an attempt from `address`; what it gives goes to `right` if the attempt was good.

        Raises:
            TooManyAttempts: nothing was counted.
        """
        network = _network(address)
        with self._lock:
            wait_s = self._shut_s(network)
            if wait_s:
                raise TooManyAttempts(wait_s)
            made = self._clock.steady_us(), network
            self._made.append(made)
            return made

    def right(self, made: tuple[int, str]) -> None:
        """The attempt was good: it counts no more."""
        with self._lock:
            if made in self._made:
                self._made.remove(made)

    def _shut_s(self, network: str | None) -> int:
        now = self._clock.steady_us()
        while self._made and self._made[0][0] <= now - self._window_us:
            self._made.popleft()
        until = [0]
        if len(self._made) >= self._all:
            until.append(self._made[-self._all][0] + self._window_us)
        mine = [t for t, whose in self._made if whose == network]
        if len(mine) >= self._each:
            until.append(mine[-self._each] + self._window_us)
        return max(0, math.ceil((max(until) - now) / US))


def _network(address: str) -> str:
    """IPv4 address, or the /64 of an IPv6 one, of which one machine has as many as it likes."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:60]
    return str(found) if found.version == 4 else str(ipaddress.ip_network((found, 64), strict=False))
