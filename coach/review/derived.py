"""A signal's samples as the plan sees them: measured or derived, NaN where the value cannot be read."""

from __future__ import annotations

import numpy as np

from coach.core.derive import OK, UNREADABLE, Feed
from coach.core.spec import Facts, JudgePlan
from coach.recording import Recording, Series

NEVER = 2**62


def series_of(plan: JudgePlan, recording: Recording, name: str) -> Series:
    """A signal's samples, derived where the plan derives it; what cannot be read is NaN; empty where there is none."""
    if name in recording.series:
        return recording.series[name]
    way = next((d for d in plan.derivations if d.name == name), None)
    if way is None or any(n not in recording.series for n in way.inputs):
        return Series(np.zeros(0, dtype=np.int64), np.zeros(0))
    feeds = []
    for n in way.inputs:
        s = recording.series[n]
        facts = plan.facts.get(n, Facts())
        seen = (s.value >= facts.low) & (s.value <= facts.high)
        feeds.append(Feed(s.t_us, s.value, np.where(seen, OK, UNREADABLE).astype(np.uint8), (n,), (s.t_us,)))
    made = way.array(feeds, [plan.fresh_us.get(n, NEVER) for n in way.inputs])
    return Series(made.t_us, np.where(made.flag == OK, made.value, np.nan))


def cut(series: Series, first_us: int, last_us: int) -> Series:
    """The samples from `first_us` to `last_us`, both inclusive."""
    a, b = np.searchsorted(series.t_us, [first_us, last_us + 1])
    return Series(series.t_us[a:b], series.value[a:b])
