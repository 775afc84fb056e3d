"""Why a capture never began: which of its conditions no sample of the drive met."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coach.core.derive import OK, Feed
from coach.core.spec import Band, Capture, JudgePlan
from coach.recording import Recording

_NEVER = np.iinfo(np.int64).max


def never_met(plan: JudgePlan, capture: Capture, recording: Recording) -> tuple[Band, ...]:
    """The bands of `capture` that no sample lay in, in the recipe's order; one that was never recorded is one of them.

    Only where the samples lay is looked at, not what else keeps an attempt from beginning.
    """
    values = {b.signal: _values(plan, b.signal, recording) for b in (*capture.keep, *capture.start)}
    return tuple(b for b in (*capture.keep, *capture.start) if not _ever(b, values[b.signal]))


def _ever(band: Band, values: NDArray[np.float64]) -> bool:
    good = np.isfinite(values)
    if band.low is not None:
        good &= values >= band.low
    if band.high is not None:
        good &= values <= band.high
    return bool(good.any())


def _values(plan: JudgePlan, name: str, recording: Recording) -> NDArray[np.float64]:
    series = recording.series.get(name)
    if series is not None:
        return series.value
    derivation = next((d for d in plan.derivations if d.name == name), None)
    if derivation is None or any(n not in recording.series for n in derivation.inputs):
        return np.zeros(0)
    feeds = [_feed(n, recording) for n in derivation.inputs]
    made = derivation.array(feeds, [plan.fresh_us.get(n, int(_NEVER)) for n in derivation.inputs])
    good: NDArray[np.float64] = made.value[made.flag == OK]
    return good


def _feed(name: str, recording: Recording) -> Feed:
    series = recording.series[name]
    return Feed(series.t_us, series.value, np.full(len(series), OK, dtype=np.uint8), (name,), (series.t_us,))
