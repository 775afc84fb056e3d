"""What the state machine may ask of a signal in its place: a condition, a limit, a recorded or a swept signal.

Each has two forms: `online.py` keeps it up to date sample by sample, `arrays.py` looks it up in stored arrays.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from math import isfinite

from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE
from coach.core.events import Code
from coach.core.spec import Band, Facts, Limit

NEVER = 2**63 - 1
"""A time that does not come."""
BEFORE = -(2**62)
"""A time before every drive."""

Worst = tuple[int, float, float | None, Code, float | None]
"""Rank (saturated 2, beyond a bound 1, unreadable 0), excess, value, code, bound; a larger (rank, excess) is worse."""


def flag_of(value: float, facts: Facts) -> int:
    """Flag of a measured sample: unreadable, out of range, at an end of the encoding, or OK."""
    if not isfinite(value):
        return UNREADABLE
    if value < facts.low or value > facts.high:
        return OUT_OF_RANGE
    if facts.ceiling is not None and value >= facts.ceiling:
        return AT_CEILING
    if facts.floor is not None and value <= facts.floor:
        return AT_FLOOR
    return OK


def worst_of(value: float, flag: int, low: float | None, high: float | None) -> Worst | None:
    """How bad a sample is for a band, or None when it is good."""
    if flag == OK:
        if low is not None and value < low:
            return 1, low - value, value, Code.LOW, low
        if high is not None and value > high:
            return 1, value - high, value, Code.HIGH, high
        return None
    if flag == UNREADABLE:
        return 0, 0.0, None, Code.UNREADABLE, None
    if flag == OUT_OF_RANGE:
        return 0, 0.0, value, Code.OUT_OF_RANGE, None
    near, far = (high, low) if flag == AT_CEILING else (low, high)
    return 2, 0.0, value, Code.SATURATED, far if near is None else near


def worse(new: Worst, old: Worst | None) -> bool:
    """Whether `new` is strictly worse than `old`: of equals the first stands."""
    return old is None or new[:2] > old[:2]


def crossing(a: tuple[int, float], b: tuple[int, float], level: float) -> int:
    """Time at which the line from `a` to `b`, on both sides of `level`, passes it; rounded to whole microseconds."""
    return a[0] + round((b[0] - a[0]) * ((level - a[1]) / (b[1] - a[1])))


class Condition(ABC):
    """A band on one signal. `until`: known up to then; `since`: where a cut made `until`, the stamp it is blamed on."""

    __slots__ = ("band", "excursion_us", "good_us", "high", "low", "most", "name", "role", "stray", "wander", "worst")

    def __init__(self, band: Band, role: str) -> None:
        self.band = band
        self.name = band.signal
        self.low = band.low
        self.high = band.high
        self.role = role
        # The machine's own notes on the running attempt.
        self.wander = band.wander
        self.excursion_us: int | None = None
        self.stray = False
        self.least_and_most(0.0)
        self.good_us = BEFORE
        self.worst: Worst | None = None

    def least_and_most(self, value: float) -> None:
        """Start the range that `wander` bounds at `value`."""
        self.most = (value, value)

    @property
    @abstractmethod
    def good(self) -> bool:
        """Whether the last sample is good (readable, unsaturated, in the band)."""

    @property
    @abstractmethod
    def until(self) -> int:
        """Up to when the last sample holds (arrays: NEVER where the next one is in time)."""

    @property
    @abstractmethod
    def since(self) -> int | None:
        """What a cut is blamed on, or None when the signal merely goes stale at `until`."""

    @property
    @abstractmethod
    def stale_s(self) -> float:
        """How long a value holds, in seconds, for the reason."""

    @abstractmethod
    def at(self, t_us: int) -> tuple[float, int] | None:
        """Value and flag of the sample stamped exactly `t_us`, or None (also where it cannot matter: no edge)."""

    @abstractmethod
    def latest(self, t_us: int) -> tuple[int, float] | None:
        """Stamp and value of the last sample at or before `t_us` (the judge's present), or None."""

    @abstractmethod
    def last_good(self, t_us: int) -> int:
        """Stamp of the last good sample at or before `t_us` (the judge's present), or BEFORE."""

    @abstractmethod
    def good_before(self, t_us: int) -> int:
        """Stamp of the last good sample strictly before `t_us` (the judge's present), or BEFORE."""

    @abstractmethod
    def worst_between(self, since_us: int, t_us: int) -> Worst:
        """The worst bad sample from `since_us`, where the bad row begins, to `t_us`."""

    @abstractmethod
    def met(self, t_us: int) -> bool:
        """Whether the condition is met at `t_us`, the judge's present."""

    @abstractmethod
    def met_before(self, p_us: int, t_us: int) -> bool:
        """Whether it was met at `p_us`, the last instant before `t_us`, the judge's present."""

    @abstractmethod
    def previous(self, t_us: int) -> int:
        """Stamp of the last sample strictly before `t_us`, or BEFORE."""


class Swept(Condition):
    """The swept signal: a condition without bounds that also knows plausible samples and crossings."""

    __slots__ = ()

    @abstractmethod
    def plausible_at(self, t_us: int) -> bool:
        """Whether the sample stamped `t_us` is plausible."""

    @abstractmethod
    def plausible(self, t_us: int) -> tuple[int, float] | None:
        """The last plausible sample at or before `t_us`, the judge's present."""

    @abstractmethod
    def plausible_before(self, t_us: int) -> tuple[int, float] | None:
        """The last plausible sample strictly before that at `t_us`, the judge's present, which is plausible too."""

    @abstractmethod
    def plausible_until(self, t_us: int) -> int:
        """Up to when the sample that `plausible_before` gives holds; there must be one."""

    @abstractmethod
    def crossed(self, t_us: int) -> tuple[int, float] | None:
        """When it last went from the near side past the start, interpolated, and the furthest it has been since.

        None if it has been back, or never crossed.
        """


class Watch(ABC):
    """A limit's signal. Only readable samples count as seen."""

    __slots__ = ("ahead", "beyond_us", "fresh", "limit", "name", "passing_us", "rearmed", "stopped_us")

    def __init__(self, limit: Limit) -> None:
        self.limit = limit
        self.name = limit.signal
        # The machine's own notes.
        self.ahead = False
        self.rearmed = True
        self.passing_us: int | None = None
        self.beyond_us: int | None = None
        self.stopped_us: int | None = None
        self.fresh = False

    @property
    @abstractmethod
    def beyond(self) -> bool:
        """Whether the last sample seen is beyond."""

    @property
    @abstractmethod
    def until(self) -> int:
        """Up to when it counts as seen."""

    @property
    @abstractmethod
    def unseen_s(self) -> float:
        """How long it may be unseen, in seconds, for the reason."""

    @abstractmethod
    def at(self, t_us: int) -> float | None:
        """Value of the sample seen at exactly `t_us`, or None (also where it cannot matter: settled, and no edge)."""

    @property
    @abstractmethod
    def unsettled(self) -> bool:
        """Whether samples of the same kind as the last one may still have to be looked at, once it is watched."""

    @abstractmethod
    def raw_ahead(self, t_us: int) -> bool:
        """Whether the slope up to the sample at `t_us` reaches the limit soon (rule 36), watched or not."""

    @abstractmethod
    def inside_row(self, t_us: int) -> int | None:
        """Where the sample beyond at `t_us` follows an inside one: stamp of the first of the row of inside samples."""

    @abstractmethod
    def count_from(self, since_us: int) -> None:
        """Count samples beyond from the one at `since_us`, the present, on."""

    @abstractmethod
    def beyond_since(self, since_us: int, t_us: int) -> tuple[int, float]:
        """How many samples beyond there are from `since_us`, where counting began, up to `t_us`, and the worst."""

    @abstractmethod
    def last_inside(self, t_us: int) -> int:
        """Stamp of the last sample inside at or before `t_us`, or BEFORE."""

    @abstractmethod
    def inside_after(self, s_us: int, t_us: int) -> bool:
        """Whether there is a sample inside after `s_us` and at or before `t_us`."""

    @abstractmethod
    def seen(self, t_us: int) -> bool:
        """Whether it is seen at `t_us`, the judge's present."""

    @abstractmethod
    def clear_before(self, p_us: int, t_us: int) -> bool:
        """Whether it was seen, and inside unless it has `after`, at `p_us`, the last instant before `t_us`."""

    @abstractmethod
    def previous(self, t_us: int) -> int:
        """Stamp of the last sample strictly before `t_us`, seen or not, or BEFORE."""


class Record(ABC):
    """A recorded signal: when its gap runs out, and how many samples it had."""

    __slots__ = ()

    name: str
    gap_s: float
    rate_hz: float
    least_hz: float
    short_us: int

    @property
    @abstractmethod
    def deadline(self) -> int:
        """When its gap runs out if nothing comes (arrays: where the next too long gap does)."""

    @abstractmethod
    def restart(self, start_us: int) -> int:
        """An attempt starts: count its gap from `start_us` if it had already run out then. Returns the deadline."""

    @abstractmethod
    def block(self, t_us: int) -> None:
        """A gap ended an attempt at `t_us`: none may begin before the signal has come again."""

    @abstractmethod
    def free(self, t_us: int) -> bool:
        """Whether at `t_us` it has come again since it was blocked, if it was."""

    @abstractmethod
    def last(self, t_us: int) -> int:
        """Stamp of its last sample at or before `t_us`, or BEFORE."""

    @abstractmethod
    def count(self, after_us: int, t_us: int) -> int:
        """How many samples it has after `after_us`, up to and with `t_us`, the judge's present."""
