"""A signal's samples as the plan sees them: measured or derived, NaN where the value cannot be read."""

from __future__ import annotations

import numpy as np

from coach.core.derive import OK, UNREADABLE, Derivation, Feed
from coach.core.spec import Facts, JudgePlan
from coach.recording import Recording, Series
from coach.signals import Catalogue

NEVER = 2**62


def series_of(
    plan: JudgePlan, recording: Recording, name: str, way: Derivation | None = None, catalogue: Catalogue | None = None
) -> Series:
    """A signal's samples, derived where the plan derives it; what cannot be read is NaN; empty where there is none.

    Args:
        plan: what was judged.
        recording: the drive.
        name: of the signal.
        way: how it is derived where the plan says nothing about it.
        catalogue: bounds and staleness of inputs that the plan does not know.
    """
    if name in recording.series:
        return recording.series[name]
    way = next((d for d in plan.derivations if d.name == name), way)
    if way is None or any(n not in recording.series for n in way.inputs):
        return Series(np.zeros(0, dtype=np.int64), np.zeros(0))
    feeds, fresh = [], []
    for n in way.inputs:
        s = recording.series[n]
        known = None if catalogue is None else catalogue.signals.get(n)
        facts = plan.facts.get(n, Facts() if known is None else Facts(known.low, known.high))
        fresh.append(plan.fresh_us.get(n, NEVER if known is None else known.stale_us))
        seen = (s.value >= facts.low) & (s.value <= facts.high)
        feeds.append(Feed(s.t_us, s.value, np.where(seen, OK, UNREADABLE).astype(np.uint8), (n,), (s.t_us,)))
    made = way.array(feeds, fresh)
    return Series(made.t_us, np.where(made.flag == OK, made.value, np.nan))


def cut(series: Series, first_us: int, last_us: int) -> Series:
    """The samples from `first_us` to `last_us`, both inclusive."""
    a, b = np.searchsorted(series.t_us, [first_us, last_us + 1])
    return Series(series.t_us[a:b], series.value[a:b])
