"""Reads a recorded table, wide or long, packed or not, into a recording. What is odd is noted; nothing is guessed.

Needs pandas, which is imported when a table is read: a server reads through `table_child` instead.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coach.clock import wall_text
from coach.errors import TableError
from coach.recording import US, Note, Recording
from coach.signals import Catalogue
from coach.sources.columns import Columns
from coach.sources.table_bytes import Progress, TableFile
from coach.sources.table_collect import Collector
from coach.sources.table_header import Column, Unread
from coach.sources.table_layout import Layout, find_layout
from coach.sources.table_lines import Block
from coach.sources.table_notes import distinct, gap_notes, held_over_notes
from coach.sources.table_parse import OtherDecimalError, Parser
from coach.sources.table_rows import LongRows, Rows, WideRows
from coach.sources.table_whole import whole_table

MOST_SAMPLES = 50_000_000
"""A table with more is refused. Reading takes about 20 bytes a sample of a wide table, 40 of a long one at worst."""

_SLOW_US = 10 * US
_MOST_NAMES = 100


def read_table(
    path: Path,
    catalogue: Catalogue,
    *,
    columns: Columns | None = None,
    most_samples: int = MOST_SAMPLES,
    progress: Progress | None = None,
) -> Recording:
    """Reads a table of samples.

    Args:
        path: CSV with `,`, `;` or tab, or such a file packed with gzip.
        catalogue: the signals that columns may carry.
        columns: what a person says about the columns; what it does not name is found in the header.
        most_samples: a table with more is refused, as early as that shows.
        progress: called with the bytes read and the bytes in all; what it raises ends the reading.

    Returns:
        Values in the catalogue's units; notes on everything that was odd; `marks` None; `meta` with `file`, `form`,
        `rows`, `encoding`, `delimiter`, `starts` (the table's own time at zero), `columns` (signal to header) and
        `unread` (columns that are not read and why).

    Raises:
        TableError: it cannot be read; `where` names file, line and column.
        ColumnsError: the columns file does not fit the table or the catalogue.
    """
    said = columns if columns is not None else Columns()

    def once(decimal: str | None) -> Recording:
        with TableFile(Path(path), progress=progress) as file:
            return _read(file, catalogue, said, most_samples, decimal)

    try:
        return once(None)
    except OtherDecimalError:
        return once(",")


def _read(file: TableFile, catalogue: Catalogue, columns: Columns, most_samples: int, decimal: str | None) -> Recording:
    """One pass; `decimal` is what an earlier pass has found out, or None."""
    file.open_header(columns.delimiter)
    layout = find_layout(file, catalogue, columns)
    if decimal is not None:
        layout.decimal, layout.decimal_open = decimal, False
    whole = whole_table(file, layout, most_samples)
    if whole is not None:
        collector = Collector()
        parser = Parser(file, layout, collector)
        wide = WideRows(parser, collector)
        # Whatever sentence there is to say: block by block it is said as for any other table.
        with suppress(TableError):
            wide.take_cells(Block(b"", file.header_lines + 1), whole, plain=True)
            del whole  # the samples are kept by now
            return _finished(parser, wide, catalogue)
    collector = Collector()
    parser = Parser(file, layout, collector)
    rows: Rows = WideRows(parser, collector)
    if layout.long is not None:
        rows = LongRows(parser, collector, layout.long, catalogue, columns)
    for block in file.blocks():
        rows.take(block)
        _check_size(file, collector.samples, most_samples)
    return _finished(parser, rows, catalogue)


def _check_size(file: TableFile, samples: int, most_samples: int) -> None:
    share = max(file.share_read, 1e-9)
    if samples > most_samples or (share < 0.9 and samples / share > 1.5 * most_samples):
        raise file.error(
            f"the table has about {samples / share / 1e6:.0f} million samples and at most {most_samples / 1e6:g} "
            "million are read; cut it into drives"
        )


def _finished(parser: Parser, rows: Rows, catalogue: Catalogue) -> Recording:
    file, layout, collector = parser.file, parser.layout, parser.collector
    read, unread = rows.columns()
    if not parser.rows:
        raise file.error("there are no rows after the header")
    if not read:
        raise file.error("no row carries a signal that is known; say what they carry in a columns file")
    if not collector.samples:
        raise file.error("the rows have no samples")
    collector.count("short_line", file.short_lines.count, file.short_lines.first_line)
    collector.count("cut_line", int(file.cut_line > 0), file.cut_line)
    collector.count("open_line", int(file.open_line > 0), file.open_line)
    t_us = np.concatenate(rows.times)
    rows.times.clear()
    t_us = distinct(t_us)
    _check_pace(file, layout, t_us)
    gaps = gap_notes(t_us)
    del t_us  # of a large table this is a lot, and the series are made next
    series, zero = collector.series(list(dict.fromkeys(c.signal.name for c in read)))
    notes = (
        *_header_notes(read, unread, layout), *collector.notes(), *gaps, *held_over_notes(series, catalogue),
    )  # fmt: skip
    zoned = layout.kind == "date" and parser.zoned is True
    meta = {
        "file": file.path.name,
        "form": "wide" if layout.long is None else "long",
        "rows": parser.rows,
        "encoding": file.encoding,
        "delimiter": file.delimiter,
        "starts": _start_text(zero, layout, zoned=zoned),
        "columns": {c.signal.name: c.header for c in read if c.signal.name in series},
        "unread": {c.header: c.why for c in unread[:_MOST_NAMES]},
    }
    return Recording(series, wall_us=zero if zoned else None, notes=notes, meta=meta)


def _check_pace(file: TableFile, layout: Layout, t_us: NDArray[np.int64]) -> None:
    """Rows ten seconds apart and no unit of time: these are milliseconds more likely than seconds, so ask."""
    steps = np.diff(t_us)
    if layout.kind != "number" or layout.unit_said or not len(steps) or np.median(steps) < _SLOW_US:
        return
    raise file.error(
        f"its time has no unit; in seconds, rows would be {np.median(steps) / US:g} s apart: "
        "write the unit in the header, [s] or [ms]",
        column=layout.time_header,
    )


def _start_text(zero_us: int, layout: Layout, *, zoned: bool) -> str:
    """The table's own time at the drive's zero."""
    if layout.kind == "number":
        return f"{zero_us / US:.3f} s"
    text = wall_text(zero_us)
    if layout.kind == "clock":
        return text[11:-1]
    return text if zoned else text[:-1]


def _header_notes(read: list[Column], unread: list[Unread], layout: Layout) -> list[Note]:
    notes = []
    strange = [c for c in unread if c.why == "unknown"]
    if strange:
        names = ", ".join(repr(c.header[:60]) for c in strange[:8])
        more = f" and {len(strange) - 8} more" if len(strange) > 8 else ""
        notes.append(Note("unknown_columns", f"not read, because not known: {names}{more}", count=len(strange)))
    for column in unread:
        if column.why == "unknown_unit":
            text = f"{column.header[:60]!r} was not read: its unit is none of that signal"
            notes.append(Note("unknown_unit", text))
    for one in read:
        if one.assumed:
            text = f"{one.header[:60]!r} names no unit; its values were taken as {one.unit}"
            notes.append(Note("unit_assumed", text, one.signal.name))
    if layout.other_times:
        others = ", ".join(repr(header[:60]) for header in layout.other_times[:4])
        text = f"time is read from {layout.time_header[:60]!r}, not from {others}"
        notes.append(Note("second_time", text, count=len(layout.other_times)))
    return notes
