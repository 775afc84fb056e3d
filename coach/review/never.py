"""Why a capture never began: conditions that no sample met, what people did not do, or a sweep that was not begun."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coach.advice.readout import Readout, Readouts
from coach.core.derive import OK, Feed
from coach.core.spec import Band, Capture, JudgePlan
from coach.recording import Mark, Recording
from coach.words import Words

Gate = Literal["skipped", "needs", "confirm", "arm"]

_NEVER = np.iinfo(np.int64).max


def never_met(plan: JudgePlan, capture: Capture, recording: Recording) -> tuple[Band, ...]:
    """The bands of `capture` that no sample lay in, in the recipe's order; one that was never recorded is one of them.

    Only where the samples lay is looked at, not what else keeps an attempt from beginning.
    """
    values = {b.signal: _values(plan, b.signal, recording) for b in (*capture.keep, *capture.start)}
    return tuple(b for b in (*capture.keep, *capture.start) if not _ever(b, values[b.signal]))


def never_opened(
    capture: Capture, marks: Collection[Mark] | None, secured: Collection[str]
) -> tuple[Gate, tuple[str, ...]] | None:
    """What people did not do, without which `capture` could not begin, and which states or captures it is about.

    Args:
        capture: as it was judged.
        marks: what people said; None where nobody recorded it.
        secured: ids of captures that were secured at least once.
    """
    mine = [m for m in marks or () if m.capture == capture.id]
    said = {m.kind for m in mine}
    if "skip" in said and "unskip" not in said:
        return "skipped", ()
    needs = tuple(n for n in capture.needs if n not in secured)
    if needs:
        return "needs", needs
    confirmed = {m.text for m in mine if m.kind == "confirm"}
    states = tuple(c for c in capture.confirm if c not in confirmed)
    if states:
        return "confirm", states
    return ("arm", ()) if capture.arming and "arm" not in said else None


def never_text(
    plan: JudgePlan, capture: Capture, recording: Recording, readouts: Readouts, words: Words,
    *, titles: Mapping[str, str], secured: Collection[str],
) -> str:  # fmt: skip
    """Why `capture` has no attempt, in one sentence.

    Args:
        plan: what was judged.
        capture: one of its captures.
        recording: the drive.
        readouts: signals in the reader's units.
        words: the language.
        titles: of all captures by id.
        secured: ids of captures that were secured at least once.
    """
    bands = never_met(plan, capture, recording)
    if bands:
        parts = [_part(plan, b, recording, readouts[b.signal], words) for b in bands]
        return words("reason.never.text", conditions=words("reason.never.and").join(parts))
    shut = never_opened(capture, recording.marks, secured)
    if shut is not None:
        gate, about = shut
        named = words("never.and").join(titles.get(name, name) for name in about)
        return words(f"never.{gate}", states=named, captures=named)
    blind = next((one for one in capture.limits if not len(_values(plan, one.signal, recording))), None)
    if blind is not None:
        return words("never.limit", name=words.inside(words.title(readouts[blind.signal].signal)))
    if capture.sweep is not None:
        readout = readouts[capture.sweep.signal]
        begin = f"{readout.value(capture.sweep.start)} {readout.unit}".strip()
        name = words.inside(words.title(readout.signal))
        return words("never.rises" if capture.sweep.rising else "never.falls", name=name, **{"from": begin})
    return words("reason.never.bare")


def _part(plan: JudgePlan, band: Band, recording: Recording, readout: Readout, words: Words) -> str:
    if len(_values(plan, band.signal, recording)):
        return never_part(readout, words, band)
    if readout.family == "gear":
        return words("never.gear_unseen")
    return words("never.unseen", name=words.inside(words.title(readout.signal)))


def never_part(readout: Readout, words: Words, band: Band) -> str:
    """One condition that was never met: coolant was never 80 °C or more."""
    asked = readout.asked_with_unit(band.low, band.high, band.wander)
    name = words.inside(words.title(readout.signal))
    key = "reason.never.gear" if readout.family == "gear" else "reason.never.part"
    return words(key, name=name, asked=asked)


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
