"""Where the engine was: time in cells of engine speed over load, and which wanted cells are still empty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.core.spec import Band, Capture
from coach.errors import BadInput
from coach.recording import US
from coach.review.figures import shown, written
from coach.review.smooth import dwell_us, longest_gap_us, readable, value_at
from coach.review.subject import Subject
from coach.review.window import LOADS

STEP_RPM = 500.0
MOST_CELLS = 10_000
ENOUGH_S = 1.0
"""A wanted cell is no longer empty from this time on."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Visited:
    """Time by cell.

    Attributes:
        x_edges, y_edges: of the cells: cell i is edges[i] <= value < edges[i + 1].
        dwell_s: shape (load cells, speed cells).
        left_out_s: time of load samples without an engine speed beside them.
    """

    x_edges: Floats
    y_edges: Floats
    dwell_s: Floats
    left_out_s: float


@dataclass(frozen=True, slots=True)
class Wanted:
    """A stretch of engine speed and load that a capture asks for."""

    capture: str
    x_low: float
    x_high: float
    y_low: float
    y_high: float
    need_s: float


def load_of(subjects: Sequence[Subject], asked: str | None) -> str | None:
    """The load signal: the one asked for, else the first that the drives have."""
    if asked is not None:
        return asked if any(len(s.series(asked)) for s in subjects) else None
    return next((n for n in LOADS if all(len(s.series(n)) for s in subjects)), None)


def visited(subjects: Sequence[Subject], load: str, step_rpm: float, step_load: float) -> Visited:
    """Time in each cell, by the load's own samples: each stands for half the way to its neighbours, silences left out.

    Engine speed is interpolated to them. With a stopped engine nothing counts.

    Raises:
        BadInput: a width that is not above 0, or more than 10,000 cells.
    """
    if not (step_rpm > 0 and step_load > 0 and math.isfinite(step_rpm) and math.isfinite(step_load)):
        raise BadInput("a cell's width must be a number above 0", where="step")
    parts, left_out = [], 0.0
    for s in subjects:
        series = readable(s.series(load))
        seconds = dwell_us(series.t_us, longest_gap_us(series)) / US
        rpm = value_at(s.series("engine_speed"), series.t_us)
        use = np.isfinite(rpm) & (rpm > 0)
        left_out += float(seconds[np.isnan(rpm)].sum())
        parts.append((rpm[use], series.value[use], seconds[use]))
    x, y, seconds = (np.concatenate([p[i] for p in parts]) for i in range(3))
    x_edges, y_edges = _edges(x, step_rpm), _edges(y, step_load)
    if (len(x_edges) - 1) * (len(y_edges) - 1) > MOST_CELLS:
        raise BadInput("so narrow cells would be more than 10,000: choose wider ones", where="step")
    table = np.zeros((len(y_edges) - 1, len(x_edges) - 1))
    column = np.clip(np.floor((x - x_edges[0]) / step_rpm).astype(np.int64), 0, table.shape[1] - 1)
    row = np.clip(np.floor((y - y_edges[0]) / step_load).astype(np.int64), 0, table.shape[0] - 1)
    np.add.at(table, (row, column), seconds)
    return Visited(x_edges, y_edges, table, left_out)


def _edges(value: Floats, step: float) -> Floats:
    if not len(value):
        return np.array([0.0, step])
    low, high = math.floor(float(value.min()) / step), math.floor(float(value.max()) / step) + 1
    if high - low > MOST_CELLS:
        raise BadInput("so narrow cells would be more than 10,000: choose wider ones", where="step")
    return np.arange(low, high + 1, dtype=np.float64) * step


def wanted_by(subject: Subject, load: str) -> list[Wanted]:
    """What the recipe wants in engine speed and load: its cells where it names them, else the bands of its holds.

    A road speed with a gear is an engine speed; what a capture leaves open is open.
    """
    found = []
    for capture in subject.plan.captures:
        cells = _collected(capture, load)
        if cells:
            found += cells
        elif capture.sweep is None:
            one = _of_bands(subject, capture, load)
            found += [] if one is None else [one]
    return found


def _collected(capture: Capture, load: str) -> list[Wanted]:
    collect = capture.collect
    if collect is None or not collect.axes or any(a.signal not in ("engine_speed", load) for a in collect.axes):
        return []  # cells of other signals do not lie in this plane
    found = []
    for cell in collect.wanted:
        ends = {"engine_speed": (-math.inf, math.inf), load: (-math.inf, math.inf)}
        for axis, i in zip(collect.axes, cell, strict=True):
            ends[axis.signal] = (axis.edges[i], axis.edges[i + 1])
        found.append(Wanted(capture.id, *ends["engine_speed"], *ends[load], collect.dwell_us / US))
    return found


def _of_bands(subject: Subject, capture: Capture, load: str) -> Wanted | None:
    bands = {b.signal: b for b in capture.keep}
    x = _ends(bands.get("engine_speed"))
    if x == (-math.inf, math.inf):
        x = _from_road(subject, bands)
    y = _ends(bands.get(load))
    if x == (-math.inf, math.inf) and y == (-math.inf, math.inf):
        return None
    return Wanted(capture.id, *x, *y, ENOUGH_S)


