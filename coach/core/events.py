"""What the judge says: frozen events, each with its time in microseconds since the drive's first sample.

Events carry codes and parameters, never words; the words stand in one catalogue that Python and the page share.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """How an attempt ended."""

    SECURED = "secured"
    MISSED = "missed"
    STOPPED = "stopped"
    SPARSE = "sparse"


class Code(StrEnum):
    """Why an attempt ended, or why a sample was not good."""

    LOW = "low"
    HIGH = "high"
    SATURATED = "saturated"
    UNREADABLE = "unreadable"
    OUT_OF_RANGE = "out_of_range"
    WANDER = "wander"
    STALE = "stale"
    UNKNOWN = "unknown"
    EXCURSIONS = "excursions"
    DIP = "dip"
    SLOW = "slow"
    LIMIT = "limit"
    LIMIT_UNSEEN = "limit_unseen"
    GAP = "gap"
    RATE = "rate"
    DRIVE_ENDED = "drive_ended"
    DISARMED = "disarmed"
    PAUSED = "paused"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Reason:
    """The one cause why an attempt ended.

    `value` and `bound` are in the signal's unit; seconds for `stale`, `gap`, `slow` and `limit_unseen`; hertz for
    `rate`; seconds or a count for `excursions`. None where there is no such number.
    """

    code: Code
    t_us: int
    signal: str | None = None
    value: float | None = None
    bound: float | None = None


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stay outside a condition that grace covered; `peak` is the worst value, None if none could be read."""

    signal: str
    start_us: int
    end_us: int
    peak: float | None
    code: Code


@dataclass(frozen=True, slots=True)
class Attempt:
    """A span in which a capture counted, with how it ended.

    Attributes:
        number: counts from 0 within its capture; a sweep that went back to the near side has none.
        secured_us: when it was secured, or None.
        reason: None for a completed sweep, and for a secured attempt that the drive's end closed.
        from_us, to_us: interpolated crossings of a sweep, or None.
        covers: first and furthest counted value of a sweep, or None.
        progress: 0 to 1, how much of the hold or of the sweep was done.
        small: people need not see it (short, neither secured nor stopped, no sweep past a tenth of its span).
    """

    capture: str
    number: int
    outcome: Outcome
    start_us: int
    end_us: int
    secured_us: int | None
    reason: Reason | None
    excursions: tuple[Excursion, ...] = ()
    from_us: int | None = None
    to_us: int | None = None
    covers: tuple[float, float] | None = None
    progress: float = 0.0
    small: bool = False


@dataclass(frozen=True, slots=True)
class Began:
    """An attempt began."""

    t_us: int
    capture: str
    number: int


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """A sweep went back to the near side: the attempt that began does not count and its number is free again."""

    t_us: int
    capture: str
    number: int


@dataclass(frozen=True, slots=True)
class ExcursionBegan:
    """A keep condition left its band inside an attempt, and grace runs."""

    t_us: int
    capture: str
    number: int
    signal: str
    code: Code
    value: float | None


@dataclass(frozen=True, slots=True)
class ExcursionEnded:
    """A good sample ended the excursion in time."""

    t_us: int
    capture: str
    number: int
    excursion: Excursion


@dataclass(frozen=True, slots=True)
class Secured:
    """The window is long enough, or the sweep arrived: it qualifies. It may go on. `saved` is another event."""

    t_us: int
    capture: str
    number: int
    start_us: int


@dataclass(frozen=True, slots=True)
class Collected:
    """The pieces of a capture have their time together, and every wanted cell its own. `total_us` is theirs so far."""

    t_us: int
    capture: str
    total_us: int


@dataclass(frozen=True, slots=True)
class Ended:
    """The attempt is over."""

    t_us: int
    capture: str
    attempt: Attempt


@dataclass(frozen=True, slots=True)
class Alarm:
    """A limit was passed (`unseen` False) or could no longer be seen (`unseen` True, value None)."""

    t_us: int
    capture: str
    signal: str
    value: float | None
    bound: float
    unseen: bool = False


@dataclass(frozen=True, slots=True)
class AlarmOver:
    """The value came back inside. `samples` beyond since the alarm (1: a single sample), `peak` the worst of them."""

    t_us: int
    capture: str
    signal: str
    since_us: int
    samples: int
    peak: float


@dataclass(frozen=True, slots=True)
class LimitAhead:
    """The slope reaches the limit soon; a tone, not a word."""

    t_us: int
    capture: str
    signal: str
    value: float
    bound: float


@dataclass(frozen=True, slots=True)
class LimitAheadOver:
    """The slope no longer reaches the limit, or the limit was passed, or nobody watches it now."""

    t_us: int
    capture: str
    signal: str


Event = (
    Began
    | Withdrawn
    | ExcursionBegan
    | ExcursionEnded
    | Secured
    | Collected
    | Ended
    | Alarm
    | AlarmOver
    | LimitAhead
    | LimitAheadOver
)
