"""Conditions, swept and recorded signals kept up to date sample by sample, in constant memory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coach.core.derive import OK, UNREADABLE
from coach.core.spec import Asked, Band, Sweep
from coach.core.tracks import BEFORE, NEVER, Condition, Record, Swept, Worst, crossing, worse, worst_of
from coach.recording import US


class Held:
    """How long a sample of a signal holds in one place: the first of its inputs to go stale decides."""

    __slots__ = ("first", "stale_us")

    def __init__(self, inputs: Sequence[str], stale_us: Mapping[str, int]) -> None:
        self.stale_us = tuple(stale_us.get(name, NEVER) for name in inputs)
        self.first = 0

    def until(self, stamps: Sequence[int]) -> tuple[int, int]:
        """Up to when a sample made of inputs stamped `stamps` holds, and which input decides."""
        best, first = NEVER, 0
        for i, t in enumerate(stamps):
            stale = self.stale_us[i]
            if stale != NEVER and t + stale < best:
                best, first = t + stale, i
        return best, first


class OnlineCondition(Condition):
    """A condition fed sample by sample."""

    __slots__ = (
        "_flag",
        "_good",
        "_good_us",
        "_since",
        "_t",
        "_until",
        "_value",
        "_was_good",
        "_was_good_us",
        "_was_t",
        "_was_until",
        "_worst",
        "held",
    )  # fmt: skip

    def __init__(self, band: Band, role: str, held: Held) -> None:
        super().__init__(band, role)
        self.held = held
        self._t = self._was_t = BEFORE
        self._value = 0.0
        self._flag = UNREADABLE
        self._good = self._was_good = False
        self._until = self._was_until = BEFORE
        self._since: int | None = None
        self._good_us = self._was_good_us = BEFORE
        self._worst: Worst | None = None

    def push(self, t_us: int, value: float, flag: int, stamps: Sequence[int]) -> bool:
        """Take in a sample; says whether something changed that the machine must look at."""
        until, first = self.held.until(stamps)
        if until < t_us:
            return False  # an input is already stale in this place: no sample here (rule 7)
        self.held.first = first
        stale = t_us > self._until
        self._was_t, self._was_good, self._was_until, self._was_good_us = (
            self._t,
            self._good,
            self._until,
            self._good_us,
        )
        self._t, self._value, self._flag, self._until, self._since = t_us, value, flag, until, None
        bad = worst_of(value, flag, self.low, self.high)
        if bad is None:
            self._good = True
            self._good_us = t_us
            return stale or not self._was_good
        self._good = False
        if self._was_good or self._worst is None:
            self._worst = bad
            return True
        if worse(bad, self._worst):
            self._worst = bad
        return stale

    def cut(self, until_us: int, since_us: int) -> None:
        """What was said last holds no longer than `until_us`, because of what is so since `since_us`."""
        if self._t != BEFORE and until_us < self._until:
            self._until, self._since = until_us, since_us

    @property
    def good(self) -> bool:
        return self._good

    @property
    def until(self) -> int:
        return self._until

    @property
    def since(self) -> int | None:
        return self._since

    @property
    def stale_s(self) -> float:
        return self.held.stale_us[self.held.first] / US

    @property
    def flag(self) -> int:
        """Flag of the last sample."""
        return self._flag

    def at(self, t_us: int) -> tuple[float, int] | None:
        return (self._value, self._flag) if self._t == t_us else None

    def latest(self, t_us: int) -> tuple[int, float] | None:
        return None if self._t == BEFORE else (self._t, self._value)

    def last_good(self, t_us: int) -> int:
        return self._good_us

    def good_before(self, t_us: int) -> int:
        return self._was_good_us if self._t == t_us else self._good_us

    def worst_between(self, since_us: int, t_us: int) -> Worst:
        if since_us == t_us == self._t:
            now = worst_of(self._value, self._flag, self.low, self.high)
            assert now is not None
            return now
        assert self._worst is not None
        return self._worst

    def met(self, t_us: int) -> bool:
        return self._good and t_us <= self._until

    def met_before(self, p_us: int, t_us: int) -> bool:
        if self._t == t_us:
            return self._was_good and p_us <= self._was_until
        return self._good and p_us <= self._until

    def previous(self, t_us: int) -> int:
        return self._was_t if self._t == t_us else self._t

    def sampled(self, t_us: int) -> bool:
        """Whether it has a sample at `t_us`: then that is an instant of the capture (rule 4)."""
        return self._t == t_us


class OnlineSwept(OnlineCondition, Swept):
    """The swept signal fed sample by sample."""

    __slots__ = ("_before", "_before_until", "_crossed", "_plausible", "_plausible_until", "sign", "sweep")

    def __init__(self, sweep: Sweep, held: Held) -> None:
        super().__init__(Band(sweep.signal), "sweep", held)
        self.sweep = sweep
        self.sign = 1.0 if sweep.rising else -1.0
        self._plausible: tuple[int, float] | None = None
        self._before: tuple[int, float] | None = None
        self._crossed: tuple[int, float] | None = None
        self._plausible_until = self._before_until = BEFORE

    def push(self, t_us: int, value: float, flag: int, stamps: Sequence[int]) -> bool:
        edge = super().push(t_us, value, flag, stamps)
        last, sweep = self._plausible, self.sweep
        if self._t != t_us or flag != OK or too_fast(last, (t_us, value), self.sign, sweep.fastest):
            return edge
        self._before, self._plausible = last, (t_us, value)
        self._before_until, self._plausible_until = self._plausible_until, self._until
        if (value - sweep.start) * self.sign < 0:
            was_past = last is None or (last[1] - sweep.start) * self.sign >= 0
            self._crossed = None
            return edge or was_past
        if last is not None and (last[1] - sweep.start) * self.sign < 0:
            self._crossed = crossing(last, (t_us, value), sweep.start), value
            return True
        if self._crossed is not None and (value - self._crossed[1]) * self.sign > 0:
            self._crossed = self._crossed[0], value
        return edge

    def plausible_at(self, t_us: int) -> bool:
        return self._plausible is not None and self._plausible[0] == t_us

    def plausible(self, t_us: int) -> tuple[int, float] | None:
        return self._plausible

    def plausible_before(self, t_us: int) -> tuple[int, float] | None:
        return self._before

    def plausible_until(self, t_us: int) -> int:
        return self._before_until

    def crossed(self, t_us: int) -> tuple[int, float] | None:
        return self._crossed


def too_fast(a: tuple[int, float] | None, b: tuple[int, float], sign: float, fastest: float | None) -> bool:
    """Whether `b` is further along the sweep from `a` than `fastest` (units a second) allows."""
    return fastest is not None and a is not None and (b[1] - a[1]) * sign * US > fastest * (b[0] - a[0])


class OnlineRecord(Record):
    """A recorded signal fed sample by sample; counts samples since the attempt's start."""

    __slots__ = (
        "_count",
        "_deadline",
        "_free",
        "_last",
        "_was",
        "gap_s",
        "gap_us",
        "least_hz",
        "name",
        "rate_hz",
        "short_us",
    )

    def __init__(self, asked: Asked) -> None:
        self.name = asked.signal
        self.gap_us = asked.gap_us
        self.gap_s = asked.gap_us / US
        self.rate_hz = asked.rate_hz
        self.least_hz = asked.least * asked.rate_hz
        self.short_us = round(10 * US / asked.rate_hz)
        self._last = self._was = BEFORE
        self._deadline = BEFORE
        self._free = BEFORE
        self._count = 0

    def push(self, t_us: int, flag: int) -> bool:
        """Take in a sample; says whether it ends a gap that had run out."""
        if flag == UNREADABLE:
            return False
        out = t_us > self._deadline
        self._was, self._last = self._last, t_us
        if self._free == NEVER:
            self._free = t_us
        self._deadline = t_us + self.gap_us
        self._count += 1
        return out

    @property
    def deadline(self) -> int:
        return self._deadline

    def restart(self, start_us: int) -> int:
        self._count = 0
        own = BEFORE if self._last == BEFORE else self._last + self.gap_us
        self._deadline = own if own > start_us else start_us + self.gap_us
        return self._deadline

    def block(self, t_us: int) -> None:
        self._free = NEVER

    def free(self, t_us: int) -> bool:
        return self._free <= t_us

    def last(self, t_us: int) -> int:
        return self._last if self._last <= t_us else self._was

    def count(self, after_us: int, t_us: int) -> int:
        return self._count
