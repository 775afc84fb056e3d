"""A stored drive, or a window of one, as a table for other programs: CSV, or Parquet with the extra `archive`.

Parquet is written by DuckDB, which is imported only here and only when asked for: never in the server process.
"""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.bundle.tables import part
from coach.csvout import Form, table_chunks
from coach.errors import BadInput, NotFound, StoreError
from coach.recording import Recording
from coach.signals import Catalogue
from coach.store.files import TEMPORARY, store_error, write_durable
from coach.store.model import Around
from coach.store.planjson import load_catalogue
from coach.store.reading import Reader

TIME = "time [s]"
UNREADABLE, THERE = 1, 2


def stored_part(reader: Reader, drive: str, capture: str | None, number: int | None) -> tuple[Recording, Catalogue]:
    """The samples of a drive, or of a window with what its file carries around it.

    Args:
        capture: None for the whole drive.
        number: of the attempt, from 0; None takes the first that was secured.

    Raises:
        NotFound: no such drive, or no such window.
    """
    row = reader.drive(drive)
    recording, catalogue = reader.recording(drive), load_catalogue(row.catalogue)
    if capture is None:
        return recording, catalogue
    attempts = [a for a in reader.attempts(drive) if a.capture == capture]
    found = next((a for a in attempts if (a.secured_us is not None if number is None else a.number == number)), None)
    if found is None:
        what = "no window of it qualified" if number is None else f"there is no attempt {number + 1} of it"
        raise NotFound(f"{what}; attempts count from 1", where=capture)
    around = row.around.get(capture, Around())
    return part(recording, found.start_us - around.before_us, found.end_us + around.after_us), catalogue


def write_csv(recording: Recording, catalogue: Catalogue, out: Path, form: Form) -> None:
    """Writes a table as CSV (RFC 4180), units in its header. Raises StoreError."""

    def write(file: Any) -> None:
        for chunk in table_chunks(recording, catalogue, form=form):
            file.write(chunk)

    _without_folder(out)
    write_durable(out, write)


def write_parquet(recording: Recording, catalogue: Catalogue, out: Path, form: Form) -> None:
    """Writes a table as Parquet.

    Wide: `time [s]`, then `name [unit]` a signal: null is no sample, NaN one that could not be read. Long: `time [s]`,
    `signal`, `value`, `unit`. Units and the wall clock at time 0 stand in the file's own metadata too.

    Raises:
        BadInput: DuckDB is not installed.
        StoreError: it cannot be written.
    """
    try:
        import duckdb
    except ImportError:
        raise BadInput(
            "Parquet needs DuckDB: install the extra, log-capture-coach[archive]", where="--parquet"
        ) from None
    _without_folder(out)
    columns, select = _long(recording, catalogue) if form == "long" else _wide(recording, catalogue)
    own = out.with_name(f"{out.name}.{os.getpid()}{TEMPORARY}")
    told = {
        "units": json.dumps({n: catalogue[n].unit for n in sorted(recording.series) if n in catalogue}),
        "time": "seconds from the drive's first sample",
        "wall_us": "" if recording.wall_us is None else str(recording.wall_us),
    }  # fmt: skip
    try:
        with duckdb.connect(config={"threads": 1}) as db:
            db.register("columns", columns)
            facts = ", ".join(f"{name}: {_text(value)}" for name, value in told.items())
            db.execute(
                f"COPY (SELECT {select} FROM columns) TO {_text(str(own))}"  # noqa: S608 - every text is quoted
                f" (FORMAT parquet, COMPRESSION zstd, KV_METADATA {{{facts}}})"
            )
        with own.open("rb+") as file:
            os.fsync(file.fileno())
        own.replace(out)
    except OSError as error:
        raise store_error(error, out) from error
    except duckdb.Error as error:
        raise StoreError(f"the table cannot be written ({str(error).splitlines()[0]})", where=str(out)) from error
    finally:
        with contextlib.suppress(OSError):
            own.unlink()


def _without_folder(out: Path) -> None:
    if not out.parent.is_dir():
        raise BadInput("there is no such folder", where=str(out.parent))


def _long(recording: Recording, catalogue: Catalogue) -> tuple[dict[str, NDArray[Any]], str]:
    names = [n for n, s in recording.series.items() if len(s)]
    t_us = np.concatenate([np.zeros(0, np.int64), *(recording.series[n].t_us for n in names)])
    value = np.concatenate([np.zeros(0), *(recording.series[n].value for n in names)])
    which = np.repeat(np.arange(len(names)), [len(recording.series[n]) for n in names])
    order = np.argsort(t_us, kind="stable")
    columns = {
        "t": t_us[order] / 1e6, "signal": np.array(names, dtype=object)[which[order]], "v": np.nan_to_num(value[order]),
        "s": _state(value[order]),
        "unit": np.array([catalogue[n].unit if n in catalogue else "" for n in names], dtype=object)[which[order]],
    }  # fmt: skip
    return columns, f't AS "{TIME}", signal, {_value("v", "s")} AS value, unit'


def _wide(recording: Recording, catalogue: Catalogue) -> tuple[dict[str, NDArray[Any]], str]:
    series = {n: s for n, s in recording.series.items() if len(s)}
    stamps = np.unique(np.concatenate([np.zeros(0, np.int64), *(s.t_us for s in series.values())]))
    columns: dict[str, NDArray[Any]] = {"t": stamps / 1e6}
    select = [f't AS "{TIME}"']
    for k, (name, s) in enumerate(series.items()):
        rows = np.searchsorted(stamps, s.t_us)
        value, state = np.zeros(len(stamps)), np.zeros(len(stamps), np.uint8)
        value[rows], state[rows] = np.nan_to_num(s.value), _state(s.value)
        columns[f"v{k}"], columns[f"s{k}"] = value, state
        unit = catalogue[name].unit if name in catalogue else ""
        header = f"{name} [{unit}]" if unit else name
        select.append(f"{_value(f'v{k}', f's{k}')} AS {_name(header)}")
    return columns, ", ".join(select)


def _state(value: NDArray[np.float64]) -> NDArray[np.uint8]:
    return np.where(np.isfinite(value), THERE, UNREADABLE).astype(np.uint8)


def _value(value: str, state: str) -> str:
    """A column of values. NaN goes beside it, because DuckDB takes it for null where it reads arrays."""
    return f"CASE {state} WHEN {THERE} THEN {value} WHEN {UNREADABLE} THEN 'nan'::DOUBLE ELSE NULL END"


def _text(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _name(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'
