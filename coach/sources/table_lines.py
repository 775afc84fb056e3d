"""Whole lines of a table: how many cells each has, quotes that close, blank ones left out. Knows no signal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.errors import TableError

_LINE_FEED, _QUOTE, _BLANK = 10, 34, 32


@dataclass(slots=True)
class Block:
    """Whole lines, of which none is blank.

    Attributes:
        data: UTF-8, each line ending in a line feed.
        first_line: the number of the line after the block before, from 1.
        short: whether a line has fewer cells than the header.
        offsets: for each line how far it is from `first_line`, or None where that is its place.
    """

    data: bytes
    first_line: int
    short: bool = False
    offsets: NDArray[np.int64] | None = None

    def line(self, row: int) -> int:
        """The number in the file of the line at place `row`."""
        return self.first_line + (row if self.offsets is None else int(self.offsets[row]))


@dataclass(slots=True)
class Odd:
    """What was odd about lines: how many, and the first."""

    count: int = 0
    first_line: int = 0

    def add(self, count: int, line: int) -> None:
        """Counts `count` more, the first of them at `line`."""
        if count and not self.count:
            self.first_line = line
        self.count += count


class Lines:
    """Lines that are looked at before they are parsed.

    Args:
        data: UTF-8, each line ending in a line feed.
        first_line: number of the first one.
        delimiter: between cells; inside quotes it parts none.
        cells: how many the header has.
    """

    def __init__(self, data: bytes, first_line: int, delimiter: str, cells: int) -> None:
        self._data = data
        self._first_line = first_line
        self._delimiter = delimiter.encode()
        self._want = cells - 1
        # What is left when all but delimiters, line feeds and quotes is taken away is the same line after line in an
        # even table: the quickest look at every line that there is.
        rest = marks_only(data, delimiter)
        self.count = len(rest) // cells
        self._even = rest == (self._delimiter * self._want + b"\n") * self.count
        if not self._even:
            self._array = np.frombuffer(data, dtype=np.uint8)
            self._ends = np.flatnonzero(self._array == _LINE_FEED)
            self.count = len(self._ends)

    def block(self, short_lines: Odd, error: Callable[[str, int], TableError]) -> Block:
        """The lines without blank ones and without empty cells beyond the header.

        Args:
            short_lines: counts lines with fewer cells than the header.
            error: makes the error of a line from a sentence and its number.

        Raises:
            TableError: a quote that is not closed, a line with too many cells.
        """
        if self._even:
            return Block(self._data, self._first_line)
        marks = np.flatnonzero(self._array == ord(self._delimiter))
        if b'"' in self._data:
            inside = np.cumsum(self._array == _QUOTE, dtype=np.int64) & 1
            open_quotes = np.flatnonzero(inside[self._ends])
            if len(open_quotes):
                raise error("a quote is opened and not closed in this line", self._first_line + int(open_quotes[0]))
            marks = marks[inside[marks] == 0]
        counts = np.diff(np.searchsorted(marks, self._ends), prepend=0)
        if not np.any(counts != self._want):
            return Block(self._data, self._first_line)
        kept = self._without_extra(marks, counts, error)
        solid = np.diff(np.searchsorted(np.flatnonzero(self._array > _BLANK), self._ends), prepend=0) + counts
        blank = solid == 0
        kept &= np.repeat(~blank, np.diff(self._ends, prepend=-1))
        short = np.flatnonzero((counts < self._want) & ~blank)
        if len(short):
            short_lines.add(len(short), self._first_line + int(short[0]))
        data = self._data if np.all(kept) else self._array[kept].tobytes()
        return Block(data, self._first_line, short=bool(len(short)), offsets=np.flatnonzero(~blank))

    def _without_extra(
        self, marks: NDArray[np.int64], counts: NDArray[np.int64], error: Callable[[str, int], TableError]
    ) -> NDArray[np.bool_]:
        """Which bytes remain when empty cells beyond the header are cut off; others there are an error."""
        kept = np.ones(len(self._data), dtype=bool)
        before = np.cumsum(counts) - counts
        for i in np.flatnonzero(counts > self._want).tolist():
            cut = int(marks[int(before[i]) + self._want])
            if self._data[cut : self._ends[i]].strip(self._delimiter + b" "):
                hint = "; a decimal comma needs ; between the cells" if self._delimiter == b"," else ""
                raise error(
                    f"the line has {int(counts[i]) + 1} cells and the header {self._want + 1}{hint}",
                    self._first_line + i,
                )
            kept[cut : self._ends[i]] = False
        return kept


def marks_only(data: bytes, delimiter: str) -> bytes:
    """The delimiters, line feeds and quotes of `data`, in order."""
    return data.translate(None, bytes(set(range(256)) - set(delimiter.encode() + b'\n"')))


def cells_in(line: bytes, delimiter: str) -> int:
    """How many cells a line has; a delimiter inside quotes parts none."""
    return 1 + sum(part.count(delimiter.encode()) for part in line.split(b'"')[::2])
