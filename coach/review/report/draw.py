"""The pictures of a report: the drive as a strip, signals of a window, signals over engine speed, power, cells."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from coach.core.events import Attempt
from coach.core.spec import Band
from coach.recording import US, Series
from coach.review.derived import cut
from coach.review.figures import shown
from coach.review.plots import gapped
from coach.review.report import svg as s
from coach.review.subject import Subject
from coach.review.thinning import thin
from coach.review.whole import length
from coach.review.window import Window
from coach.unit_factors import convert

Draw = Callable[[s.Frame], str]
POINTS = 480
AROUND_S = 8.0
BIG, SMALL = 132.0, 46.0
OVER = 150.0


def clock(seconds: float) -> str:
    """`1:59`, also below nought."""
    whole = round(abs(seconds))
    return f"{'-' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def strip(subject: Subject, attempts: Sequence[Attempt], best: set[tuple[str, int]], label: str) -> str:
    """The whole drive as a line with its attempts: solid, torn, or an octagon; the best ones with a tick."""
    whole = max(1, subject.recording.duration_us)
    width = 720.0
    body = [s.line(0, 24, width, 24, "base")]
    for a in attempts:
        x = a.start_us / whole * width
        wide = max(6.0, (a.end_us - a.start_us) / whole * width)
        if a.outcome.value == "secured":
            body.append(s.rect(x, 8, wide, 32, "won"))
            if (a.capture, a.number) in best and wide >= 18:
                m = x + wide / 2
                body.append(f'<path class="th w" d="M{s.n(m - 7)} 24l5 5l9 -10"/>')
        elif a.outcome.value == "stopped":
            m = x + wide / 2
            body.append(f'<path class="stopped" d="M{s.n(m - 5)} 12h10l7 7v10l-7 7h-10l-7 -7v-10z"/>')
        else:
            body.append(s.rect(x + 1.25, 9.25, max(4.0, wide - 2.5), 29.5, "gone"))
    return s.svg("".join(body), width, 48, label)


def shown_series(w: Window, name: str, first_us: int, last_us: int) -> tuple[s.Floats, s.Floats]:
    """Seconds since the window's start and values in the reader's units, thinned, broken at silences."""
    part = cut(w.subject.series(name), first_us, last_us)
    if not len(part):
        return np.zeros(0), np.zeros(0)
    unit = w.subject.signal(name).unit
    t_s, value = gapped(part, thin(part.value, POINTS))
    target = w.subject.units.of(unit)
    made = np.array([convert(v, unit, target) if math.isfinite(v) else math.nan for v in value])
    return np.array(t_s) - w.first_us / US, made


def _ends(w: Window, name: str) -> tuple[float | None, float | None, float | None]:
    """Low, high and limit of a signal in the reader's units."""
    unit, target = w.subject.signal(name).unit, w.subject.units.of(w.subject.signal(name).unit)
    band: Band | None = next((b for b in (*w.capture.keep, *w.capture.start) if b.signal == name), None)
    limit = next((x.bound for x in w.capture.limits if x.signal == name), None)
    raw = (None if band is None else band.low, None if band is None else band.high, limit)
    low, high, bound = (None if v is None else float(convert(v, unit, target)) for v in raw)
    return low, high, bound


def lane(w: Window, name: str, label: str, *, big: bool) -> str:
    """A signal over the window and a little around it, inside what was asked of it."""
    around = round(min(AROUND_S * US, max(US, (w.last_us - w.first_us) * 0.12)))
    first, last = max(0, w.first_us - around), min(w.subject.recording.duration_us, w.last_us + around)
    x, y = shown_series(w, name, first, last)
    low, high, limit = _ends(w, name)
    signal = w.subject.signal(name)
    step = float(convert(signal.step or 0.0, signal.unit, w.subject.units.of(signal.unit), difference=True))
    inside = y[(x >= 0) & (x <= (w.last_us - w.first_us) / US)] if len(x) else y
    marks = [v for v in (low, high, limit) if v is not None]
    y_low, y_high = s.padded([*inside[np.isfinite(inside)].tolist(), *marks], least=6 * step)
    height = BIG if big else SMALL
    top = 18.0 if big else 0.0
    f = s.Frame((first - w.first_us) / US, (last - w.first_us) / US, y_low, y_high, height, top)
    a, b = f.x(0.0), f.x((w.last_us - w.first_us) / US)
    ceiling = f.y(high) if high is not None else top
    floor = f.y(low) if low is not None else top + height
    body = [s.rect(0, ceiling, f.width, floor - ceiling, "bed")]
    won = big and w.attempt.secured_us is not None
    if big:
        body.append(s.rect(a, ceiling, b - a, floor - ceiling, "won" if won else "gone"))
    body += [s.line(0, f.y(v), f.width, f.y(v), "edge") for v in (low, high) if v is not None]
    if limit is not None:
        body.append(_ceiling(f, limit))
    body.append(s.path(f, x, y, "th"))
    if won:
        body.append(_clip(f, x, y, a, b, ceiling, floor))
    if big:
        end_s = (w.last_us - w.first_us) / US
        body += [s.line(v, ceiling - 8, v, floor + 8, "post") for v in (a, b)]
        body += [s.text(a, top + height + 26, "0:00", "b"), s.text(b, top + height + 26, clock(end_s), "b", "end")]
        body += [
            s.text(f.x(t), top + height + 26, clock(t), anchor="middle")
            for t in s.ticks(0, end_s, 4) if 0.14 * end_s < t < 0.86 * end_s
        ]  # fmt: skip
    for e in w.attempt.excursions:
        if e.signal == name:
            p, q = f.x((e.start_us - w.first_us) / US), f.x((e.end_us - w.first_us) / US)
            body.append(s.line(p, top + height - 2, max(q, p + 3), top + height - 2, "out"))
    return s.svg("".join(body), f.width, top + height + (32 if big else 0), label)


