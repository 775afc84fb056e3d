"""How one table is laid out: wide or long, its time, its signals, its decimal sign; found once, before the rows."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field

from coach.errors import ColumnsError
from coach.signals import Catalogue
from coach.sources.columns import Columns
from coach.sources.table_bytes import TableFile
from coach.sources.table_cells import COMMA_DECIMAL, POINT_DECIMAL
from coach.sources.table_header import Column, Names, Unread, mended, time_unit
from coach.sources.table_time import NUMBER_UNITS, Kind, kind_of

_SIGNAL_NAMES = ("signal", "signal name", "name", "channel", "parameter")
_VALUE_NAMES = ("value",)
_UNIT_NAMES = ("unit", "units")


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Places of the columns of a long table; `unit` is None where it has none."""

    signal: int
    value: int
    unit: int | None


@dataclass(slots=True)
class Layout:
    """What is read from where.

    Attributes:
        cells: how many columns the table has.
        time: place of the time column; `time_header` is the cell above it.
        kind: how times are written; `us_per_unit` is microseconds in the unit of numbers.
        unit_said: whether header or columns file say that unit.
        decimal: `.` or `,`; `decimal_open` is whether the first rows show neither.
        columns: the columns that are read, of a wide table.
        long: the columns of a long table, or None.
        unread: columns that are not read, and why.
        other_times: headers of further time columns.
    """

    cells: int
    time: int
    time_header: str
    kind: Kind
    us_per_unit: float
    unit_said: bool
    decimal: str = "."
    decimal_open: bool = False
    columns: list[Column] = field(default_factory=list)
    long: LongColumns | None = None
    unread: list[Unread] = field(default_factory=list)
    other_times: list[str] = field(default_factory=list)


def find_layout(file: TableFile, catalogue: Catalogue, columns: Columns) -> Layout:
    """Looks at the header and the first rows.

    Raises:
        TableError: no time column, no known signal, two columns for one signal, both decimal signs.
        ColumnsError: the columns file names what is not there.
    """
    layout = _time_column(file, columns, _rows(file))
    layout.long = _long_columns(file, columns)
    if layout.long is None:
        _signal_columns(file, catalogue, columns, layout)
    _settle_decimal(file, columns, layout, _rows(file))
    return layout


def _rows(file: TableFile) -> Iterator[list[str]]:
    """The cells of the first lines; of most tables only the first one is asked for."""
    return csv.reader((line.replace("\0", "?") for line in file.sample), delimiter=file.delimiter)


def _time_column(file: TableFile, columns: Columns, rows: Iterator[list[str]]) -> Layout:
    found: list[tuple[int, str | None]] = []
    if columns.time is not None:
        at = next((i for i, h in enumerate(file.header) if columns.time in (h, mended(h))), None)
        if at is None:
            raise ColumnsError(f"the table has no column {columns.time!r}", where=f"{columns.name}, time.column")
        found.append((at, time_unit(file.header[at])[1]))
    for i, header in enumerate(file.header):
        is_time, unit = time_unit(header)
        if is_time and header not in columns.rules and not columns.ignores(header) and (i, unit) not in found:
            found.append((i, unit))
    if not found:
        raise file.error("there is no time column; name one time, or say which it is in a columns file")
    at, unit = found[0]
    header = file.header[at]
    asked = columns.time_unit
    cell = next((row[at] for row in rows if len(row) > at and row[at].strip()), "")
    if asked in ("clock", "date"):
        kind: Kind | None = asked  # type: ignore[assignment]  # one of the two
    elif asked is not None:
        kind = "number"
    else:
        kind = kind_of(cell) if cell else "number"
    if kind is None:
        raise file.error(
            f"{cell[:40]!r} is no time; write seconds, HH:MM:SS.mmm or YYYY-MM-DD HH:MM:SS.mmm", None, header
        )
    said = asked if asked in NUMBER_UNITS else unit
    return Layout(
        cells=len(file.header), time=at, time_header=header, kind=kind, us_per_unit=NUMBER_UNITS[said or "s"],
        unit_said=said is not None, other_times=[file.header[i] for i, _ in found[1:]],
    )  # fmt: skip


def _long_columns(file: TableFile, columns: Columns) -> LongColumns | None:
    plain = [mended(h).lower() for h in file.header]
    if columns.long is not None:
        names = [n for n in (columns.long.signal, columns.long.value, columns.long.unit) if n is not None]
        for name in names:
            if mended(name).lower() not in plain:
                raise ColumnsError(f"the table has no column {name!r}", where=f"{columns.name}, long")
        places = [plain.index(mended(name).lower()) for name in names]
        return LongColumns(places[0], places[1], places[2] if len(places) > 2 else None)
    signal = next((plain.index(n) for n in _SIGNAL_NAMES if n in plain), None)
    value = next((plain.index(n) for n in _VALUE_NAMES if n in plain), None)
    if signal is None or value is None:
        return None
    return LongColumns(signal, value, next((plain.index(n) for n in _UNIT_NAMES if n in plain), None))


def _signal_columns(file: TableFile, catalogue: Catalogue, columns: Columns, layout: Layout) -> None:
    names = Names(catalogue)
    taken: dict[str, Column] = {}
    for i, header in enumerate(file.header):
        if i == layout.time or header in layout.other_times or not header.strip():
            continue
        if columns.ignores(header):
            layout.unread.append(Unread(i, header, "ignored"))
            continue
        column = columns.column(i, header, catalogue) or names.column(i, header)
        if isinstance(column, Unread):
            layout.unread.append(column)
            continue
        first = taken.setdefault(column.signal.name, column)
        if first is not column and first.header == header:
            raise file.error(f"two columns are called {header[:60]!r}; give one of them another name")
        if first is not column:
            raise file.error(
                f"the columns {first.header[:60]!r} and {header[:60]!r} both carry {column.signal.name}; "
                "put one of them under ignore in a columns file"
            )
        layout.columns.append(column)
    if not layout.columns:
        odd = next((one for one in layout.unread if one.why == "unknown_unit"), None)
        if odd is not None:
            raise file.error(f"the unit does not fit: {odd.fitting}", None, odd.header)
        raise file.error("no column carries a signal that is known; say what they carry in a columns file")


def _settle_decimal(file: TableFile, columns: Columns, layout: Layout, rows: Iterator[list[str]]) -> None:
    """A decimal comma is taken where cells are parted by something else and no decimal point is seen."""
    if columns.decimal is not None:
        if columns.decimal == file.delimiter:
            raise ColumnsError("delimiter and decimal sign cannot be the same", where=f"{columns.name}, decimal")
        layout.decimal = columns.decimal
        return
    if file.delimiter == ",":
        return
    places = [layout.long.value] if layout.long is not None else [c.index for c in layout.columns]
    if layout.kind == "number":
        places.append(layout.time)
    cells = [row[i].strip() for row in rows for i in places if i < len(row)]
    comma = next((c for c in cells if COMMA_DECIMAL.fullmatch(c)), None)
    point = next((c for c in cells if POINT_DECIMAL.fullmatch(c)), None)
    if comma is not None and point is not None:
        raise file.error(
            f"{comma[:20]!r} has a decimal comma and {point[:20]!r} a point; say which one is meant in a columns file"
        )
    layout.decimal = "," if comma is not None else "."
    layout.decimal_open = comma is None and point is None
