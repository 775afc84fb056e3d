"""What a user would otherwise do for the holds: a query in pandas, or in DuckDB. Both answer only that."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from coach.core.spec import Band, Capture
from coach.recording import Recording

Windows = list[tuple[int, int]]


def frame_of(recording: Recording) -> Any:
    """The drive as a pandas table, a column a signal; all signals share their stamps."""
    import pandas as pd

    first = next(iter(recording.series.values()))
    return pd.DataFrame({"t_us": first.t_us, **{name: s.value for name, s in recording.series.items()}})


def with_pandas(frame: Any, capture: Capture) -> Windows:
    """Windows of `capture`'s hold: rows of samples in the band, at least `hold` long. Silence counts for nothing."""
    met = None
    for band in capture.keep:
        inside = _inside(frame[band.signal], band)
        met = inside if met is None else met & inside
    assert met is not None
    return _windows(frame, capture, met, met != met.shift())


def with_pandas_and_silence(frame: Any, capture: Capture) -> Windows:
    """The same, and no window goes over a stretch in which one of its signals is silent for longer than it may be.

    A cell may be empty. The signals are those of the bands, and those that are to be recorded beside them.
    """
    t_us = frame["t_us"]
    most = {asked.signal: asked.gap_us for asked in capture.record}
    most |= {b.signal: min(most.get(b.signal, capture.stale_us[b.signal]), capture.stale_us[b.signal])
             for b in capture.keep}  # fmt: skip
    met = begins = None
    for signal, most_us in most.items():
        here = t_us.where(frame[signal].notna())
        last = here.ffill()
        heard, new = here.bfill() - last <= most_us, t_us - last.shift() > most_us
        met = heard if met is None else met & heard
        begins = new if begins is None else begins | new
    for band in capture.keep:
        met &= _inside(frame[band.signal].ffill(), band)
    assert met is not None
    return _windows(frame, capture, met, (met != met.shift()) | begins)


def _inside(column: Any, band: Band) -> Any:
    return column.between(
        float("-inf") if band.low is None else band.low, float("inf") if band.high is None else band.high
    )


def _windows(frame: Any, capture: Capture, met: Any, begins: Any) -> Windows:
    """First and last stamp of each row of rows for which `met` holds, parted where `begins` says so."""
    island = begins.cumsum()
    rows = frame.loc[met, "t_us"].groupby(island[met]).agg(["first", "last"])
    rows = rows[rows["last"] - rows["first"] >= capture.hold_us]
    return list(rows.itertuples(index=False, name=None))


def duckdb_query(frame: Any) -> Callable[[Capture], Windows] | None:
    """The same as a query over `frame` in DuckDB, or None where DuckDB is not installed."""
    try:
        import duckdb
    except ModuleNotFoundError:
        return None
    db = duckdb.connect()
    db.execute("SET threads TO 1")
    db.register("rows_of", frame)
    db.execute("CREATE TABLE drive AS SELECT * FROM rows_of")

    def query(capture: Capture) -> Windows:
        bounds = [f"{b.signal} >= {b.low}" for b in capture.keep if b.low is not None]
        bounds += [f"{b.signal} <= {b.high}" for b in capture.keep if b.high is not None]
        met = " AND ".join(bounds)
        sql = f"""
            WITH marked AS (
                SELECT t_us, {met} AS met,
                       row_number() OVER (ORDER BY t_us)
                       - row_number() OVER (PARTITION BY {met} ORDER BY t_us) AS island
                FROM drive)
            SELECT min(t_us), max(t_us) FROM marked WHERE met GROUP BY island
            HAVING max(t_us) - min(t_us) >= {capture.hold_us} ORDER BY 1
        """  # noqa: S608 - names and numbers of the benchmark itself
        return [(int(a), int(b)) for a, b in db.execute(sql).fetchall()]

    return query
