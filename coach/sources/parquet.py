"""Reads a drive from a Parquet file, wide or long, as `coach export` writes it: through DuckDB (extra `archive`).

DuckDB is imported only here and only when asked for: never in the server process.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput, TableError
from coach.recording import US, Note, Recording, Series
from coach.signals import Catalogue
from coach.sources.table_header import Column, Names, time_unit, unit_of
from coach.sources.table_time import NUMBER_UNITS
from coach.unit_factors import convert_array

MOST_SAMPLES = 50_000_000
"""A file with more is refused."""


def read_parquet(path: Path, catalogue: Catalogue, *, most_samples: int = MOST_SAMPLES) -> Recording:
    """Reads a drive.

    Args:
        path: the file. Wide: a time column and a column a signal, its unit in brackets in the name; null is no sample,
            NaN one that could not be read. Long: a time column, `signal`, `value` and, if there, `unit`.
        catalogue: the signals that columns may carry.
        most_samples: a file with more rows times signals is refused before it is read.

    Raises:
        BadInput: DuckDB is not installed.
        TableError: it cannot be read.
    """
    try:
        import duckdb
    except ImportError:
        raise BadInput("Parquet needs DuckDB: install the extra, log-capture-coach[archive]") from None
    if not path.is_file():
        raise TableError("there is no such file", where=str(path))
    try:
        with duckdb.connect(config={"threads": 1}) as db:
            table = db.from_parquet(str(path))
            names = list(table.columns)
            rows = int(table.count("*").fetchall()[0][0])
            if rows * max(1, len(names) - 1) > most_samples:
                raise TableError(f"it has more than {most_samples / 1e6:g} million samples", where=path.name)
            wall = _wall_us(db, path)
            if not rows:
                raise TableError("there are no rows in it", where=path.name)
            found = {name: np.ma.asarray(column) for name, column in table.fetchnumpy().items()}
    except duckdb.Error as error:
        raise TableError(f"this is no Parquet file ({str(error).splitlines()[0]})", where=path.name) from error
    return _Read(path, catalogue, found, wall).recording()


def _wall_us(db: Any, path: Path) -> int | None:
    said = db.execute("SELECT key, value FROM parquet_kv_metadata(?)", [str(path)]).fetchall()
    text = next((bytes(value).decode("ascii", "replace") for key, value in said if bytes(key) == b"wall_us"), "")
    return int(text) if text.lstrip("-").isdigit() and len(text) < 19 else None


class _Read:
    def __init__(self, path: Path, catalogue: Catalogue, columns: dict[str, Any], wall_us: int | None) -> None:
        self.path = path
        self.catalogue = catalogue
        self.columns = columns
        self.wall_us = wall_us
        self.names = Names(catalogue)
        self.notes: list[Note] = []

    def recording(self) -> Recording:
        """The samples, with what was odd."""
        head = next((name for name in self.columns if time_unit(name)[0]), None)
        if head is None:
            raise TableError('there is no time column, such as "time [s]"', where=self.path.name)
        t_us = self.stamps(head)
        long = {"signal", "value"} <= self.columns.keys()
        series = dict(self.long(t_us) if long else self.wide(t_us, head))
        if not series:
            raise TableError("no column carries a signal that is known", where=self.path.name)
        zero = min(int(s.t_us[0]) for s in series.values())
        moved = {name: Series(s.t_us - zero, s.value) for name, s in series.items()}
        wall = None if self.wall_us is None else self.wall_us + zero
        return Recording(moved, wall_us=wall, notes=tuple(self.notes), meta={"file": self.path.name})

    def stamps(self, head: str) -> NDArray[np.int64]:
        """Microseconds, each rounded to the nearest; rows without a time are refused."""
        scale = NUMBER_UNITS[time_unit(head)[1] or "s"]
        time = self.number(head)
        if np.ma.is_masked(time) or not np.isfinite(time.data).all():
            raise TableError("a row has no time", where=f"{self.path.name}, {head}")
        if np.abs(time.data).max(initial=0) * scale > 1e15 * US:
            raise TableError("a time is beyond all that can be told", where=f"{self.path.name}, {head}")
        stamps: NDArray[np.int64] = np.rint(time.data * scale).astype(np.int64)
        return stamps

    def number(self, head: str) -> Any:
        """A column as float64, masked where null."""
        column = self.columns[head]
        if column.dtype.kind not in "iuf":
            raise TableError("the column does not hold numbers", where=f"{self.path.name}, {head}")
        return column.astype(np.float64)

    def wide(self, t_us: NDArray[np.int64], head: str) -> Iterable[tuple[str, Series]]:
        """One column a signal."""
        for place, name in enumerate(n for n in self.columns if n != head):
            found = self.names.column(place, name)
            if isinstance(found, Column):
                column = self.number(name)
                there = ~np.ma.getmaskarray(column)
                made = self.series(found.signal.name, t_us[there], column.data[there], found.unit)
                if made is not None:
                    yield found.signal.name, made
            else:
                self.notes.append(Note(found.why, f"the column {name[:60]!r} is not read"))

    def long(self, t_us: NDArray[np.int64]) -> Iterable[tuple[str, Series]]:
        """Rows of time, signal, value and unit."""
        which = np.asarray(self.columns["signal"].filled("") if np.ma.isMA(self.columns["signal"]) else ()).astype(str)
        unit = self.columns.get("unit")
        units = None if unit is None else np.asarray(unit.filled("")).astype(str)
        value = self.number("value")
        there = ~np.ma.getmaskarray(value)
        for name in np.unique(which[there]).tolist():
            signal = self.names.signal(name)
            if signal is None:
                self.notes.append(Note("unknown", f"the signal {name[:60]!r} is not known and is not read"))
                continue
            rows = there & (which == name)
            said = "" if units is None else str(units[rows][0])
            known = unit_of(said, signal) if said else signal.unit
            if known is None or (units is not None and (units[rows] != said).any()):
                self.notes.append(Note("unknown_unit", f"the unit of {name[:60]!r} is none that fits", name))
                continue
            made = self.series(signal.name, t_us[rows], value.data[rows], known)
            if made is not None:
                yield signal.name, made

    def series(self, name: str, t_us: NDArray[np.int64], value: NDArray[np.float64], unit: str) -> Series | None:
        """In order of time; of two samples with one stamp the first in the file stands."""
        if not len(t_us):
            return None
        signal = self.catalogue[name]
        if unit and unit != signal.unit:
            value = convert_array(value, unit, signal.unit)
        order = np.argsort(t_us, kind="stable")
        t_us, value = t_us[order], value[order]
        first = np.append(True, np.diff(t_us) > 0)
        if not first.all():
            self.notes.append(
                Note("same_time", "samples with the stamp of one before them are not read", name, int((~first).sum()))
            )
        value = np.where(np.isfinite(value), value, np.nan)
        return Series(t_us[first], value[first])
