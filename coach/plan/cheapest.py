"""What to change so that a link can carry a recipe: a cheap set of lower rates and of signals left out."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from coach.plan.rates import LEAST, LinkModel, achieved_hz

LADDER_HZ = (20.0, 15.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.0, 0.5, 0.2, 0.1)
"""Rates that people write."""
JUDGED = 3.0
"""A signal that conditions and limits rest on is so much dearer to slow down than one that is only recorded."""
LOOSE = 0.4
"""One that may be missing is cheaper."""
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Change:
    """One change: a signal's rate in hertz from what to what; None leaves the signal out."""

    signal: str
    from_hz: float
    to_hz: float | None


@dataclass(frozen=True)
class _Costs:
    judged: Collection[str]
    loose: Collection[str]
    floor_hz: Mapping[str, float]

    def of(self, name: str, from_hz: float, to_hz: float | None) -> float:
        weight = JUDGED if name in self.judged else LOOSE if name in self.loose else 1.0
        # Halving a rate is one step; leaving a signal out counts as three.
        return weight * (3.0 if to_hz is None else math.log2(from_hz / to_hz))

    def steps(self, name: str, now_hz: float) -> list[float | None]:
        """The next lower rate, or leaving the signal out (None); empty where nothing more is allowed."""
        floor = max(self.floor_hz.get(name, 0.0), LADDER_HZ[-1])
        lower = next((hz for hz in LADDER_HZ if hz < now_hz - 1e-9), None)
        if lower is not None and lower >= floor - 1e-9:
            return [lower]
        return [] if name in self.judged else [None]

    def worth(self, name: str, from_hz: float, to_hz: float | None) -> float:
        """Samples a second saved for the cost."""
        return (from_hz - (to_hz or 0.0)) / self.of(name, from_hz, to_hz)


def enough(
    asked: Mapping[str, float], rates: Mapping[str, float], least: Mapping[str, float], keys: Mapping[str, int] | None
) -> bool:
    """Whether every signal that the car offers comes as often as it must."""
    return all(rates[n] >= hz * least.get(n, LEAST) - 1e-9 for n, hz in asked.items() if keys is None or n in keys)


def cheapest(
    asked: Mapping[str, float], model: LinkModel, keys: Mapping[str, int] | None = None, *,
    least: Mapping[str, float] | None = None, judged: Collection[str] = (), floor_hz: Mapping[str, float] | None = None,
) -> list[Change] | None:  # fmt: skip
    """Changes after which the link carries everything; empty where it does already.

    The dearest signals go last: each step takes the change that frees the most of the link for its cost, and at the end
    every change that was not needed is taken back.

    Args:
        asked: signal to hertz.
        model, keys: the link, see `achieved_hz`.
        least: share of its asked rate that each signal needs; one with 0 may be missing.
        judged: signals that conditions and limits rest on: never left out.
        floor_hz: what a signal may not fall under, such as two samples per 250 rpm in a sweep.

    Returns:
        None where nothing helps.
    """
    shares = dict(least or {})
    loose = {n for n in asked if shares.get(n, LEAST) == 0}
    costs = _Costs(frozenset(judged), loose, floor_hz or {})

    def fits(some: Mapping[str, float]) -> bool:
        return enough(some, achieved_hz(some, model, keys), shares, keys)

    now = {n: hz for n, hz in asked.items() if keys is None or n in keys}
    if fits(now):
        return []
    for _ in range(MOST_STEPS):
        options = [(costs.worth(n, hz, to), n, to) for n, hz in now.items() for to in costs.steps(n, hz)]
        if not options:
            return None
        _, name, to = max(options, key=lambda option: option[:2])
        if to is None:
            del now[name]
        else:
            now[name] = to
        if fits(now):
            break
    else:
        return None
    return _pruned({n: hz for n, hz in asked.items() if keys is None or n in keys}, now, fits, costs)


def _pruned(
    asked: Mapping[str, float], now: dict[str, float], fits: Callable[[Mapping[str, float]], bool], costs: _Costs
) -> list[Change]:
    """The changes, each taken back as far as the link still does, the dearest first."""
    changed = [n for n in asked if now.get(n) != asked[n]]
    changed.sort(key=lambda n: -costs.of(n, asked[n], now.get(n)))
    for name in changed:
        rungs = [asked[name], *(hz for hz in LADDER_HZ if hz < asked[name])]
        for hz in rungs:
            if name in now and hz <= now[name]:
                break
            if fits({**now, name: hz}):
                now[name] = hz
                break
    return [Change(n, asked[n], now.get(n)) for n in asked if n in changed and now.get(n) != asked[n]]
