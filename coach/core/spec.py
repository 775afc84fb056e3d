"""What the judge is told: captures with every quantity resolved to the catalogue's unit and whole microseconds.

`coach.plan` makes these from a recipe, a vehicle and a catalogue; nothing here knows a file format.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from coach.core.derive import Derivation

RULES = 1
"""Version of the rules of judgement. A verdict names it; a later default never changes an old verdict."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What the judge must know of a signal: plausible range and where its encoding ends (see `signals.Signal`)."""

    low: float = float("-inf")
    high: float = float("inf")
    ceiling: float | None = None
    floor: float | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A condition: met while `low <= value <= high`; `wander` bounds maximum minus minimum since the start."""

    signal: str
    low: float | None = None
    high: float | None = None
    wander: float | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """What must never be passed: `high` (never above) or `low` (never below), exactly one of them.

    Attributes:
        scope: `attempt`, watched while an attempt runs; `drive`, watched always.
        after_us: the attempt's first moments in which it is not looked at.
        for_us: how long it must be beyond before the attempt is stopped; the alarm does not wait.
        unseen_us: for the signal, or each input of a derived one, how long it may be unseen.
    """

    signal: str
    high: float | None = None
    low: float | None = None
    scope: Literal["attempt", "drive"] = "attempt"
    after_us: int = 0
    for_us: int = 0
    unseen_us: Mapping[str, int] = field(default_factory=dict)

    @property
    def bound(self) -> float:
        """The number that must not be passed, in the signal's unit. Raises ValueError: the limit has none."""
        bound = self.high if self.high is not None else self.low
        if bound is None:
            raise ValueError(f"limit of {self.signal} has neither high nor low")
        return bound


@dataclass(frozen=True, slots=True)
class Sweep:
    """One signal from `start` to `to`, rising or falling.

    Attributes:
        dip: how far it may go back from its furthest value.
        within_us: time it may take, or None.
        late: how far beyond `start` it may still begin; None is 0.4 s after the crossing, at most a tenth of the span.
        then_us: how much longer the conditions must hold after `to`, or None.
        fastest: units a second above which a sample counts for nothing (3,000 rpm/s for an engine speed), or None.
    """

    signal: str
    start: float
    to: float
    dip: float
    within_us: int | None = None
    late: float | None = None
    then_us: int | None = None
    fastest: float | None = None

    @property
    def rising(self) -> bool:
        """Whether the signal goes up."""
        return self.to > self.start

    @property
    def span(self) -> float:
        """Distance between the two ends, positive."""
        return abs(self.to - self.start)


@dataclass(frozen=True, slots=True)
class Asked:
    """How fast a signal must be recorded. `need` False: reported, but does not spoil a window."""

    signal: str
    rate_hz: float
    gap_us: int
    least: float = 0.8
    need: bool = True


@dataclass(frozen=True, slots=True)
class Axis:
    """One side of a table of cells: cell i is `edges[i] <= value < edges[i + 1]`, edges rising, two at least."""

    signal: str
    edges: tuple[float, ...]

    @property
    def cells(self) -> int:
        """How many cells it has."""
        return len(self.edges) - 1


@dataclass(frozen=True, slots=True)
class Collect:
    """Secured attempts are pieces whose time is summed, in all and by cell.

    Attributes:
        total_us: how much time the pieces must have together.
        axes: one or two signals whose values name the cell, or none.
        dwell_us: how long each wanted cell must have been visited within pieces.
        wanted: the cells that must be visited, each as an index along every axis.
    """

    total_us: int
    axes: tuple[Axis, ...] = ()
    dwell_us: int = 0
    wanted: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Capture:
    """One thing to record. Exactly one of `hold_us` and `sweep` is given.

    With `collect`, `hold_us` is the shortest piece that counts: each attempt is judged as a hold of that length.
    `stale_us` gives, for every measured signal that a condition rests on (inputs of derived ones included), how long
    its value holds. `arming`: attempts begin only while armed (closed course, parked).
    """

    id: str
    hold_us: int | None = None
    sweep: Sweep | None = None
    collect: Collect | None = None
    start: tuple[Band, ...] = ()
    keep: tuple[Band, ...] = ()
    limits: tuple[Limit, ...] = ()
    record: tuple[Asked, ...] = ()
    stale_us: Mapping[str, int] = field(default_factory=dict)
    grace_us: int = 0
    max_excursions: int | None = None
    warn_ahead_us: int = 700_000
    times: int = 1
    rest_us: int = 0
    needs: tuple[str, ...] = ()
    confirm: tuple[str, ...] = ()
    wait_after_limit: bool = False
    arming: bool = False

    def __post_init__(self) -> None:
        if (self.hold_us is None) == (self.sweep is None):
            raise ValueError(f"capture {self.id!r} needs either a hold or a sweep")
        if self.collect is not None and (self.hold_us is None or self.times != 1):
            raise ValueError(f"capture {self.id!r} collects pieces of a hold, once")


@dataclass(frozen=True)
class JudgePlan:
    """Everything a verdict depends on, besides the samples and what people said.

    Attributes:
        captures: in the recipe's order.
        facts: of every measured signal that is used.
        derivations: how derived signals come from measured ones. Samples of that name from the source are not
            looked at: a plan leaves out the derivation of a signal that the source measures.
        fresh_us: for every measured signal, how old an input of a derivation may be at all.
    """

    captures: tuple[Capture, ...]
    facts: Mapping[str, Facts] = field(default_factory=dict)
    derivations: tuple[Derivation, ...] = ()
    fresh_us: Mapping[str, int] = field(default_factory=dict)
    rules: int = RULES
