"""Reads an even table of plain numbers with one call of pandas, which takes all cores for it; leaves any other alone.

It never decides what is odd about a table. Where anything may be, it says None, and the table is read block by block.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from coach.sources.table_bytes import TableFile
from coach.sources.table_layout import Layout
from coach.sources.table_lines import marks_only
from coach.sources.table_time import WIDTH

if TYPE_CHECKING:
    from pandas import DataFrame

LEAST_BYTES = 5 << 20
"""Of a smaller file pandas reads no parts at a time either."""
MOST_BYTES = 128 << 20
"""A larger one would take memory that grows with it: cells of two bytes become numbers of eight."""

_PIECE = 1 << 18
_FIRST_LINES, _PLACES, _PROBE = 100, 24, 2048
_PLAIN: dict[str, Any] = {"quoting": csv.QUOTE_NONE, "lineterminator": "\n"}


def whole_table(file: TableFile, layout: Layout, most_samples: int) -> DataFrame | None:
    """The cells of a whole wide table as numbers (times as bytes where they are text), or None.

    Args:
        file: its header was read; its blocks were not.
        layout: of this table.
        most_samples: a table with more cells is left alone.

    Returns:
        A column for the time and for each signal that is read, by its place in the table; a row for each line after
        the header, if there is none that is blank, short, long or quoted, and no cell that is neither empty nor a
        number. None where that is not so, or where the table is packed, long, small, large or not in UTF-8.
    """
    if layout.long is not None or not file.untouched or not LEAST_BYTES <= file.size <= MOST_BYTES:
        return None
    kinds: dict[int, Any] = dict.fromkeys(range(layout.cells), np.dtype("S1"))
    kinds |= {column.index: np.dtype(float) for column in layout.columns}
    kinds[layout.time] = np.dtype(float) if layout.kind == "number" else np.dtype(f"S{WIDTH}")
    # Where every cell must be a number, one with a quote or a carriage return in it is none, and pandas says so. Where
    # other columns are passed over, or lines end in both, the bytes are looked at beside.
    numbers_only = len(layout.columns) + 1 == layout.cells and not file.returns
    try:
        if not _looks_even(file, layout, kinds, most_samples):
            return None
        with ThreadPoolExecutor(1) as beside:
            looked = beside.submit(_is_ended if numbers_only else _is_usual, file)
            frame = _frame(file.path, file.header_lines, file, layout, kinds, _PLAIN if numbers_only else {})
            usual = looked.result()
        if frame is None or not usual or len(frame) * len(layout.columns) > most_samples:
            return None
        if not _filled(frame[layout.cells - 1].to_numpy()) and not _all_alike(file, layout):
            return None
    except OSError:
        return None
    file.tell_whole()
    read = [layout.time, *(column.index for column in layout.columns)]
    return frame if len(read) == layout.cells else frame[read]


def _looks_even(file: TableFile, layout: Layout, kinds: dict[int, Any], most_samples: int) -> bool:
    """Whether lines from here and there are as all should be, and not too many: what is odd is seldom so once only."""
    lines = "".join(f"{line}\n" for line in file.sample[:_FIRST_LINES]).encode() + b"".join(_probes(file))
    count = lines.count(b"\n")
    if not count or file.size / len(lines) * count * len(layout.columns) > most_samples:
        return False
    even = marks_only(lines, file.delimiter) == _pattern(file, layout) * count
    return even and _frame(io.BytesIO(lines), 0, file, layout, kinds, {}) is not None


def _probes(file: TableFile) -> Iterator[bytes]:
    """A few whole lines from places all over the file."""
    with file.path.open("rb") as raw:
        for place in range(1, _PLACES):
            raw.seek(file.size * place // _PLACES)
            raw.readline(_PROBE)
            part = raw.read(_PROBE)
            yield part[: part.rfind(b"\n") + 1]


def _frame(
    source: Any, skip: int, file: TableFile, layout: Layout, kinds: dict[int, Any], more: dict[str, Any]
) -> DataFrame | None:
    """All cells of `source` but those of `skip` lines; None where one does not fit."""
    import pandas as pd

    try:
        frame: DataFrame = pd.read_csv(
            source, sep=file.delimiter, decimal=layout.decimal, header=None, skiprows=skip,
            names=range(layout.cells), dtype=kinds, index_col=False, keep_default_na=False, na_values=[""],
            skip_blank_lines=False, engine="c", encoding_errors="replace", **more,
        )  # fmt: skip
    except (ValueError, OverflowError):
        return None
    return frame


def _filled(last: NDArray[Any]) -> bool:
    """Whether every row has a last cell: then no line is short. None is long, or pandas would have refused it."""
    return bool(np.all(~np.isnan(last) if last.dtype.kind == "f" else last != b""))


def _is_ended(file: TableFile) -> bool:
    """Whether the last line has its end."""
    with file.path.open("rb") as raw:
        raw.seek(-1, io.SEEK_END)
        return raw.read() == b"\n"


def _is_usual(file: TableFile) -> bool:
    """Whether lines are parted by nothing but line feeds: no quote is there that hides one, no carriage return alone.

    No line is longer than any table's, and the last one has its end.
    """
    returned = ended = False
    for piece in _pieces(file):
        ended = piece.endswith(b"\n")
        if b'"' in piece or (len(piece) == _PIECE and b"\n" not in piece) or (returned and not piece.startswith(b"\n")):
            return False
        if b"\r" in piece:
            chars: NDArray[np.uint8] = np.frombuffer(piece, dtype=np.uint8)
            after = np.flatnonzero(chars[:-1] == ord("\r")) + 1
            if np.any(chars[after] != ord("\n")):
                return False
        returned = piece.endswith(b"\r")
    return ended


def _all_alike(file: TableFile, layout: Layout) -> bool:
    """Whether no line is short, by looking at each: for a table whose last column is not filled in every row."""
    pattern, rest = _pattern(file, layout), b""
    for piece in _pieces(file):
        rest += marks_only(piece, file.delimiter)
        whole = len(rest) // len(pattern) * len(pattern)
        if rest[:whole] != pattern * (whole // len(pattern)):
            return False
        rest = rest[whole:]
    return not rest


def _pattern(file: TableFile, layout: Layout) -> bytes:
    return file.delimiter.encode() * (layout.cells - 1) + b"\n"


def _pieces(file: TableFile) -> Iterator[bytes]:
    """The bytes after the header, through a handle of its own."""
    with file.path.open("rb") as raw:
        for _ in range(file.header_lines):
            raw.readline()
        while piece := raw.read(_PIECE):
            yield piece
