"""Signals by 250 rpm of engine speed, each at its own samples: nothing is carried from one place to another."""

from __future__ import annotations

from coach.review.figures import Column, Table
from coach.review.smooth import value_at
from coach.review.window import Window, binned

BIN_RPM = 250.0
MEASURED_BESIDE = (
    ("lambda", "commanded_lambda"), ("manifold_pressure", "manifold_pressure_commanded"),
    ("throttle", "commanded_throttle"), ("rail_pressure", "rail_pressure_commanded"),
)  # fmt: skip
BINNED = (
    "lambda", "commanded_lambda", "lambda_5", "timing_advance", "gauge_boost", "manifold_pressure",
    "manifold_pressure_commanded", "pedal_travel", "throttle", "commanded_throttle", "mass_airflow", "absolute_load",
    "rail_pressure", "rail_pressure_commanded", "intake_temp", "charge_air_temp", "exhaust_temp", "module_voltage",
)  # fmt: skip


def binned_signals(w: Window) -> list[str]:
    """The signals that are binned by engine speed: those of a sweep that were recorded, and knock."""
    knock = [n for n in w.subject.recording.series if "knock" in n.lower()]
    found = [n for n in (*BINNED, *knock) if w.has(n)]
    return [n for n in found if n != "manifold_pressure" or "gauge_boost" not in found]


def bins_of(w: Window, name: str) -> dict[int, tuple[float, float | None, int]]:
    """Mean, standard error and count of a signal's own samples by 250 rpm of the engine speed at those samples."""
    s = w.series(name)
    return binned(w.at("engine_speed", s.t_us), s.value, BIN_RPM)


def by_speed(w: Window) -> Table | None:
    """Means by 250 rpm. A bin without a sample of a signal is empty: nothing is carried over from another."""
    if not w.has("engine_speed"):
        return None
    names = binned_signals(w)
    made = {n: bins_of(w, n) for n in names}
    bins = sorted({k for b in made.values() for k in b})
    columns = [Column("from", w.word("column.speed_from"), "rpm"), Column("to", w.word("column.to"), "rpm")]
    columns += [Column(n, w.name(n), w.subject.signal(n).unit) for n in names]
    rows = tuple(
        (k * BIN_RPM, (k + 1) * BIN_RPM, *(made[n][k][0] if k in made[n] else None for n in names)) for k in bins
    )
    return Table("by_speed", w.word("table.by_speed"), tuple(columns), rows) if rows else None


def beside(w: Window) -> Table | None:
    """Measured minus commanded by 250 rpm, for what the control says it aims at."""
    pairs = [(m, c) for m, c in MEASURED_BESIDE if w.has(m) and w.has(c)]
    if not pairs or not w.has("engine_speed"):
        return None
    made = {}
    for m, c in pairs:
        s = w.series(m)
        made[m] = binned(w.at("engine_speed", s.t_us), s.value - value_at(w.subject.series(c), s.t_us), BIN_RPM)
    bins = sorted({k for b in made.values() for k in b})
    columns = (
        Column("from", w.word("column.speed_from"), "rpm"), Column("to", w.word("column.to"), "rpm"),
        *(Column(m, w.word("column.minus", name=w.name(m)), w.subject.signal(m).unit, difference=True)
          for m, _ in pairs),
    )  # fmt: skip
    rows = tuple(
        (k * BIN_RPM, (k + 1) * BIN_RPM, *(made[m][k][0] if k in made[m] else None for m, _ in pairs)) for k in bins
    )
    return Table("beside", w.word("table.beside"), columns, rows) if rows else None
