"""A limit's signal kept up to date sample by sample, in constant memory."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from coach.core.ahead import POINTS, SPAN_US, near, reaches, suffix
from coach.core.derive import AT_CEILING, AT_FLOOR, OUT_OF_RANGE, UNREADABLE
from coach.core.online import Held
from coach.core.spec import Limit
from coach.core.tracks import BEFORE, Watch
from coach.recording import US


class OnlineWatch(Watch):
    """A limit's signal fed sample by sample."""

    __slots__ = (
        "_any",
        "_beyond",
        "_counts",
        "_inside_us",
        "_over",
        "_raw",
        "_row_us",
        "_row_was",
        "_stamps",
        "_t",
        "_until",
        "_value",
        "_values",
        "_was_any",
        "_was_beyond",
        "_was_inside_us",
        "_was_until",
        "ahead_us",
        "held",
        "upper",
    )  # fmt: skip

    def __init__(self, limit: Limit, ahead_us: int, held: Held) -> None:
        super().__init__(limit)
        self.held = held
        self.ahead_us = ahead_us
        self.upper = limit.high is not None
        self._t = BEFORE
        self._any = self._was_any = BEFORE
        self._value = 0.0
        self._until = self._was_until = BEFORE
        self._beyond = self._was_beyond = False
        self._inside_us = self._was_inside_us = BEFORE
        self._row_us: int | None = None
        self._row_was: int | None = None
        self._counts: dict[int, tuple[int, float]] = {}
        self._raw = False
        self._stamps: deque[int] = deque()
        self._values: deque[float] = deque()

    def push(self, t_us: int, value: float, flag: int, stamps: Sequence[int]) -> bool:
        """Take in a sample; says whether something changed that the machine must look at."""
        until, decides = self.held.until(stamps)
        if until < t_us:
            return False
        self._was_any, self._any = self._any, t_us
        if flag in (UNREADABLE, OUT_OF_RANGE):
            return False
        self.held.first = decides
        stale = t_us > self._until
        if stale:
            self._stamps.clear()
            self._values.clear()
        self._was_until, self._was_beyond, self._was_inside_us = self._until, self._beyond, self._inside_us
        self._t, self._value, self._until = t_us, value, until
        beyond = passed(self.limit, value, flag)
        self._beyond = beyond
        was_raw = self._raw
        self._raw = self._look_ahead(t_us, value, beyond)
        if beyond:
            if not self._was_beyond:
                self._row_was, self._row_us = self._row_us, None
                self._counts.clear()
                return True
            for since, (count, worst) in self._counts.items():
                self._counts[since] = count + 1, max(worst, value) if self.upper else min(worst, value)
            return stale
        self._inside_us = t_us
        if self._row_us is None:
            self._row_us = t_us
        return stale or self._was_beyond or self._raw != was_raw

    def _look_ahead(self, t_us: int, value: float, beyond: bool) -> bool:
        stamps, values = self._stamps, self._values
        stamps.append(t_us)
        values.append(value)
        while len(stamps) > POINTS and t_us - stamps[1] >= SPAN_US:
            stamps.popleft()
            values.popleft()
        if beyond or not near(value, self.limit.bound, self.upper):
            return False
        row = list(stamps)
        i = suffix(row)
        if i is None:
            return False
        return reaches(row[i:], list(values)[i:], self.limit.bound, self.upper, self.ahead_us)

    @property
    def beyond(self) -> bool:
        return self._beyond

    @property
    def until(self) -> int:
        return self._until

    @property
    def unseen_s(self) -> float:
        return self.held.stale_us[self.held.first] / US

    def at(self, t_us: int) -> float | None:
        return self._value if self._t == t_us else None

    def value(self) -> tuple[int, float] | None:
        """Stamp and value of the last sample seen."""
        return None if self._t == BEFORE else (self._t, self._value)

    @property
    def unsettled(self) -> bool:
        return self._beyond or self._raw

    def raw_ahead(self, t_us: int) -> bool:
        return self._raw

    def inside_row(self, t_us: int) -> int | None:
        return None if self._was_beyond else self._row_was

    def count_from(self, since_us: int) -> None:
        self._counts.setdefault(since_us, (1, self._value))

    def beyond_since(self, since_us: int, t_us: int) -> tuple[int, float]:
        return self._counts[since_us]

    def last_inside(self, t_us: int) -> int:
        return self._inside_us

    def inside_after(self, s_us: int, t_us: int) -> bool:
        return (self._inside_us if self._inside_us <= t_us else self._was_inside_us) > s_us

    def seen(self, t_us: int) -> bool:
        return t_us <= self._until

    def clear_before(self, p_us: int, t_us: int) -> bool:
        beyond, until = (self._was_beyond, self._was_until) if self._t == t_us else (self._beyond, self._until)
        return p_us <= until and (self.limit.after_us > 0 or not beyond)

    def previous(self, t_us: int) -> int:
        return self._was_any if self._any == t_us else self._any

    def sampled(self, t_us: int) -> bool:
        """Whether it has a sample at `t_us`, seen or not: then that is an instant of the capture (rule 4)."""
        return self._any == t_us


def passed(limit: Limit, value: float, flag: int) -> bool:
    """Whether a readable sample is beyond the limit; saturated on that side always is."""
    if limit.high is not None:
        return flag == AT_CEILING or value > limit.high
    assert limit.low is not None
    return flag == AT_FLOOR or value < limit.low
