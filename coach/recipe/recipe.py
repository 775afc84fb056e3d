"""The recipe with every quantity in the catalogue's unit and times in whole microseconds. Frozen; no file format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from coach.core.spec import Axis, Band
from coach.recipe.lines import Path

PIECE_US = 3_000_000
"""The shortest piece that counts where a recipe does not say."""

Place = Literal["road", "closed course", "parked"]


@dataclass(frozen=True, slots=True)
class RecordAsked:
    """How fast a signal is to be recorded; `gap_us` None is five periods, `least` a share (0.8)."""

    signal: str
    rate_hz: float
    gap_us: int | None = None
    least: float = 0.8
    need: bool = True


@dataclass(frozen=True, slots=True)
class LimitAsked:
    """What must never be passed; exactly one of `high` and `low`; `scope` None is the catalogue's default."""

    signal: str
    high: float | None = None
    low: float | None = None
    scope: Literal["attempt", "drive"] | None = None
    after_us: int = 0
    for_us: int = 0


@dataclass(frozen=True, slots=True)
class SweepAsked:
    """One signal from `start` to `to`; `dip` None is 5 % of the span."""

    signal: str
    start: float
    to: float
    dip: float | None = None
    within_us: int | None = None
    late: float | None = None


@dataclass(frozen=True, slots=True)
class CellsAsked:
    """Cells of one or two signals; `wanted` are indices along each axis, row by row."""

    axes: tuple[Axis, ...]
    dwell_us: int
    wanted: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class CaptureAsked:
    """One capture.

    `piece_us` None is 3 s; `record` None means the recipe's list; `stale_after_us` has the key `""` for all signals.
    """

    id: str
    title: str
    ask: str = ""
    place: Place = "road"
    times: int = 1
    hold_us: int | None = None
    collect_us: int | None = None
    piece_us: int | None = None
    cells: CellsAsked | None = None
    sweep: SweepAsked | None = None
    start: tuple[Band, ...] = ()
    keep: tuple[Band, ...] = ()
    limits: tuple[LimitAsked, ...] = ()
    record: Mapping[str, RecordAsked] | None = None
    grace_us: int = 0
    max_excursions: int | None = None
    stale_after_us: Mapping[str, int] = field(default_factory=dict)
    warn_ahead_us: int = 700_000
    then_us: int | None = None
    rest_us: int = 0
    needs: tuple[str, ...] = ()
    after_limit: Literal["wait", "again"] = "again"
    confirm: tuple[str, ...] = ()
    before_us: int = 10_000_000
    after_us: int = 10_000_000

    def signals(self) -> tuple[str, ...]:
        """Every signal that a condition, the sweep, a cell or a limit names, once, in the order of the file."""
        named = [band.signal for band in (*self.start, *self.keep)]
        if self.sweep is not None:
            named.insert(0, self.sweep.signal)
        if self.cells is not None:
            named += [axis.signal for axis in self.cells.axes]
        return tuple(dict.fromkeys([*named, *(limit.signal for limit in self.limits)]))


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a calibrator asks for.

    Attributes:
        source: the file's bytes as received; `sha256` is their digest in hex.
        name: what errors call it (a file name).
        lines: line of each key, for a recipe in TOML.
    """

    title: str
    revision: int
    captures: tuple[CaptureAsked, ...]
    record: Mapping[str, RecordAsked]
    note: str = ""
    vehicle: str = ""
    calibration: tuple[str, ...] = ()
    settle_km: float | None = None
    name: str = "recipe"
    source: bytes = field(default=b"", repr=False)
    sha256: str = ""
    lines: Mapping[Path, int] = field(default_factory=dict, repr=False)

    def recorded(self, capture: CaptureAsked) -> Mapping[str, RecordAsked]:
        """What must be recorded for `capture`: its own list if it has one, else the recipe's."""
        return self.record if capture.record is None else capture.record

    def capture(self, capture_id: str) -> CaptureAsked:
        """The capture of that id. Raises KeyError when there is none."""
        for capture in self.captures:
            if capture.id == capture_id:
                return capture
        raise KeyError(capture_id)
