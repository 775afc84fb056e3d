"""Is somebody else talking to the car? Counts the signs; it asks nothing and waits for nothing."""

from __future__ import annotations

from collections import deque

from coach.clock import US
from coach.sources.link.answers import STRANGER
from coach.sources.link.trouble import Failure

SIGNS_MOST = 3
SPAN_US = 3 * US
"""So many signs within this time, and more than twice as many as damaged answers: somebody else is there."""

_SIGNS = frozenset({"other_tester", "wrong_parameter", "wrong_mode", "bus_busy", "stopped"})
"""What another tester on the bus, or another program at the adapter, makes of our answers."""
_DAMAGE = frozenset({"garbage", "broken_frame", "short", "wrong_length", "no_prompt", "silent", "adapter_reset"})
"""What a bad line makes of them."""


class Crowd:
    """Failures of the last seconds, as far as they tell of somebody else. Times are of one steady clock."""

    def __init__(self) -> None:
        self._signs: deque[int] = deque()
        self._damage: deque[int] = deque()

    def note(self, failure: Failure, now_us: int) -> None:
        """Takes notice of a failed request."""
        if is_sign(failure):
            self._signs.append(now_us)
        elif failure.code in _DAMAGE:
            self._damage.append(now_us)
        for times in (self._signs, self._damage):
            while times and now_us - times[0] > SPAN_US:
                times.popleft()

    @property
    def there(self) -> bool:
        """Whether somebody else is there, by the failures noted."""
        return len(self._signs) >= SIGNS_MOST and len(self._signs) > 2 * len(self._damage)

    def forget(self) -> None:
        """It begins anew."""
        self._signs.clear()
        self._damage.clear()


def is_sign(failure: Failure) -> bool:
    """Whether a failure is one that somebody else makes."""
    return failure.code in _SIGNS or (failure.code == "foreign" and failure.detail == STRANGER)
