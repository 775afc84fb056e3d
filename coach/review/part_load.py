"""Steady part load: closed loop only, overrun left out, purge apart; trims by airflow and by cell."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series
from coach.review.figures import Column, Group, Maker, Table
from coach.review.smooth import held_at, longest_gap_us, readable
from coach.review.stats import moments, tau_of
from coach.review.window import LOADS, Window, closed_loop, dwells_s

STEADY = (
    "road_speed", "engine_speed", "absolute_load", "calculated_load", "manifold_pressure", "gauge_boost",
    "mass_airflow", "pedal_travel", "throttle", "lambda", "commanded_lambda", "timing_advance", "module_voltage",
    "rail_pressure",
)  # fmt: skip
AIRFLOW_STEP = 5.0
SPEED_STEP = 500.0
OVERRUN_TRAVEL = 1.0
"""A pedal travel of at most this is overrun."""
PURGING = 1.0
"""A commanded purge above this many per cent is purging (common practice, no source)."""

Bools = NDArray[np.bool_]


def load_step(name: str) -> float:
    """Height of a cell in the load signal's unit."""
    return AIRFLOW_STEP if name == "mass_airflow" else 10.0


def total_trim(w: Window, bank: int) -> Series | None:
    """(1 + short)(1 + long) - 1 in per cent, at the short trim's samples, the long one as last said; or None."""
    short, long = w.series(f"short_trim_{bank}"), readable(w.subject.series(f"long_trim_{bank}"))
    if not len(short) or not len(long):
        return None
    slow = held_at(long, short.t_us, max(float(w.subject.signal("long_trim_1").stale_us), longest_gap_us(long)))
    value = ((1 + short.value / 100) * (1 + slow / 100) - 1) * 100
    return readable(Series(short.t_us, value))


def part_load(w: Window) -> list[Group]:
    """What is read of steady part load first."""
    groups = [_steady(w)]
    groups += [_bank(w, bank) for bank in (1, 2) if bank == 1 or w.has("short_trim_2")]
    if not w.has("short_trim_2"):
        make = w.maker
        make.cannot("total_trim", "%", "no_bank_2")
        groups.append(Group("bank_2", w.word("group.bank", bank=2), make.take()))
    return groups


def _steady(w: Window) -> Group:
    """Mean and spread of the samples that count: closed loop where that is known, and no overrun."""
    make = w.maker
    for name in STEADY:
        if w.has(name):
            s = w.series(name)
            make.of(name, w.subject.signal(name).unit, moments(s.value[driven(w, s.t_us)]), why="only_overrun")
    status = len(w.subject.series("fuel_system_status"))
    note = w.word("note.steady" if status else "note.steady_all")
    return Group("steady", w.word("group.steady"), make.take(), note=note)


def driven(w: Window, t_us: NDArray[np.int64]) -> Bools:
    """Whether each of `t_us` counts as part load: closed loop where the status is known, and no overrun."""
    if len(w.subject.series("fuel_system_status")):
        return counted(w, t_us)
    return ~_overrun(w, t_us)


def counted(w: Window, t_us: NDArray[np.int64]) -> Bools:
    """Whether trims mean something at each of `t_us`: closed loop, and no overrun."""
    return closed_loop(w, t_us) & ~_overrun(w, t_us)


def _overrun(w: Window, t_us: NDArray[np.int64]) -> Bools:
    """At each time whether the car moved with the pedal released; where nobody recorded the pedal, never."""
    travel = readable(w.subject.series("pedal_travel"))
    if not len(travel):
        return np.zeros(len(t_us), dtype=np.bool_)
    pressed = held_at(travel, t_us, max(float(2 * US), longest_gap_us(travel)))
    moving = held_at(readable(w.subject.series("road_speed")), t_us, 2 * US)
    found: Bools = (pressed <= OVERRUN_TRAVEL) & (moving > 0)
    return found


def _bank(w: Window, bank: int) -> Group:
    title = w.word("group.bank", bank=bank)
    make = w.maker
    note = w.word("note.trim")
    total = total_trim(w, bank)
    missing = [n for n in (f"short_trim_{bank}", f"long_trim_{bank}") if not w.has(n)]
    if not len(w.subject.series("fuel_system_status")):
        make.cannot("total_trim", "%", "trim_no_status")
        return Group(f"bank_{bank}", title, make.take())
    if total is None:
        name = w.name(missing[0]) if missing else w.name(f"long_trim_{bank}")
        make.cannot("total_trim", "%", "not_recorded", name=name)
        return Group(f"bank_{bank}", title, make.take())
    for name, key in ((f"short_trim_{bank}", "short_trim"), (f"long_trim_{bank}", "long_trim")):
        s = w.series(name)
        make.of(key, "%", moments(s.value[counted(w, s.t_us)]), why="never_closed", name=w.name(name))
    keep = counted(w, total.t_us)
    if not keep.any():
        make.cannot("total_trim", "%", "never_closed")
        return Group(f"bank_{bank}", title, make.take(), note=note)
    seconds = dwells_s(total)
    clear, purging = _purge(w, total, keep, make)
    tables = [t for t in (_by_airflow(w, total, clear, seconds), _by_cell(w, total, clear, seconds)) if t is not None]
    if not w.has("mass_airflow"):
        make.cannot("trim_by_airflow", "%", "not_recorded", name=w.name("mass_airflow"))
    make.put("left_out", "s", float(seconds[~keep].sum()), note=w.word("note.left_out"))
    if purging.any():
        make.put("purge_time", "s", float(seconds[purging].sum()))
    return Group(f"bank_{bank}", title, make.take(), tuple(tables), note)