def _clip(f: s.Frame, x: s.Floats, y: s.Floats, a: float, b: float, ceiling: float, floor: float) -> str:
    """The thread again in the colour that stands on the block, only where the block is."""
    inside = (x >= f.x_low + a / f.width * (f.x_high - f.x_low)) & (x <= f.x_low + b / f.width * (f.x_high - f.x_low))
    good = inside & np.array([ceiling - 0.5 <= f.y(v) <= floor + 0.5 if math.isfinite(v) else False for v in y])
    return s.path(f, x, np.where(good, y, np.nan), "th w")


def _ceiling(f: s.Frame, limit: float) -> str:
    """A limit: a line with hatching beyond, never colour alone."""
    y = f.y(limit)
    body = [s.line(0, y, f.width, y, "limit")]
    body += [s.line(x, y, x + 7, y - 8, "hatch") for x in range(0, int(f.width) - 6, 12)]
    return "".join(body)


def over_speed(w: Window, names: Sequence[str], label: str) -> str:
    """One signal, or a measured and a commanded one, over engine speed; each at its own samples."""
    lines: list[tuple[s.Floats, s.Floats]] = []
    unit = w.subject.signal(names[0]).unit
    target = w.subject.units.of(unit)
    for name in names:
        series: Series = w.series(name)
        x = w.at("engine_speed", series.t_us)
        order = np.argsort(series.t_us, kind="stable")
        value = np.array([float(convert(v, unit, target)) for v in series.value[order].tolist()])
        lines.append((x[order], value))
    low, high, limit = _ends(w, names[0])
    every = [float(v) for _, y in lines for v in y if math.isfinite(v)]
    speeds = [float(v) for x, _ in lines for v in x if math.isfinite(v)]
    if not speeds:
        return ""
    step = float(convert(w.subject.signal(names[0]).step or 0.0, unit, target, difference=True))
    near = [] if limit is None or limit > max(every) * 1.3 else [limit]
    y_low, y_high = s.padded([*every, *near], least=8 * step)
    return grid_plot(
        min(speeds), max(speeds), y_low, y_high, label,
        lambda f: ("" if low is None and high is None else _bed(f, low, high))
        + ("" if limit is None or not y_low < limit < y_high else _ceiling(f, limit))
        + "".join(s.path(f, x, y, "th" if i == 0 else "th two") for i, (x, y) in enumerate(lines)),
    )  # fmt: skip


def _bed(f: s.Frame, low: float | None, high: float | None) -> str:
    top = f.y(high) if high is not None else f.top
    bottom = f.y(low) if low is not None else f.top + f.height
    return s.rect(0, top, f.width, bottom - top, "bed")


def grid_plot(
    x_low: float, x_high: float, y_low: float, y_high: float, label: str, draw: Draw, width: float = 340.0
) -> str:
    """A plot with hairlines and figures at round values; `draw` gets its frame."""
    left = 46.0
    f = s.Frame(x_low, x_high, y_low, y_high, OVER, 8.0, width - left)
    body = []
    values = s.ticks(y_low, y_high, 4)
    places = _places(values)
    for v in values:
        body.append(s.line(0, f.y(v), f.width, f.y(v), "hair"))
        body.append(s.text(-8, f.y(v) + 5, f"{v:.{places}f}", anchor="end"))
    body.append(draw(f))
    marks = s.ticks(x_low, x_high, 5)
    edge = math.inf
    for v in reversed(marks):
        label_width = 8.5 * len(f"{v:.0f}")
        x = min(f.x(v), f.width - label_width / 2)
        if x + label_width / 2 + 6 <= edge:
            body.append(s.text(x, f.top + OVER + 22, f"{v:.0f}", anchor="middle"))
            edge = x - label_width / 2
    inner = f'<g transform="translate({s.n(left)} 0)">{"".join(body)}</g>'
    return s.svg(inner, width, f.top + OVER + 30, label)


