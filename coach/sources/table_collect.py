"""Gathers the samples of a table, block by block, into strictly increasing series; counts what was odd."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from coach.recording import Note, Series
from coach.signals import Signal
from coach.sources.table_lines import Odd
from coach.unit_factors import convert_array
from coach.units import canonical_unit

Times = NDArray[np.int64]
Values = NDArray[np.float64]


class _Growing:
    """An array of values that grows in place: pieces need not be kept until the end.

    The first piece is kept as it is: of a table that is read whole it is the only one, and large.
    """

    def __init__(self, first: Values) -> None:
        self._values = first
        self._count = len(first)
        self._own = False

    def add(self, value: Values) -> None:
        count = self._count + len(value)
        if not self._own:
            self._values, self._own = np.concatenate([self._values, value]), True
        else:
            if count > len(self._values):
                # Nobody else holds the array, so it may move.
                self._values.resize(max(count, len(self._values) * 3 // 2), refcheck=False)
            self._values[self._count : count] = value
        self._count = count

    def taken(self) -> Values:
        if self._own:
            self._values.resize(self._count, refcheck=False)
        else:
            # pandas lends a column for reading only; the table that it was of is given up by now.
            self._values.flags.writeable = True
        return self._values


class Collector:
    """The samples of every signal so far. Times are absolute here; the drive's zero is known at the end only."""

    def __init__(self) -> None:
        self.samples = 0
        self._times: dict[str, list[Times]] = {}
        self._values: dict[str, _Growing] = {}
        self._last: dict[str, int] = {}
        self._odd: dict[tuple[str, str | None], Odd] = {}

    def count(self, code: str, count: int, line: int, signal: str | None = None) -> None:
        """Counts `count` more things of a kind, the first of them at `line`."""
        if count:
            self._odd.setdefault((code, signal), Odd()).add(count, line)

    def add(
        self, signal: Signal, unit: str, t_us: Times, value: Values, line_of: Callable[[int], int], *, rising: bool
    ) -> None:
        """Adds samples of one signal, in the order of the table.

        Args:
            signal: what they are of.
            unit: the unit that they are in; they are kept in the signal's own.
            t_us: int64, shape (n,).
            value: float64, shape (n,); what is not finite could not be read.
            line_of: the line of the sample at a place.
            rising: the stamps are known to be strictly increasing, and after all that were added before.
        """
        if not len(t_us):
            return
        name = signal.name
        if not rising:
            top = np.maximum.accumulate(np.concatenate([[self._last.get(name, -(1 << 62))], t_us]))[:-1]
            good = t_us > top
            if not np.all(good):
                back, again = np.flatnonzero(t_us < top), np.flatnonzero(t_us == top)
                for code, places in (("backward_time", back), ("repeated_time", again)):
                    if len(places):
                        self.count(code, len(places), line_of(int(places[0])))
                kept = np.flatnonzero(good)
                t_us, value = t_us[good], value[good]
                line_of = _through(kept, line_of)
                if not len(t_us):
                    return
        self._last[name] = int(t_us[-1])
        own = canonical_unit(signal.quantity)
        value = convert_array(value, unit, own) if unit != own else value
        finite = np.isfinite(value)
        if not np.all(finite):
            bad = np.flatnonzero(~finite)
            self.count("unreadable", len(bad), line_of(int(bad[0])), name)
            value = np.where(finite, value, np.nan)
        self._times.setdefault(name, []).append(t_us)
        if name in self._values:
            self._values[name].add(value)
        else:
            self._values[name] = _Growing(value)
        self.samples += len(t_us)

    def series(self, order: Sequence[str]) -> tuple[dict[str, Series], int]:
        """The series by signal, in `order`, and the time that became zero. Empties the collector.

        Signals that were sampled at the same moments share one array of times.
        """
        zero = min((int(parts[0][0]) for parts in self._times.values()), default=0)
        shared: dict[tuple[int, ...], Times] = {}
        made = {}
        for name in order:
            # Arrays that are let go of here were made before those still kept, so no id of these comes twice.
            parts = self._times.pop(name, None)
            if parts is None:
                continue
            key = tuple(id(part) for part in parts)
            if key not in shared:
                shared[key] = np.concatenate(parts)
                shared[key] -= zero
            del parts
            made[name] = Series(shared[key], self._values.pop(name).taken())
        return made, zero

    def notes(self) -> list[Note]:
        """What was counted, a note a kind and signal, in an order that does not depend on the rows'."""
        kinds = list(_TEXTS)
        counted = sorted(self._odd.items(), key=lambda item: (kinds.index(item[0][0]), item[0][1] or ""))
        return [
            Note(code, f"{_TEXTS[code].format(n=odd.count, signal=signal)}, first in line {odd.first_line}", signal,
                 odd.count)
            for (code, signal), odd in counted
        ]  # fmt: skip


def _through(kept: NDArray[np.int64], line_of: Callable[[int], int]) -> Callable[[int], int]:
    return lambda place: line_of(int(kept[place]))


_TEXTS = {
    "backward_rows": "time runs backwards: {n} rows stamped before an earlier one were left out",
    "backward_time": "time runs backwards: {n} samples stamped before an earlier one of their signal were left out",
    "repeated_time": "{n} samples have the stamp of an earlier one of the same signal and were left out",
    "no_time": "{n} rows have no time and were left out",
    "midnight": "the clock passes midnight {n} times; time goes on over it",
    "unreadable": "{n} samples of {signal} could not be read",
    "absent": "{n} cells of {signal} bear a sign for no value and were taken as empty",
    "short_line": "{n} lines have fewer cells than the header; the missing ones were taken as empty",
    "cut_line": "the last line ends in its middle and was left out: {n} line",
    "open_line": "the last line has no line end, so its last value may be cut short: {n} line",
}
