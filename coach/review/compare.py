"""Revision to revision: like windows beside each other, and which differences stand out of the noise.

Nothing is called real that repeats of the same drive could have made; then it says how many repeats would settle it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.errors import NotFound
from coach.recording import US, Series
from coach.review.bins import BIN_RPM, binned_signals, bins_of
from coach.review.figures import Column, Figure, Table, converted, shown, table_json, written
from coach.review.kinds import Kind, kind_of
from coach.review.power import Estimate, caveat, corrections_json, power_of, speed_of, weather_json
from coach.review.spans import fastest_span
from coach.review.stats import Difference, difference
from coach.review.subject import Subject
from coach.review.summary import READ
from coach.review.thinning import thin
from coach.review.window import Window, plain_figures

OVERLAID = ("gauge_boost", "lambda", "timing_advance", "throttle", "manifold_pressure", "intake_temp", "pedal_travel",
            "rail_pressure")  # fmt: skip
HELD = ("road_speed", "engine_speed", "lambda", "timing_advance", "manifold_pressure", "short_trim_1")
POINTS = 400
NOT_COMPARED = {"codes", "left_out", "purge_time", "since_last_pull", "speed_from", "speed_to", "loads"}


def windows_of(subject: Subject, capture: str) -> list[Window]:
    """The qualified windows of a capture, in order. Raises NotFound where there is none."""
    asked, judged = subject.capture(capture)
    found = [Window(subject, asked, judged, a) for a in subject.secured(capture)]
    if not found:
        raise NotFound("this drive has no qualified attempt of the capture", where=f"{subject.id}, {capture}")
    return found


def compare_json(a: Subject, b: Subject, capture: str) -> dict[str, Any]:
    """The windows of `capture` in drive `a` (before) and `b` (after), in the units of `b`.

    Raises:
        NotFound: one of them has no qualified attempt of that capture.
    """
    was, now = windows_of(a, capture), windows_of(b, capture)
    kind = kind_of(now[-1].capture)
    words, units = b.words, b.units
    figures = _figures(was, now, kind)
    real = [f["name"] for f in figures if f["real"]]
    key = "compare.real" if real else "compare.none_repeats" if min(len(was), len(now)) < 2 else "compare.none"
    return {
        "a": _side(a, was), "b": _side(b, now), "capture": capture, "title": now[-1].asked.title, "kind": kind,
        "sentence": words(f"review.{key}", names=", ".join(real), a=a.recipe.revision, b=b.recipe.revision),
        "figures": figures,
        "tables": [table_json(t, units) for t in _tables(was, now, kind)],
        "overlay": overlay_json(was[-1], now[-1], kind),
        "spans": _spans(was, now),
        "power": _power(was, now) if kind == "sweep" else None,
        "weather": {"a": weather_json(a), "b": weather_json(b)},
        "caveat": caveat(now[-1]),
    }  # fmt: skip


def _side(s: Subject, windows: list[Window]) -> dict[str, Any]:
    return {
        "drive": s.id, "revision": s.recipe.revision, "name": s.name or s.recipe.title,
        "number": windows[-1].attempt.number, "repeats": len(windows),
    }  # fmt: skip


def _read(w: Window, kind: Kind) -> dict[tuple[str, str, str], Figure]:
    """Figures by group, id and name; those of a free window for every recorded signal."""
    found = {}
    groups = READ[kind](w)
    for g in groups:
        for f in g.figures:
            if f.value is not None and f.id not in NOT_COMPARED:
                found[g.id, f.id, f.name] = f
    if kind == "sweep":
        for f in plain_figures(w, ("intake_temp", "coolant_temp")).take():
            found["pull", f.id, f.name] = f
    return found


def _figures(was: list[Window], now: list[Window], kind: Kind) -> list[dict[str, Any]]:
    before, after = [_read(w, kind) for w in was], [_read(w, kind) for w in now]
    made = []
    for key in after[-1]:
        one, two = [f[key] for f in before if key in f], [f[key] for f in after if key in f]
        if not one or not two:
            continue
        d = difference(
            np.array([f.value for f in one], dtype=np.float64), np.array([f.value for f in two], dtype=np.float64),
            one[-1].error, two[-1].error,
        )  # fmt: skip
        made.append(_figure_json(now[-1], two[-1], one, two, d))
    return made


def _mean(figures: list[Figure]) -> float:
    return float(np.mean([f.value for f in figures if f.value is not None]))


def _figure_json(w: Window, f: Figure, one: list[Figure], two: list[Figure], d: Difference) -> dict[str, Any]:
    units, words = w.subject.units, w.subject.words

    def part(value: float, *, difference: bool) -> Any:
        return shown(value, f.unit, units, difference=difference or f.difference)

    a, b = part(_mean(one), difference=False), part(_mean(two), difference=False)
    by = part(d.value, difference=True)
    uncertain = None if d.uncertainty is None else part(d.uncertainty, difference=True)
    name = f.name or words(f"review.figure.{f.id}")
    return {
        "id": f.id, "name": name, "unit": written(f.unit, units), "a": a.value, "b": b.value,
        "difference": by.value, "uncertainty": None if uncertain is None else uncertain.value,
        "text": words.number(f"{'+' if by.value > 0 else ''}{by}"), "real": d.real, "repeats_needed": d.needed,
        "sentence": sentence_of(w, d, len(one), len(two), str(by), "" if uncertain is None else str(uncertain)),
    }  # fmt: skip


def sentence_of(w: Window, d: Difference, a: int, b: int, by: str, uncertain: str) -> str:
    """What a difference is worth, in one sentence."""
    if d.real:
        return w.word("compare.is_real", by=by, uncertain=uncertain, a=a, b=b)
    if min(a, b) < 2:
        key = "compare.one_repeat_sampling" if uncertain else "compare.one_repeat"
        return w.word(key, by=by, uncertain=uncertain)
    if d.value == 0:
        return w.word("compare.same")
    if d.needed is None:
        return w.word("compare.too_small", by=by, uncertain=uncertain)
    return w.word("compare.noise", by=by, uncertain=uncertain, needed=d.needed)


def _tables(was: list[Window], now: list[Window], kind: Kind) -> list[Table]:
    if kind != "sweep":
        return []
    names = [n for n in binned_signals(now[-1]) if n in OVERLAID and all(w.has(n) for w in (*was, *now))]
    return [t for n in names if (t := _by_speed(was, now, n)) is not None]


def _by_speed(was: list[Window], now: list[Window], name: str) -> Table | None:
    """One signal by 250 rpm: both revisions, the difference and its 95 % range from the repeats."""
    one, two = [bins_of(w, name) for w in was], [bins_of(w, name) for w in now]
    bins = sorted({k for m in one for k in m} & {k for m in two for k in m})
    w = now[-1]
    unit = w.subject.signal(name).unit
    rows = []
    for k in bins:
        a, b = np.array([m[k][0] for m in one if k in m]), np.array([m[k][0] for m in two if k in m])
        d = difference(a, b, one[-1].get(k, (0, None, 0))[1], two[-1].get(k, (0, None, 0))[1])
        word = w.word("compare.yes" if d.real else "compare.not_told" if min(len(a), len(b)) < 2 else "compare.no")
        rows.append((k * BIN_RPM, (k + 1) * BIN_RPM, float(a.mean()), float(b.mean()), d.value, d.uncertainty, word))
    columns = (
        Column("from", w.word("column.speed_from"), "rpm"), Column("to", w.word("column.to"), "rpm"),
        Column("a", w.word("column.revision", revision=was[-1].subject.recipe.revision), unit),
        Column("b", w.word("column.revision", revision=w.subject.recipe.revision), unit),
        Column("difference", w.word("column.difference"), unit, difference=True),
        Column("uncertainty", w.word("column.uncertainty"), unit, difference=True),
        Column("real", w.word("column.real")),
    )  # fmt: skip
    return Table(f"by_speed_{name}", w.name(name), columns, tuple(rows)) if rows else None


def overlay_json(a: Window, b: Window, kind: Kind) -> dict[str, Any]:
    """Both windows' signals over engine speed (a sweep) or over time since their start."""
    swept = kind == "sweep"
    names = [n for n in (OVERLAID if swept else HELD) if a.has(n) and b.has(n)]
    units = b.subject.units
    signals = []
    for n in names:
        signal = b.subject.signal(n)
        signals.append({
            "signal": n, "name": b.name(n), "unit": written(signal.unit, units),
            "a": _line(a, n, swept=swept, units_of=b), "b": _line(b, n, swept=swept, units_of=b),
        })  # fmt: skip
    over = {"name": b.name("engine_speed"), "unit": "rpm"} if swept else {"name": b.word("since_start"), "unit": "s"}
    return {"over": over, "signals": signals}


