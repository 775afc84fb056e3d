"""What a signal is, and the catalogue: an argument to everything that needs one, never a global state.

The entries of the default catalogue stand in `catalogue.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from coach.formula import parse_formula

Quantity = Literal[
    "speed", "engine_speed", "pressure_absolute", "pressure_gauge", "temperature", "ratio", "percent", "angle",
    "mass_flow", "voltage", "current", "time", "distance", "torque", "volume_flow", "count", "gear", "state",
    "temperature_difference",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """How a mode-01 answer becomes a value: `raw * scale + offset`, raw big-endian from `first`, `width` bytes.

    `length` is the whole answer's data length. Where `bits` is not 0 only those many bits count, `shift` above the
    lowest one.
    """

    pid: int
    length: int
    first: int = 0
    width: int = 1
    scale: float = 1.0
    offset: float = 0.0
    shift: int = 0
    bits: int = 0

    def decode(self, data: bytes) -> float:
        """The value in the signal's unit. Raises ValueError when `data` is not `length` bytes long."""
        if len(data) != self.length:
            raise ValueError(f"parameter {self.pid:02X} takes {self.length} bytes, not {len(data)}")
        raw = int.from_bytes(data[self.first : self.first + self.width], "big") >> self.shift
        return (raw & self._mask) * self.scale + self.offset

    @property
    def _mask(self) -> int:
        return (1 << (self.bits or 8 * self.width)) - 1

    @property
    def lowest(self) -> float:
        """The value of all bits clear."""
        return self.offset

    @property
    def highest(self) -> float:
        """The value of all bits set."""
        return self._mask * self.scale + self.offset


@dataclass(frozen=True, slots=True)
class Identified:
    """How a mode-22 answer of one maker becomes a value: `formula(data) * factor + offset`.

    Attributes:
        identifier: two bytes, as asked for.
        header: of the control unit that is asked, as `7E0` or `18DA10F1`.
        length: bytes of the answer behind the identifier's echo.
        formula: of `coach.formula`, in the unit that a person chose; `factor` and `offset` lead to the canonical one.
    """

    identifier: int
    header: str
    length: int
    formula: str
    factor: float = 1.0
    offset: float = 0.0

    def decode(self, data: bytes) -> float:
        """The value in the signal's unit, NaN where the formula has none. Raises ValueError for another length."""
        if len(data) != self.length:
            raise ValueError(f"identifier {self.identifier:04X} takes {self.length} bytes, not {len(data)}")
        return parse_formula(self.formula).value(data) * self.factor + self.offset


@dataclass(frozen=True, slots=True)
class Signal:
    """One measured or derived quantity.

    Attributes:
        name: snake_case, e.g. `engine_speed`.
        title: words for a screen, e.g. `Engine speed`; `short` is for a narrow row, e.g. `Engine`.
        unit: the canonical unit every value is stored in, as in `units.py` (`rpm`, `km/h`, `kPa`, `degC`, `%`...).
        quantity: which family of units fits it.
        discrete: values are steps (gear, a status), not a continuum.
        low, high: plausible range in `unit`; a sample outside is `out of range`, never good.
        ceiling: a value at or above it says only "at least this" (end of the encoding), or None.
        floor: the same at the low end, or None.
        step: resolution of the encoding in `unit`, or None when continuous.
        reading: how a mode-01 answer is decoded, or None.
        readings: other parameters that carry the same signal, for cars without the first.
        identified: how this maker's car is asked for it, which goes before `reading`, or None.
        columns: other names under which tables carry it, lower case.
        stale_us: how long a value holds in a hold without a new one.
        inputs: signals it is derived from; empty for a measured one.
        or_inputs: another set of inputs from which it may be derived.
        states: for a status, the words of its values, lower case.
        note: one sentence on what it is, what it is not and where the formula stands.
    """

    name: str
    title: str
    short: str
    unit: str
    quantity: Quantity
    low: float
    high: float
    discrete: bool = False
    ceiling: float | None = None
    floor: float | None = None
    step: float | None = None
    reading: Reading | None = None
    readings: tuple[Reading, ...] = ()
    identified: Identified | None = None
    columns: tuple[str, ...] = ()
    stale_us: int = 2_000_000
    inputs: tuple[str, ...] = ()
    or_inputs: tuple[str, ...] = ()
    states: tuple[tuple[int, str], ...] = ()
    note: str = ""

    @property
    def high_end(self) -> float:
        """Up to where a value can be seen: the plausible range, or the end of the encoding before it."""
        return self.high if self.ceiling is None else min(self.high, self.ceiling)


def plain_name(text: str) -> str:
    """`text` as names are compared: lower case, every run of other characters than letters and digits one space."""
    return " ".join("".join(c if c.isalnum() else " " for c in text.lower()).split())


@dataclass(frozen=True)
class Catalogue:
    """A set of signals by name. Immutable; `with_signals` makes a larger one."""

    signals: Mapping[str, Signal] = field(default_factory=dict)

    @classmethod
    def of(cls, signals: Iterable[Signal]) -> Catalogue:
        """A catalogue of `signals`. Raises ValueError for a name that is there twice."""
        table: dict[str, Signal] = {}
        for signal in signals:
            if signal.name in table:
                raise ValueError(f"signal {signal.name!r} is defined twice")
            table[signal.name] = signal
        return cls(table)

    def with_signals(self, more: Iterable[Signal]) -> Catalogue:
        """A new catalogue that has `more` too; a name already there is replaced."""
        return Catalogue({**self.signals, **{s.name: s for s in more}})

    def by_column(self, header: str) -> Signal | None:
        """The signal that a table's column of this name carries, or None. `header` comes without its unit."""
        return self._columns.get(plain_name(header))

    @cached_property
    def _columns(self) -> dict[str, Signal]:
        table = {plain_name(other): s for s in self for other in s.columns}
        return {**table, **{plain_name(s.name): s for s in self}}

    def __contains__(self, name: object) -> bool:
        return name in self.signals

    def __getitem__(self, name: str) -> Signal:
        return self.signals[name]

    def __iter__(self) -> Iterator[Signal]:
        return iter(self.signals.values())

    def __len__(self) -> int:
        return len(self.signals)
