"""Turns a block of lines into times and numbers by way of pandas, and says which cell it was if that fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from coach.signals import Signal
from coach.sources.table_bytes import TableFile
from coach.sources.table_cells import COMMA_DECIMAL, BadCell, Numbers, numbers
from coach.sources.table_collect import Collector
from coach.sources.table_layout import Layout
from coach.sources.table_lines import Block
from coach.sources.table_time import WIDTH, BadTime, Days, from_numbers, from_texts

if TYPE_CHECKING:
    from pandas import DataFrame


class OtherDecimalError(Exception):
    """The first rows had whole numbers only; a later one has a decimal comma."""


class Parser:
    """Reads the blocks of one table in order.

    Attributes:
        rows: how many lines were read.
        zoned: whether dates name their zone; None before the first.
    """

    def __init__(self, file: TableFile, layout: Layout, collector: Collector) -> None:
        self.file = file
        self.layout = layout
        self.collector = collector
        self.rows = 0
        self.zoned: bool | None = None
        self._days = Days()

    def _frame(self, block: Block, kinds: dict[int, Any]) -> DataFrame:
        """The block's cells, converted by pandas as `kinds` says. Raises ValueError for a cell that does not fit."""
        import pandas as pd

        # pandas settles the number of columns by the longest line, so one of full length goes before short ones.
        full = self.file.delimiter.encode() * (self.layout.cells - 1) + b"\n" if block.short else b""
        frame = pd.read_csv(
            _Handle(full + block.data),  # type: ignore[call-overload]  # it only has to be read from
            sep=self.file.delimiter, decimal=self.layout.decimal, header=None, names=range(self.layout.cells),
            usecols=sorted(kinds), dtype={i: kind for i, kind in kinds.items() if kind is not None}, index_col=False,
            keep_default_na=False, na_values=[""], skip_blank_lines=False, engine="c", encoding_errors="replace",
            # In small pieces it stays in the processor's cache and takes half the time. Where pandas is to find out
            # what a column is, it must see the whole of it.
            low_memory=None not in kinds.values(),
        )  # fmt: skip
        return cast("DataFrame", frame.iloc[1:] if full else frame)

    def parsed(self, block: Block, values: list[int], words: list[int]) -> tuple[DataFrame, bool]:
        """The block with `values` as numbers, or, if a cell is none, as pandas finds them; says whether it was so."""
        layout = self.layout
        time = np.dtype(float) if layout.kind == "number" else np.dtype(f"S{WIDTH}")
        kinds: dict[int, Any] = dict.fromkeys(words, "category")
        try:
            return self._frame(block, {**kinds, **dict.fromkeys(values, np.dtype(float)), layout.time: time}), True
        except (ValueError, OverflowError):
            loose = None if layout.kind == "number" else time
            try:
                return self._frame(block, {**kinds, **dict.fromkeys(values), layout.time: loose}), False
            except (ValueError, OverflowError):
                raise self.file.error("these lines cannot be read as a table", block.first_line) from None

    def _times(self, frame: DataFrame, block: Block) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Absolute times of the rows (days not yet counted), and which rows have one."""
        layout = self.layout
        column = frame[layout.time].to_numpy()
        try:
            if layout.kind != "number":
                texts = column.astype(f"S{WIDTH}")
                t_us, there, zoned = from_texts(texts, layout.kind)
                if zoned is not None and self.zoned is not None and zoned != self.zoned:
                    raise BadTime(int(np.argmax(there)))
                self.zoned = zoned if zoned is not None else self.zoned
                return t_us, there
            if column.dtype.kind != "f":
                column = self.numbers(column, None, layout.time_header, block, np.arange(len(column))).value
            return from_numbers(column, layout.us_per_unit)
        except BadTime as bad:
            shape = {"number": "a number", "clock": "HH:MM:SS.mmm", "date": "YYYY-MM-DD HH:MM:SS.mmm"}[layout.kind]
            cell = frame[layout.time].iloc[bad.row]
            text = cell.decode("utf-8", "replace") if isinstance(cell, bytes) else str(cell)
            raise self.file.error(
                f"{_quoted(text)} is no time like the others; write {shape}", block.line(bad.row),
                layout.time_header,
            ) from None  # fmt: skip

    def numbers(self, cells: Any, signal: Signal | None, header: str, block: Block, rows: NDArray[np.int64]) -> Numbers:
        """Cells that are not all plain numbers, with signs and words; counts the signs.

        Args:
            rows: where each cell stands in the block, of the cells' length.

        Raises:
            OtherDecimalError: the decimal sign is the other one.
            TableError: a cell is no number.
        """
        try:
            found = numbers(cells.tolist(), signal, self.layout.decimal)
        except BadCell as bad:
            if self.layout.decimal_open and COMMA_DECIMAL.fullmatch(bad.text):
                raise OtherDecimalError from None
            line = block.line(int(rows[bad.row]))
            raise self.file.error(
                f"{_quoted(bad.text)} is not a number; leave the cell empty where there is none", line, header
            ) from None
        if found.absent and signal is not None:
            line = block.line(int(rows[found.first_absent]))
            self.collector.count("absent", found.absent, line, signal.name)
        return found

    def timed_rows(self, frame: DataFrame, block: Block) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Times, with days counted, of the rows that have one, and which rows these are."""
        t_us, there = self._times(frame, block)
        self.rows += len(t_us)
        rows = np.flatnonzero(there)
        t_us = t_us[rows] if len(rows) < len(t_us) else t_us
        if self.layout.kind == "clock":
            t_us, midnights = self._days.unrolled(t_us)
            if midnights:
                self.collector.count("midnight", len(midnights), block.line(int(rows[midnights[0]])))
        return t_us, rows


def lines_of(block: Block, rows: NDArray[np.int64]) -> Callable[[int], int]:
    """From a place in `rows` to the number of the line in the file."""
    return lambda place: block.line(int(rows[place]))


class _Handle:
    """Bytes as pandas reads them fastest: no text layer in between."""

    def __init__(self, data: bytes) -> None:
        self._data = memoryview(data)
        self._at = 0

    def read(self, size: int = -1) -> bytes:
        end = len(self._data) if size < 0 else self._at + size
        part = bytes(self._data[self._at : end])
        self._at += len(part)
        return part

    def __iter__(self) -> Iterator[bytes]:
        """What has this counts as a file for pandas, which then uses `read`."""
        return iter((self.read(),))


def _quoted(text: str) -> str:
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return f"'{shown}'" if len(shown) <= 40 else f"'{shown[:39]}…'"
