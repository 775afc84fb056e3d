"""What a screen draws: signals of a stretch of a drive over time, and of a window over another signal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from coach.errors import BadInput
from coach.recording import US, Series
from coach.review.derived import cut
from coach.review.figures import converted, written
from coach.review.subject import Subject
from coach.review.thinning import thin
from coach.review.window import Window

POINTS = 1_200
MOST_POINTS = 20_000
MOST_SIGNALS = 40


def gapped(series: Series, keep: np.typing.NDArray[np.intp]) -> tuple[list[float], list[float]]:
    """The samples at the indices `keep`, in seconds, with an unknown one in each silence: no line crosses it."""
    t, v = series.t_us[keep], series.value[keep]
    steps = np.diff(series.t_us)
    if len(steps):
        silent = np.flatnonzero(steps > max(2 * US, 5 * float(np.median(steps))))
        middle = (series.t_us[silent] + series.t_us[silent + 1]) // 2
        at = np.searchsorted(t, middle)
        t, v = np.insert(t, at, middle), np.insert(v, at, np.nan)
    return (t / US).tolist(), v.tolist()


def traces_json(
    subject: Subject, signals: Sequence[str] | None, first_s: float | None, last_s: float | None, points: int = POINTS
) -> dict[str, Any]:
    """Signals over time from `first_s` to `last_s`, each thinned to `points` with its peaks kept.

    Args:
        subject: the drive.
        signals: names; every recorded signal if left out.
        first_s, last_s: the stretch; the whole drive if left out.
        points: at most so many of each signal.

    Raises:
        BadInput: a stretch that ends before it begins, or too many signals.
    """
    names = list(signals) if signals else [n for n, s in subject.recording.series.items() if len(s)]
    if len(names) > MOST_SIGNALS:
        raise BadInput(f"at most {MOST_SIGNALS} signals at a time", where="signals")
    first_us = 0 if first_s is None else round(first_s * US)
    last_us = subject.recording.duration_us if last_s is None else round(last_s * US)
    if first_us >= last_us > 0:
        raise BadInput("a stretch must end after it begins", where="first")
    made = []
    for name in names:
        series = cut(subject.series(name), first_us, last_us)
        if not len(series):
            continue
        signal = subject.signal(name)
        t_s, value = gapped(series, thin(series.value, points))
        made.append({
            "signal": name, "name": subject.title(name), "unit": written(signal.unit, subject.units),
            "discrete": signal.discrete, "t_s": t_s, "values": converted(value, signal.unit, subject.units),
        })  # fmt: skip
    return {"drive": subject.id, "from_s": first_us / US, "to_s": last_us / US, "signals": made}


def over_json(w: Window, over: str = "engine_speed", points: int = POINTS) -> dict[str, Any]:
    """A window's signals over another one, which is interpolated to each signal's own samples and never held.

    Lambda is drawn at the time at which its mixture was made.
    """
    s = w.subject
    signals = []
    for name in dict.fromkeys([*w.asked.signals(), *s.recording.series]):
        if name == over or not w.has(name):
            continue
        series = w.series(name)
        x = w.at(over, series.t_us)
        good = np.isfinite(x)
        if not good.any():
            continue
        part = Series(series.t_us[good], series.value[good])
        keep = thin(part.value, points)
        signal = s.signal(name)
        band = next((b for b in (*w.capture.keep, *w.capture.start) if b.signal == name), None)
        limit = next((x.bound for x in w.capture.limits if x.signal == name), None)
        ends = [None if band is None else band.low, None if band is None else band.high, limit]
        low, high, bound = (None if e is None else converted([e], signal.unit, s.units)[0] for e in ends)
        signals.append({
            "signal": name, "name": s.title(name), "unit": written(signal.unit, s.units),
            "discrete": signal.discrete, "x": [round(v, 2) for v in x[good][keep].tolist()],
            "values": converted(part.value[keep].tolist(), signal.unit, s.units),
            "t_s": (part.t_us[keep] / US).tolist(), "low": low, "high": high, "limit": bound,
        })  # fmt: skip
    entry = s.signal(over)
    return {
        "drive": s.id, "capture": w.asked.id, "number": w.attempt.number,
        "over": {"signal": over, "name": s.title(over), "unit": written(entry.unit, s.units)},
        "lambda_delay_s": w.lambda_delay_s, "signals": signals,
    }  # fmt: skip