def _line(w: Window, name: str, *, swept: bool, units_of: Window) -> dict[str, Any]:
    s = w.series(name)
    x: NDArray[np.float64] = w.at("engine_speed", s.t_us) if swept else (s.t_us - w.first_us) / US
    good = np.isfinite(x)
    x, value = x[good], s.value[good]
    keep = thin(value, POINTS)
    unit = w.subject.signal(name).unit
    return {
        "x": [round(v, 3) for v in x[keep].tolist()],
        "values": converted(value[keep].tolist(), unit, units_of.subject.units),
    }


def _spans(was: list[Window], now: list[Window]) -> list[dict[str, Any]]:
    """How long the windows took between two road speeds that both passed: whole tens of km/h or mph."""
    units = now[-1].subject.units
    step = 10 * (1.609344 if units.speed == "mph" else 1.0)
    both = [speed_of(w) for w in (*was, *now)]
    series = [b[0] for b in both if b is not None]
    if len(series) < len(both) or any(not len(s) for s in series):
        return []
    # A crossing needs a sample below it.
    low = (math.floor(max(float(s.value[0]) for s in series) / step) + 1) * step
    high = math.floor(min(float(s.value.max()) for s in series) / step) * step
    if high - low < step:
        return []
    return [s for s in (_span(was, now, series, low, high),) if s is not None]


