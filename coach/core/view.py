"""What the judge shows of itself between events, for advice and for the page. Cheap to make, safe to keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from coach.core.events import Attempt, Code

Status = Literal[
    "met", "low", "high", "saturated", "unreadable", "out_of_range", "wander", "stale", "unknown", "missing"
]


@dataclass(frozen=True, slots=True)
class ConditionView:
    """One condition now. `role`: start, keep, or sweep (the swept signal; low and high are its two ends).

    `value` is the last sample (None if there was none or it cannot be read), `t_us` its stamp. `outside_us` is since
    when an excursion is open in the running attempt, or None.
    """

    role: Literal["start", "keep", "sweep"]
    signal: str
    low: float | None
    high: float | None
    wander: float | None
    value: float | None
    t_us: int | None
    status: Status
    outside_us: int | None = None


@dataclass(frozen=True, slots=True)
class LimitView:
    """One limit now. `status` is `inside`, `beyond` or `unseen`; `ahead` while the slope reaches it soon."""

    signal: str
    bound: float
    upper: bool
    value: float | None
    t_us: int | None
    status: Literal["inside", "beyond", "unseen"]
    ahead: bool


@dataclass(frozen=True, slots=True)
class CaptureView:
    """One capture now.

    Attributes:
        phase: `waiting` (conditions not met), `armed` (a sweep that only has to cross its start), `running`,
            `held` (secured and going on), `closed` (a gate is shut: see `gate`).
        gate: why no attempt may begin although conditions might be met: `arm`, `needs`, `rest`, `confirm`,
            `skipped`, `paused`, `limit` (waiting for the calibrator), `inside` (a passed limit is not back), or None.
        gate_us: when the gate opens by itself (rest), or None.
        number: of the running attempt, or None.
        start_us, secured_us: of the running attempt.
        progress: 0 to 1 of the hold or the sweep; of all that is collected.
        left: what is still to go: microseconds of a hold, units of the swept signal; None when nothing runs. Where
            pieces are collected, microseconds of the piece until it counts, then of what is still to collect.
        furthest: of a running sweep.
        secured_count: attempts secured so far; where pieces are collected, 1 once they all are.
        collected_us: time of the pieces so far, the running secured one included; None where none are collected.
        dwell_us: of that, by cell, row by row; empty without cells.
        last: the attempt that ended last, or None; `best` the missed or sparse one that came furthest, or None.
        missing: recorded signals needed that have never come.
    """

    id: str
    phase: Literal["waiting", "armed", "running", "held", "closed"]
    gate: Literal["arm", "needs", "rest", "confirm", "skipped", "paused", "limit", "inside"] | None
    gate_us: int | None
    number: int | None
    start_us: int | None
    secured_us: int | None
    progress: float
    left: float | None
    furthest: float | None
    secured_count: int
    attempts: int
    last: Attempt | None
    best: Attempt | None
    conditions: tuple[ConditionView, ...]
    limits: tuple[LimitView, ...]
    missing: tuple[str, ...] = ()
    collected_us: int | None = None
    dwell_us: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class JudgeView:
    """All captures at `t_us`, in the recipe's order."""

    t_us: int
    captures: tuple[CaptureView, ...]


__all__ = ["CaptureView", "Code", "ConditionView", "JudgeView", "LimitView", "Status"]
