"""Data health: rates, gaps, stuck signals, spikes, saturation, delays; and what each means for a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series
from coach.review.smooth import hampel, period_us, readable
from coach.review.subject import Subject
from coach.review.waves import delay_between

MOST_TOLD = 20
STUCK_S = 20.0
STUCK_CHANGES = 20.0
"""Stuck: at one value for 20 s and 20 times as long as it usually stays (common practice, no source)."""
RARE = 0.02
"""Fewer spikes than this share are told, and trouble nobody."""
CARRIED = 4.0
"""A column whose value changes this much more rarely than its rows come carries old values along."""
TOGETHER_S = 0.02
"""A shorter delay is none: it is one step of the grid on which it is looked for."""
ORDER_NOTES = ("late", "backward_time", "repeated_time", "same_time", "clock_jumped")
"""What readers, the judge and the recorder call what they noticed about the order of time."""
PAIRS = (
    ("engine_speed", "road_speed"), ("pedal_travel", "throttle"), ("pedal", "throttle"),
    ("throttle", "manifold_pressure"), ("pedal_travel", "manifold_pressure"),
)  # fmt: skip
RESTS = (
    "short_trim_1", "short_trim_2", "long_trim_1", "long_trim_2", "purge", "commanded_lambda", "module_voltage",
    "barometric_pressure", "adapter_voltage", "fuel_level", "ethanol",
)  # fmt: skip
"""Signals that may rest for minutes."""


@dataclass(frozen=True, slots=True)
class Stay:
    """The longest time at one value: where it began, how long, and how long the signal usually stays."""

    start_us: int
    seconds: float
    usual_s: float


def longest_stay(series: Series) -> Stay | None:
    """The longest run of one value; None for fewer than two samples."""
    s = readable(series)
    if len(s) < 2:
        return None
    starts = np.concatenate([[0], np.flatnonzero(np.diff(s.value) != 0) + 1])
    ends = np.concatenate([starts[1:], [len(s) - 1]])
    length = (s.t_us[ends] - s.t_us[starts]) / US
    at = int(np.argmax(length))
    return Stay(int(s.t_us[starts[at]]), float(length[at]), float(np.median(length)))


def is_stuck(subject: Subject, name: str, stay: Stay) -> bool:
    """Whether a signal that usually moves stood still although the car or the engine did not."""
    signal = subject.signal(name)
    if signal.discrete or name in RESTS or signal.quantity in {"temperature", "time", "distance"}:
        return False
    if stay.seconds < STUCK_S or stay.seconds < STUCK_CHANGES * max(stay.usual_s, 0.1):
        return False
    last_us = stay.start_us + round(stay.seconds * US)
    value = subject.good(name, stay.start_us, last_us).value
    whole = readable(subject.series(name)).value
    if len(value) and signal.quantity in {"percent", "speed"} and value[0] in {whole.min(), whole.max()}:
        return False  # a released or floored pedal, a car at rest
    others = [n for n in ("engine_speed", "road_speed", "manifold_pressure") if n != name]
    return any(_moved(subject.good(n, stay.start_us, last_us).value, subject.signal(n).step or 0.0) for n in others)


def alone(spiky: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those of the outliers `spiky` that stand alone or in pairs: a longer run is a signal that truly moved.

    The filter is meant for signals that move slowly against its six seconds; a pedal or a gear change moves faster than
    that, and every sample on the way would count.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], spiky.astype(np.int8), [0]])))
    found = np.zeros(len(spiky), dtype=np.bool_)
    for a, b in edges.reshape(-1, 2).tolist():
        found[a:b] = b - a <= 2
    return found


def _moved(value: NDArray[np.float64], step: float) -> bool:
    return bool(len(value) > 3 and float(value.max() - value.min()) > max(5 * step, 0.1 * abs(float(value.mean()))))


def health_json(subject: Subject, a: str | None = None, b: str | None = None) -> dict[str, Any]:
    """Each signal's state in words, the order of time, delays; `a` and `b` name a pair of one's own."""
    signals = [_signal(subject, n) for n, s in subject.recording.series.items() if len(s)]
    bad = [s["name"] for s in signals if s["state"] == "bad"]
    mind = [s["name"] for s in signals if s["state"] == "mind"]
    pairs = [(a, b)] if a is not None and b is not None else [
        p for p in PAIRS if all(len(subject.series(n)) for n in p) and not (p[0] == "pedal" and _travel(subject))
    ]  # fmt: skip
    key = "health.bad" if bad else "health.mind" if mind else "health.good"
    return {
        "sentence": subject.words(f"review.{key}", names=", ".join(bad or mind), count=len(signals)),
        "signals": signals,
        "order": _order(subject),
        "delays": [_delay(subject, *p) for p in pairs],
    }


def _travel(subject: Subject) -> bool:
    return bool(len(subject.series("pedal_travel")))


def _signal(subject: Subject, name: str) -> dict[str, Any]:
    s, signal, w = subject.recording.series[name], subject.signal(name), subject.words
    good = readable(s)
    plausible = (good.value >= signal.low) & (good.value <= signal.high)
    asked = subject.asked_hz(name)
    steps = np.diff(s.t_us)
    span = int(s.t_us[-1] - s.t_us[0])
    rate = (len(s) - 1) * US / span if span else None
    at = int(np.argmax(steps)) if len(steps) else None
    longest = int(steps[at]) if at is not None else 0
    allowed = 5 * (US / asked if asked else period_us(s))
    gaps = int((steps > allowed * 1.0001).sum()) if len(steps) else 0
    spiky = np.zeros(len(s), dtype=np.bool_)
    if not signal.discrete and signal.quantity not in ("state", "gear", "count"):
        spiky = alone(hampel(s, resolution=signal.step or 0.0))
    spike_at = s.t_us[spiky]
    saturated = int((good.value >= signal.ceiling).sum()) if signal.ceiling is not None else 0
    saturated += int((good.value <= signal.floor).sum()) if signal.floor is not None else 0
    stay = longest_stay(Series(good.t_us[plausible], good.value[plausible]))
    stuck = stay is not None and is_stuck(subject, name, stay)
    found: list[dict[str, str]] = []

    def tell(code: str, count: int = 0, **values: object) -> None:
        text = w.counted(f"review.health.{code}.text", count, **values)
        found.append({"code": code, "text": text, "means": w(f"review.health.{code}.means")})

    if asked and rate is not None and rate < 0.8 * asked:
        tell("slow", rate=f"{rate:.1f}", asked=f"{asked:g}")
    if gaps:
        tell("gaps", count=gaps, longest=f"{longest / US:.1f}", allowed=f"{allowed / US:.2f}")
    if stuck and stay is not None:
        tell("stuck", seconds=f"{stay.seconds:.0f}", time=_clock(stay.start_us))
    refreshed = _refreshed_hz(good)
    if rate is not None and refreshed is not None and refreshed * CARRIED < rate and not signal.discrete:
        tell("carried", rate=f"{rate:.1f}", refreshed=f"{refreshed:.1f}")
    if len(spike_at):
        tell("spikes", count=len(spike_at), time=_clock(int(spike_at[0])))
    if saturated:
        tell("saturated", count=saturated)
    if len(s) - len(good):
        tell("unreadable", count=len(s) - len(good))
    if int((~plausible).sum()):
        tell("out_of_range", count=int((~plausible).sum()))
    codes = {f["code"] for f in found}
    few = len(spike_at) < RARE * len(s)
    state = (
        "bad"
        if codes & {"slow", "gaps", "stuck", "carried"} and asked
        else "mind"
        if codes - ({"spikes"} if few else set())
        else "ok"
    )
    return {
        "signal": name, "name": subject.title(name),
        "unit": subject.readouts[name].unit if name in subject.readouts else "",
        "count": len(s), "rate_hz": None if rate is None else round(rate, 2), "asked_hz": asked,
        "max_gap_s": round(longest / US, 3), "max_gap_at_s": None if at is None else int(s.t_us[at]) / US,
        "gaps": gaps, "stuck_s": round(stay.seconds, 2) if stuck and stay is not None else None,
        "stuck_at_s": stay.start_us / US if stuck and stay is not None else None,
        "spikes": len(spike_at), "spike_at_s": (spike_at[:MOST_TOLD] / US).tolist(), "saturated": saturated,
        "unreadable": len(s) - len(good), "out_of_range": int((~plausible).sum()), "state": state, "findings": found,
    }  # fmt: skip


def _refreshed_hz(s: Series) -> float | None:
    """How often a signal that moves shows a new value, where it moves: a table may carry old values from row to row.

    Looked at only where the step from one new value to the next is several times the smallest step: a signal that
    creeps over single steps of its encoding changes rarely although it is measured often.
    """
    changes = np.flatnonzero(np.diff(s.value) != 0)
    if len(changes) < 20:
        return None
    jumps = np.abs(np.diff(s.value))[changes]
    if float(np.median(jumps)) < 4 * float(jumps.min()):
        return None
    between = np.diff(s.t_us[changes + 1])
    usual = float(np.median(between))
    return US / usual if usual > 0 else None


def _clock(t_us: int) -> str:
    return f"{t_us // 60_000_000}:{t_us // US % 60:02d}"


def _order(subject: Subject) -> dict[str, str]:
    told = [n.text for n in subject.notes if n.code in ORDER_NOTES]
    w = subject.words
    if told:
        return {"text": " ".join(dict.fromkeys(told)), "means": w("review.health.order.means")}
    return {"text": w("review.health.order.fine"), "means": ""}


def _delay(subject: Subject, a: str, b: str) -> dict[str, Any]:
    w = subject.words
    found = delay_between(subject.series(a), subject.series(b))
    base: dict[str, Any] = {"a": a, "b": b, "delay_s": None, "correlation": None, "text": "", "means": "", "why": ""}
    names = {"a": subject.title(a), "b": subject.title(b)}
    if found is None:
        return base | {"why": w("review.health.delay.why", **names)}
    late = found.seconds >= 0
    if abs(found.seconds) < TOGETHER_S:
        text = w("review.health.delay.together", correlation=f"{found.correlation:.2f}", **names)
        return base | {
            "delay_s": round(found.seconds, 3), "correlation": round(found.correlation, 3), "text": text, "means": "",
        }  # fmt: skip
    text = w("review.health.delay.late" if late else "review.health.delay.early", seconds=f"{abs(found.seconds):.2f}",
             correlation=f"{found.correlation:.2f}", **names)  # fmt: skip
    means = w("review.health.delay.means_gear" if (a, b) == PAIRS[0] else "review.health.delay.means")
    return base | {
        "delay_s": round(found.seconds, 3), "correlation": round(found.correlation, 3), "text": text, "means": means,
    }  # fmt: skip
