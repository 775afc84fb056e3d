"""One attempt of a drive as its summary looks at it, and what every kind of capture shows first."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.core.events import Attempt
from coach.core.spec import Capture
from coach.recipe import CaptureAsked
from coach.recording import US, Series
from coach.review.figures import Group, Maker, shown
from coach.review.smooth import dwell_us, held_at, longest_gap_us, readable, value_at
from coach.review.stats import moments
from coach.review.subject import Subject

LAMBDA_DELAY_S = 0.2
"""How much later lambda is seen than the mixture was made: exhaust and sensor (common practice, no source)."""
TEMPERATURES = ("coolant_temp", "oil_temp", "intake_temp", "charge_air_temp", "ambient_temp", "exhaust_temp",
                "catalyst_temp")  # fmt: skip
CLOSED_LOOP = 2
LOADS = ("absolute_load", "calculated_load", "manifold_pressure", "mass_airflow")


@dataclass
class Window:
    """An attempt: from its first to its last vouched-for moment.

    Attributes:
        lambda_delay_s: by how much lambda is shifted back before it is put beside anything else.
    """

    subject: Subject
    asked: CaptureAsked
    capture: Capture
    attempt: Attempt
    lambda_delay_s: float = LAMBDA_DELAY_S
    _cache: dict[str, Series] = field(default_factory=dict, repr=False)

    @property
    def first_us(self) -> int:
        """Its first moment."""
        return self.attempt.start_us

    @property
    def last_us(self) -> int:
        """Its last moment."""
        return self.attempt.end_us

    @property
    def maker(self) -> Maker:
        """Makes figures in the subject's language."""
        return Maker(self.subject.words, self.subject.title)

    def series(self, name: str) -> Series:
        """A signal's readable samples inside; lambda at the time at which its mixture was made."""
        if name not in self._cache:
            shift = round(self.lambda_delay_s * US) if name.startswith("lambda") or name == "air_fuel_ratio" else 0
            s = self.subject.good(name, self.first_us + shift, self.last_us + shift)
            self._cache[name] = Series(s.t_us - shift, s.value) if shift else s
        return self._cache[name]

    def has(self, name: str) -> bool:
        """Whether a signal has a readable sample inside."""
        return bool(len(self.series(name)))

    def at(self, name: str, t_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """A signal at each of `t_us`, between its samples, also those around the window; NaN across a silence."""
        return value_at(self.subject.series(name), t_us)

    def saturated(self, name: str) -> bool:
        """Whether a sample inside stands at the upper end of its encoding: the true value was at least that.

        A derived signal is, where one of its measured inputs is.
        """
        signal = self.subject.signal(name)
        if len(self.subject.recording.series.get(name, ())) or not signal.inputs:
            return signal.ceiling is not None and bool((self.series(name).value >= signal.ceiling).any())
        return any(self.saturated(n) for n in signal.inputs)

    def word(self, key: str, **values: object) -> str:
        """A sentence of the review."""
        return self.subject.words(f"review.{key}", **values)

    def name(self, signal: str) -> str:
        """A signal's title."""
        return self.subject.title(signal)


def plain_figures(w: Window, names: tuple[str, ...], *, why: bool = False) -> Maker:
    """Mean, spread and standard error of each recorded signal; of one that was not recorded only where `why`."""
    make = w.maker
    for name in names:
        signal = w.subject.signal(name)
        if w.has(name):
            make.of(name, signal.unit, moments(w.series(name).value), note=_end(w, name))
        elif why:
            make.cannot(name, signal.unit, "not_recorded", name=w.name(name))
    return make


def _end(w: Window, name: str) -> str:
    return w.word("note.saturated", name=w.name(name)) if w.saturated(name) else ""


def every_kind(w: Window) -> Group:
    """Codes, fuel-system status, temperatures: what is looked at before anything else."""
    make = w.maker
    s = w.subject
    codes = s.good("code_count", 0, w.last_us)
    if len(codes):
        make.put("codes", "", float(codes.value[-1]), count=len(codes))
    else:
        make.cannot("codes", "", "not_recorded", name=s.title("code_count"))
    shares = loop_shares(w)
    if shares is None:
        make.cannot("closed_loop", "%", "no_status")
    else:
        others = [f"{word} {share:.0f} %" for word, share in shares if share >= 0.5]
        closed = dict(shares).get(_state(w, CLOSED_LOOP), 0.0)
        make.put("closed_loop", "%", closed, note="; ".join(others))
    for name in TEMPERATURES:
        if w.has(name):
            v = w.series(name).value
            note = w.word("note.from_to", first=_deg(s, name, v[0]), last=_deg(s, name, v[-1]))
            make.of(name, "degC", moments(v), note=note)
        elif name in ("coolant_temp", "oil_temp", "intake_temp"):
            make.cannot(name, "degC", "not_recorded", name=s.title(name))
    return Group("every", w.word("group.every"), make.take())


def _deg(s: Subject, name: str, value: float) -> str:
    return str(shown(float(value), s.signal(name).unit, s.units, places=0))


def _state(w: Window, value: float) -> str:
    signal = w.subject.signal("fuel_system_status")
    known = dict(signal.states).get(int(value), f"{value:g}")
    return w.subject.words.of_signal(signal.name, f"states.{int(value)}", known)


def loop_shares(w: Window) -> list[tuple[str, float]] | None:
    """Share of the window's time in each fuel-system status, in per cent; None where nobody recorded it.

    A value holds until the next, never longer than the catalogue lets it.
    """
    status = readable(w.subject.series("fuel_system_status"))
    if not len(status):
        return None
    stale = float(w.subject.signal("fuel_system_status").stale_us)
    step = max(10_000, (w.last_us - w.first_us) // 2000)
    t = np.arange(w.first_us, w.last_us + 1, step, dtype=np.int64)
    value = held_at(status, t, max(stale, longest_gap_us(status)))
    known = value[np.isfinite(value)]
    if not len(known):
        return None
    return [(_state(w, v), 100 * float((known == v).mean())) for v in np.unique(known).tolist()]


def closed_loop(w: Window, t_us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether the fuel was in closed loop at each of `t_us`."""
    status = readable(w.subject.series("fuel_system_status"))
    stale = max(float(w.subject.signal("fuel_system_status").stale_us), longest_gap_us(status))
    found: NDArray[np.bool_] = held_at(status, t_us, stale) == CLOSED_LOOP
    return found


def rates_of(w: Window, names: list[str] | None = None) -> list[dict[str, Any]]:
    """Each recorded signal's achieved rate and longest gap inside, beside the rate asked."""
    asked = {a.signal: a.rate_hz for a in w.capture.record}
    found = []
    recorded = [n for n, s in w.subject.recording.series.items() if len(s)]
    for name in names or list(dict.fromkeys([*asked, *recorded])):
        s = w.subject.good(name, w.first_us, w.last_us)
        span = int(s.t_us[-1] - s.t_us[0]) if len(s) > 1 else 0
        rate = round((len(s) - 1) * US / span, 2) if span else None
        # The window's own ends count: a signal that fell silent early has a gap up to the end.
        edges = np.concatenate([[w.first_us], s.t_us, [w.last_us]]) if len(s) else np.array([w.first_us, w.last_us])
        inner = np.diff(s.t_us) if len(s) > 1 else np.diff(edges)
        ends = [int(edges[1] - edges[0]), int(edges[-1] - edges[-2])]
        usual = float(np.median(inner))
        gap = max(int(inner.max()), *(e for e in ends if e > usual), 0) if len(s) else int(edges[-1] - edges[0])
        key = "rate.text" if rate is not None else "rate.none"
        found.append({
            "signal": name, "name": w.name(name), "count": len(s), "rate_hz": rate,
            "max_gap_s": round(gap / US, 3), "asked_hz": asked.get(name),
            "text": w.word(key, rate="" if rate is None else f"{rate:.1f}", gap=f"{gap / US:.2f}"),
        })  # fmt: skip
    return found


def dwells_s(series: Series) -> NDArray[np.float64]:
    """Seconds that each sample stands for."""
    return dwell_us(series.t_us, longest_gap_us(series)) / US


def binned(
    x: NDArray[np.float64], value: NDArray[np.float64], width: float, tau: float | None = None
) -> dict[int, tuple[float, float | None, int]]:
    """Mean, standard error and count of `value` by bins of `x`: bin k is k * width <= x < (k + 1) * width."""
    good = np.isfinite(x) & np.isfinite(value)
    found = {}
    place = np.floor(x[good] / width).astype(np.int64)
    kept = value[good]
    for k in np.unique(place).tolist():
        m = moments(kept[place == k], tau)
        if m is not None:
            found[int(k)] = (m.mean, m.error, m.n)
    return found