def _ends(band: Band | None) -> tuple[float, float]:
    if band is None:
        return -math.inf, math.inf
    return (-math.inf if band.low is None else band.low), (math.inf if band.high is None else band.high)


def _from_road(subject: Subject, bands: dict[str, Band]) -> tuple[float, float]:
    gear, road = bands.get("gear"), bands.get("road_speed")
    ratios = None if subject.vehicle is None else subject.vehicle.ratios
    if gear is None or road is None or not ratios or gear.low is None or int(gear.low) not in ratios:
        return -math.inf, math.inf
    low, high = _ends(road)
    return low * ratios[int(gear.low)], high * ratios[int(gear.low)]


def coverage_json(
    subjects: Sequence[Subject], *, load: str | None = None, step_rpm: float = STEP_RPM, step_load: float = 10.0
) -> dict[str, Any]:
    """Cells visited by the drives, and what the recipe of the last of them wants that is still empty.

    A wanted stretch is empty where its whole time in all drives is less than it needs (a second, where the recipe does
    not say). Widths are in the catalogue's units.

    Raises:
        BadInput: widths that cannot be used.
    """
    last = subjects[-1]
    words, units = last.words, last.units
    loads = [n for n in LOADS if any(len(s.series(n)) for s in subjects)]
    chosen = load_of(subjects, load)
    base = {
        "drives": [s.id for s in subjects],
        "loads": [{"signal": n, "name": last.title(n)} for n in loads],
    }
    missing = "engine_speed" if not any(len(s.series("engine_speed")) for s in subjects) else None
    if chosen is None or missing:
        name = last.title(missing or load or "absolute_load")
        return base | {
            "x": None, "y": None, "dwell_s": [], "wanted": [], "empty_wanted": [], "total_s": 0.0, "left_out_s": 0.0,
            "why": words("review.why.not_recorded", name=name) if missing or load else words("review.why.no_load"),
        }  # fmt: skip
    made = visited([s for s in subjects if len(s.series(chosen)) and len(s.series("engine_speed"))], chosen,
                   step_rpm, step_load)  # fmt: skip
    wants = wanted_by(last, chosen)
    unit = last.signal(chosen).unit
    mask = np.zeros(made.dwell_s.shape, dtype=np.bool_)
    empty = []
    for want in wants:
        inside = _inside(made, want)
        mask |= inside
        if _time_in(subjects, chosen, want) < max(want.need_s, 1e-9):
            empty.append(_empty_json(last, want, chosen))
    return base | {
        "x": {"name": last.title("engine_speed"), "unit": "rpm", "edges": made.x_edges.tolist()},
        "y": {
            "signal": chosen, "name": last.title(chosen), "unit": written(unit, units),
            "edges": [shown(v, unit, units).value for v in made.y_edges.tolist()],
        },
        "dwell_s": [[round(v, 2) for v in row] for row in made.dwell_s.tolist()],
        "wanted": mask.tolist(),
        "empty_wanted": empty,
        "total_s": round(float(made.dwell_s.sum()), 2), "left_out_s": round(made.left_out_s, 2), "why": "",
    }  # fmt: skip


def _inside(made: Visited, want: Wanted) -> NDArray[np.bool_]:
    """Cells that share more than an edge with a wanted stretch."""
    x = (made.x_edges[:-1] < want.x_high) & (made.x_edges[1:] > want.x_low)
    y = (made.y_edges[:-1] < want.y_high) & (made.y_edges[1:] > want.y_low)
    return np.asarray(y[:, None] & x[None, :])


def _time_in(subjects: Sequence[Subject], load: str, want: Wanted) -> float:
    total = 0.0
    for s in subjects:
        series = readable(s.series(load))
        rpm = value_at(s.series("engine_speed"), series.t_us)
        seconds = dwell_us(series.t_us, longest_gap_us(series)) / US
        with np.errstate(invalid="ignore"):
            here = (rpm >= want.x_low) & (rpm <= want.x_high) & (rpm > 0)
        here &= (series.value >= want.y_low) & (series.value <= want.y_high)
        total += float(seconds[here].sum())
    return total


def _empty_json(s: Subject, want: Wanted, load: str) -> dict[str, Any]:
    unit = s.signal(load).unit

    def end(value: float, of: str) -> float | None:
        return shown(value, of, s.units, places=0).value if math.isfinite(value) else None

    x = _stretch(s, want.x_low, want.x_high, "rpm")
    y = _stretch(s, want.y_low, want.y_high, unit)
    parts = [p for p in (x, "" if not y else f"{s.words.inside(s.title(load))} {y}") if p]
    return {
        "capture": want.capture, "x_low": end(want.x_low, "rpm"), "x_high": end(want.x_high, "rpm"),
        "y_low": end(want.y_low, unit), "y_high": end(want.y_high, unit), "text": ", ".join(parts),
    }  # fmt: skip


def _stretch(s: Subject, low: float, high: float, unit: str) -> str:
    a = shown(low, unit, s.units, places=0) if math.isfinite(low) else None
    b = shown(high, unit, s.units, places=0) if math.isfinite(high) else None
    if a is not None and b is not None:
        return s.words("review.from_to", low=a.text, high=str(b))
    if a is not None:
        return s.words("review.or_more", low=str(a))
    return "" if b is None else s.words("review.or_less", high=str(b))