def _places(values: Sequence[float]) -> int:
    if len(values) < 2:
        return 0
    step = abs(values[1] - values[0])
    return max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0


def power_plot(points: Sequence[dict[str, Any]], label: str) -> str:
    """Estimated power over engine speed with its range."""
    x = np.array([math.nan if p["rpm"] is None else p["rpm"] for p in points], dtype=np.float64)
    low, mid, high = (np.array([p[k] for p in points], dtype=np.float64) for k in ("low_kw", "power_kw", "high_kw"))
    if not np.isfinite(x).any():
        return ""
    y_low, y_high = s.padded([*low.tolist(), *high.tolist()])
    return grid_plot(
        float(np.nanmin(x)), float(np.nanmax(x)), min(0.0, y_low) if y_low < 15 else y_low, y_high, label,
        lambda f: s.area(f, x, low, high, "range") + s.path(f, x, mid, "th"), s.WIDTH,
    )  # fmt: skip


def cells(made: dict[str, Any], label: str) -> str:
    """Cells of engine speed over load: the fuller the darker, seconds written in; wanted ones outlined."""
    x_edges, y_edges, table = made["x"]["edges"], made["y"]["edges"], np.array(made["dwell_s"])
    columns, rows = len(x_edges) - 1, len(y_edges) - 1
    left, width = 60.0, 720.0
    wide, high = (width - left) / columns, 26.0
    most = float(table.max()) or 1.0
    body = []
    for r in range(rows):
        y = (rows - 1 - r) * high
        body.append(s.text(left - 10, y + high + 4, f"{y_edges[r]:g}", anchor="end"))
        for c in range(columns):
            value = float(table[r, c])
            x = left + c * wide
            body.append(s.rect(x, y, wide, high, "bed"))
            if value > 0:
                share = 0.12 + 0.88 * math.sqrt(value / most)
                body.append(
                    f'<rect class="won" x="{s.n(x)}" y="{s.n(y)}" width="{s.n(wide)}" height="{s.n(high)}"'
                    f' fill-opacity="{share:.2f}"/>'
                )
            if value >= 0.5:
                on = " on" if math.sqrt(value / most) > 0.5 else ""
                body.append(s.text(x + wide / 2, y + 17, f"{value:.0f}", f"cell{on}", "middle"))
    body.append(_outline(made["wanted"], left, wide, high))
    body.append(s.text(left - 10, 5, f"{y_edges[rows]:g}", anchor="end"))
    for c, edge in enumerate(x_edges):
        if columns <= 14 or c % 2 == 0:
            body.append(s.text(min(left + c * wide, width - 18), rows * high + 20, f"{edge:.0f}", anchor="middle"))
    return s.svg("".join(body), width, rows * high + 28, label)


def _outline(wanted: Sequence[Sequence[bool]], left: float, wide: float, high: float) -> str:
    """The border around what is wanted, drawn only where a wanted cell meets one that is not."""
    rows, columns = len(wanted), len(wanted[0]) if wanted else 0

    def on(r: int, c: int) -> bool:
        return 0 <= r < rows and 0 <= c < columns and wanted[r][c]

    parts = []
    for r in range(rows):
        top, bottom = (rows - 1 - r) * high, (rows - r) * high
        for c in range(columns):
            if not wanted[r][c]:
                continue
            a, b = left + c * wide, left + (c + 1) * wide
            parts += [f"M{s.n(a)} {s.n(top)}V{s.n(bottom)}"] * (not on(r, c - 1))
            parts += [f"M{s.n(b)} {s.n(top)}V{s.n(bottom)}"] * (not on(r, c + 1))
            parts += [f"M{s.n(a)} {s.n(top)}H{s.n(b)}"] * (not on(r + 1, c))
            parts += [f"M{s.n(a)} {s.n(bottom)}H{s.n(b)}"] * (not on(r - 1, c))
    return f'<path class="want" d="{"".join(parts)}"/>' if parts else ""


def value_of(w: Window, name: str) -> tuple[str, str]:
    """What stands at the right of a signal's row: its mean, and the range that it kept."""
    signal, units = w.subject.signal(name), w.subject.units
    v = w.series(name).value
    if not len(v):
        return "–", ""
    if signal.discrete:
        values, counts = np.unique(v, return_counts=True)
        text = w.subject.readouts[name].value(float(values[np.argmax(counts)])) if name in w.subject.readouts else "–"
        return text, w.word("report.never_left") if len(values) == 1 else ""
    places = 2 if signal.unit in {"lambda", "V"} else 0
    mean = shown(float(v.mean()), signal.unit, units, places=places)
    low, high = (shown(float(x), signal.unit, units, places=places) for x in (v.min(), v.max()))
    return mean.text, w.word("from_to", low=low.text, high=high.text)


__all__ = ["cells", "clock", "lane", "length", "over_speed", "power_plot", "strip", "value_of"]