def _purge(w: Window, total: Series, keep: Bools, make: Maker) -> tuple[Bools, Bools]:
    """Figures of the total trim without and with purge; samples of each."""
    purge = readable(w.subject.series("purge"))
    tau = tau_of(total.value[keep])
    if not len(purge):
        make.of("total_trim", "%", moments(total.value[keep], tau), note=w.word("note.no_purge"))
        return keep, np.zeros(len(keep), dtype=np.bool_)
    open_ = held_at(purge, total.t_us, max(2.0 * US, longest_gap_us(purge)))
    clear, purging = keep & (open_ <= PURGING), keep & (open_ > PURGING)
    make.of("total_trim", "%", moments(total.value[clear], tau), why="always_purging")
    make.of("total_trim_purge", "%", moments(total.value[purging], tau), why="never_purging")
    return clear, purging


def _rows(
    keys: NDArray[np.int64], total: Series, seconds: NDArray[np.float64], tau: float
) -> list[tuple[int, float, float, float | None, int]]:
    found = []
    for k in np.unique(keys).tolist():
        here = keys == k
        m = moments(total.value[here], tau)
        assert m is not None
        found.append((int(k), float(seconds[here].sum()), m.mean, m.error, m.n))
    return found


def _trim_columns(w: Window) -> tuple[Column, ...]:
    return (
        Column("dwell", w.word("column.dwell"), "s", places=1),
        Column("trim", w.word("column.trim"), "%"),
        Column("error", w.word("column.error"), "%", difference=True, places=2),
        Column("count", w.word("column.count")),
    )


def _by_airflow(w: Window, total: Series, keep: Bools, seconds: NDArray[np.float64]) -> Table | None:
    """Total trim by airflow, which is interpolated to the trim's samples."""
    air = w.at("mass_airflow", total.t_us)
    use = keep & np.isfinite(air)
    if not use.any():
        return None
    part = Series(total.t_us[use], total.value[use])
    tau = tau_of(part.value)
    place = np.floor(air[use] / AIRFLOW_STEP).astype(np.int64)
    rows = tuple(
        (k * AIRFLOW_STEP, (k + 1) * AIRFLOW_STEP, dwell, mean, error, n)
        for k, dwell, mean, error, n in _rows(place, part, seconds[use], tau)
    )
    unit = w.subject.signal("mass_airflow").unit
    columns = (
        Column("from", w.word("column.from"), unit, places=0), Column("to", w.word("column.to"), unit, places=0),
        *_trim_columns(w),
    )  # fmt: skip
    return Table(
        "trim_by_airflow", w.word("table.trim_by_airflow"), columns, rows, w.word("note.cells", tau=f"{tau:.1f}")
    )


def _by_cell(w: Window, total: Series, keep: Bools, seconds: NDArray[np.float64]) -> Table | None:
    """Total trim by cells of engine speed and load."""
    load = w.subject.first_of(*LOADS)
    if load is None:
        return None
    rpm, loads = w.at("engine_speed", total.t_us), w.at(load, total.t_us)
    use = keep & np.isfinite(rpm) & np.isfinite(loads)
    if not use.any():
        return None
    part = Series(total.t_us[use], total.value[use])
    tau, high = tau_of(part.value), load_step(load)
    x, y = np.floor(rpm[use] / SPEED_STEP).astype(np.int64), np.floor(loads[use] / high).astype(np.int64)
    rows = []
    for k, dwell, mean, error, n in _rows(x * 10_000 + y + 5_000, part, seconds[use], tau):
        a, b = math.floor(k / 10_000), k % 10_000 - 5_000
        rows.append((a * SPEED_STEP, (a + 1) * SPEED_STEP, b * high, (b + 1) * high, dwell, mean, error, n))
    unit, name = w.subject.signal(load).unit, w.name(load)
    columns = (
        Column("speed_from", w.word("column.speed_from"), "rpm"), Column("speed_to", w.word("column.to"), "rpm"),
        Column("load_from", w.word("column.load_from", name=name), unit, places=0),
        Column("load_to", w.word("column.to"), unit, places=0), *_trim_columns(w),
    )  # fmt: skip
    note = w.word("note.cells", tau=f"{tau:.1f}")
    return Table("trim_by_cell", w.word("table.trim_by_cell", name=name), columns, tuple(rows), note)