def _span(was: list[Window], now: list[Window], series: list[Series], low: float, high: float) -> dict[str, Any] | None:
    found = [fastest_span(s, low, high) for s in series]
    spans = [f for f in found if f is not None]
    if len(spans) < len(found):
        return None
    w, units = now[-1], now[-1].subject.units
    a = np.array([f.seconds for f in spans[: len(was)]])
    b = np.array([f.seconds for f in spans[len(was) :]])
    # Half the sampling interval at each crossing is a bound: a uniform error of that width, twice.
    d = difference(a, b, spans[0].uncertainty_s / math.sqrt(6), spans[-1].uncertainty_s / math.sqrt(6))
    uncertain = "" if d.uncertainty is None else f"{d.uncertainty:.2f} s"
    ends = [shown(v, "km/h", units, places=0) for v in (low, high)]
    return {
        "text": w.word("from_to", low=ends[0].text, high=str(ends[1])),
        "a_s": round(float(a.mean()), 3), "b_s": round(float(b.mean()), 3), "difference_s": round(d.value, 3),
        "uncertainty_s": None if d.uncertainty is None else round(d.uncertainty, 3), "real": d.real,
        "sentence": sentence_of(w, d, len(a), len(b), f"{d.value:+.2f} s", uncertain),
    }  # fmt: skip


def _power(was: list[Window], now: list[Window]) -> dict[str, Any]:
    """Estimated wheel power by 250 rpm of both revisions, the difference, and each standard's corrected peaks."""
    w = now[-1]
    one, two = [power_of(x) for x in was], [power_of(x) for x in now]
    missing = next((p for p in (*one, *two) if isinstance(p, str)), None)
    if missing is not None:
        return {"why": w.word(f"why.{missing}"), "table": None, "sentence": "", "corrections": None}
    a = [_power_bins(p) for p in one if isinstance(p, Estimate)]
    b = [_power_bins(p) for p in two if isinstance(p, Estimate)]
    bins = sorted({k for m in a for k in m} & {k for m in b for k in m})
    rows = []
    for k in bins:
        va, vb = np.array([m[k][0] for m in a if k in m]), np.array([m[k][0] for m in b if k in m])
        d = difference(va, vb, a[-1].get(k, (0, 0.0))[1] / 1.96, b[-1].get(k, (0, 0.0))[1] / 1.96)
        word = w.word("compare.yes" if d.real else "compare.not_told" if min(len(va), len(vb)) < 2 else "compare.no")
        rows.append((k * BIN_RPM, (k + 1) * BIN_RPM, float(va.mean()), float(vb.mean()), d.value, d.uncertainty, word))
    columns = (
        Column("from", w.word("column.speed_from"), "rpm"), Column("to", w.word("column.to"), "rpm"),
        Column("a", w.word("column.revision", revision=was[-1].subject.recipe.revision), "kW"),
        Column("b", w.word("column.revision", revision=w.subject.recipe.revision), "kW"),
        Column("difference", w.word("column.difference"), "kW"),
        Column("uncertainty", w.word("column.uncertainty"), "kW"), Column("real", w.word("column.real")),
    )  # fmt: skip
    table = Table("power", w.word("table.power"), columns, tuple(rows), w.word("power.method"))
    peaks = [float(np.mean([p.power_kw.max() for p in side if isinstance(p, Estimate)])) for side in (one, two)]
    return {
        "why": "",
        "table": table_json(table, w.subject.units),
        "sentence": w.word("power.compared", a=f"{peaks[0]:.0f}", b=f"{peaks[1]:.0f}"),
        "corrections": {"a": corrections_json(was[-1], peaks[0]), "b": corrections_json(w, peaks[1])},
    }


def _power_bins(p: Estimate) -> dict[int, tuple[float, float]]:
    """Mean power and the random half width of a single pull, by 250 rpm."""
    good = np.isfinite(p.rpm)
    place = np.floor(p.rpm[good] / BIN_RPM).astype(np.int64)
    power, random = p.power_kw[good], p.random_kw[good]
    return {int(k): (float(power[place == k].mean()), float(random[place == k].mean())) for k in np.unique(place)}
