"""Takes the rows of a wide or of a long table, block by block, into a collector."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from coach.signals import Catalogue
from coach.sources.columns import Columns
from coach.sources.table_collect import Collector
from coach.sources.table_header import Column, Names, Unread
from coach.sources.table_layout import LongColumns
from coach.sources.table_lines import Block
from coach.sources.table_parse import Parser, lines_of
from coach.unit_factors import convert_array
from coach.units import canonical_unit

if TYPE_CHECKING:
    from pandas import DataFrame

_MOST_NAMES = 1000


class Rows(Protocol):
    """One form of table.

    Attributes:
        times: of the rows that were taken, a piece a block.
    """

    times: list[NDArray[np.int64]]

    def take(self, block: Block) -> None:
        """Adds the samples of a block."""
        ...

    def columns(self) -> tuple[list[Column], list[Unread]]:
        """What was read and what was not, so far."""
        ...


class WideRows:
    """A column a signal. A row stamped before an earlier one is left out whole."""

    def __init__(self, parser: Parser, collector: Collector) -> None:
        self.times: list[NDArray[np.int64]] = []
        self._parser = parser
        self._collector = collector
        self._top_us = -(1 << 62)

    def columns(self) -> tuple[list[Column], list[Unread]]:
        """As the header has it."""
        return self._parser.layout.columns, self._parser.layout.unread

    def take(self, block: Block) -> None:
        """Adds a block; of rows with one stamp each signal's first sample stands."""
        frame, plain = self._parser.parsed(block, [c.index for c in self._parser.layout.columns], [])
        self.take_cells(block, frame, plain=plain)

    def take_cells(self, block: Block, frame: DataFrame, *, plain: bool) -> None:
        """The same of cells that were parsed already: `plain` is whether all of them are numbers."""
        layout = self._parser.layout
        t_us, rows = self._parser.timed_rows(frame, block)
        if len(rows) < len(frame):
            missing = np.ones(len(frame), dtype=bool)
            missing[rows] = False
            filled = missing & frame.drop(columns=layout.time).notna().any(axis=1).to_numpy()
            self._collector.count("no_time", int(filled.sum()), block.line(int(np.argmax(filled))))
        if not len(rows):
            return
        t_us, rows, rising = self._forward(t_us, rows, block)
        whole = len(rows) == len(frame)
        for column in layout.columns:
            cells = frame[column.index].to_numpy()
            if plain or cells.dtype.kind in "fiu":
                value = cells.astype(np.float64, copy=False)
                value = value if whole else value[rows]
                there = None if np.all(np.isfinite(value)) else ~np.isnan(value)
            else:
                found = self._parser.numbers(cells, column.signal, column.header, block, np.arange(len(cells)))
                value, there = found.value[rows], found.there[rows]
            if there is None or np.all(there):
                self._collector.add(column.signal, column.unit, t_us, value, lines_of(block, rows), rising=rising)
            else:
                lines = lines_of(block, rows[there])
                self._collector.add(column.signal, column.unit, t_us[there], value[there], lines, rising=rising)

    def _forward(
        self, t_us: NDArray[np.int64], rows: NDArray[np.int64], block: Block
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], bool]:
        """Times and rows without those that run backwards, and whether no stamp comes twice."""
        rising = bool(t_us[0] > self._top_us and np.all(np.diff(t_us) > 0))
        if not rising:
            back = t_us < np.maximum.accumulate(np.concatenate([[self._top_us], t_us]))[:-1]
            if np.any(back):
                first = block.line(int(rows[int(np.argmax(back))]))
                self._collector.count("backward_rows", int(back.sum()), first)
                t_us, rows = t_us[~back], rows[~back]
        if len(t_us):
            self._top_us = int(t_us[-1])
            self.times.append(t_us)
        return t_us, rows, rising


class LongRows:
    """A row a sample. Only the samples of one signal have to be in order of time."""

    def __init__(
        self, parser: Parser, collector: Collector, long: LongColumns, catalogue: Catalogue, columns: Columns
    ) -> None:
        self.times: list[NDArray[np.int64]] = []
        self._parser = parser
        self._collector = collector
        self._long = long
        self._catalogue = catalogue
        self._said = columns
        self._names = Names(catalogue)
        self._known: dict[tuple[str, str], Column | Unread] = {}

    def columns(self) -> tuple[list[Column], list[Unread]]:
        """The names and units met so far; of unknown ones the first thousand."""
        known = self._known.values()
        return [c for c in known if isinstance(c, Column)], [c for c in known if isinstance(c, Unread)]

    def take(self, block: Block) -> None:
        """Adds a block."""
        long = self._long
        words = [long.signal] if long.unit is None else [long.signal, long.unit]
        frame, plain = self._parser.parsed(block, [long.value], words)
        t_us, rows = self._parser.timed_rows(frame, block)
        self.times.append(t_us)
        if len(rows) < len(frame):
            missing = frame[long.value].notna().to_numpy().copy()
            missing[rows] = False
            self._collector.count("no_time", int(missing.sum()), block.line(int(np.argmax(missing))))
        if not len(rows):
            return
        cells = frame[long.value].to_numpy()[rows]
        groups: dict[str, list[tuple[Column, NDArray[np.int64]]]] = {}
        for column, places in self._groups(frame, rows):
            groups.setdefault(column.signal.name, []).append((column, places))
        for group in groups.values():
            self._add(group, t_us, rows, cells, block, plain=plain)

    def _groups(self, frame: Any, rows: NDArray[np.int64]) -> list[tuple[Column, NDArray[np.int64]]]:
        """Which of `rows` are of which name and unit, for those that are known."""
        name = frame[self._long.signal].array
        unit = frame[self._long.unit].array if self._long.unit is not None else None
        units = [""] if unit is None else [*(str(u) for u in unit.categories), ""]
        code = name.codes[rows].astype(np.int64) * len(units)
        code += 0 if unit is None else np.where(unit.codes < 0, len(units) - 1, unit.codes)[rows]
        code[name.codes[rows] < 0] = -1
        order = np.argsort(code, kind="stable")
        starts = np.flatnonzero(np.diff(code[order], prepend=-2)).tolist()
        found = []
        for start, end in zip(starts, [*starts[1:], len(order)], strict=True):
            places = order[start:end]
            key = int(code[places[0]])
            if key >= 0:
                column = self._column(str(name.categories[key // len(units)]), units[key % len(units)])
                if isinstance(column, Column):
                    found.append((column, places))
        return found

    def _add(
        self,
        group: list[tuple[Column, NDArray[np.int64]]],
        t_us: NDArray[np.int64],
        rows: NDArray[np.int64],
        cells: Any,
        block: Block,
        *,
        plain: bool,
    ) -> None:
        """Adds the samples of one signal, which may stand under several names or in several units."""
        parts, values = [], []
        signal = group[0][0].signal
        own = canonical_unit(signal.quantity)
        for column, places in group:
            if plain or cells.dtype.kind in "fiu":
                value = cells[places].astype(np.float64)
                there = ~np.isnan(value)
            else:
                found = self._parser.numbers(cells[places], signal, column.header, block, rows[places])
                value, there = found.value, found.there
            parts.append(places[there])
            values.append(convert_array(value[there], column.unit, own) if column.unit != own else value[there])
        kept, value = np.concatenate(parts), np.concatenate(values)
        if len(group) > 1:
            order = np.argsort(kept)
            kept, value = kept[order], value[order]
        self._collector.add(signal, own, t_us[kept], value, lines_of(block, rows[kept]), rising=False)

    def _column(self, name: str, unit: str) -> Column | Unread:
        """What the rows of this name and unit carry."""
        found = self._known.get((name, unit))
        if found is None:
            header = f"{name} [{unit.strip()}]" if unit.strip() else name
            if self._said.ignores(name):
                found = Unread(-1, header, "ignored")
            else:
                found = self._said.column(-1, name, self._catalogue) or self._names.column(-1, header)
            if isinstance(found, Column) or len(self._known) < _MOST_NAMES:
                self._known[name, unit] = found
        return found
