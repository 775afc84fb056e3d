"""What the oracle knows of a drive: every sample with its flag, derived ones too, searched by scanning."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE, Cut, Derived, Held
from coach.core.spec import Facts, JudgePlan
from coach.recording import Recording

READABLE = (OK, AT_CEILING, AT_FLOOR)


@dataclass(frozen=True)
class Sample:
    """One sample; `stamps` are the measured samples it rests on (itself, if measured)."""

    t: int
    value: float
    flag: int
    stamps: tuple[tuple[str, int], ...]

    @property
    def readable(self) -> bool:
        return self.flag in READABLE


def flag_of(value: float, facts: Facts) -> int:
    """Rule 5."""
    if math.isnan(value):
        return UNREADABLE
    if value < facts.low or value > facts.high:
        return OUT_OF_RANGE
    if facts.ceiling is not None and value >= facts.ceiling:
        return AT_CEILING
    if facts.floor is not None and value <= facts.floor:
        return AT_FLOOR
    return OK


class History:
    """All samples of a drive."""

    def __init__(self, plan: JudgePlan, recording: Recording) -> None:
        self.instants: list[tuple[int, dict[str, Sample]]] = []
        self.of: dict[str, list[Sample]] = {}
        self.cuts: dict[str, list[tuple[int, Cut]]] = {}
        steppers = [(d, d.stepper()) for d in plan.derivations if d.name not in recording.series]
        for t, values in recording.instants():
            frame = {
                name: Sample(t, value, flag_of(value, plan.facts.get(name, Facts())), ((name, t),))
                for name, value in values.items()
            }
            for name, sample in frame.items():
                self.of.setdefault(name, []).append(sample)
            for derivation, stepper in steppers:
                self._derive(t, frame, derivation, stepper, plan)
            self.instants.append((t, frame))

    def _derive(self, t, frame, derivation, stepper, plan) -> None:
        """Rule 7: a sample whenever an input has one, from inputs that are all fresh."""
        last = [self.last(name, t) for name in derivation.inputs]
        if not any(name in frame for name in derivation.inputs):
            return
        if any(s is None or t - s.t > plan.fresh_us[n] for n, s in zip(derivation.inputs, last, strict=True)):
            return
        said = stepper.step(
            t, [Held(s.t, s.value, s.flag) for s in last], [name in frame for name in derivation.inputs]
        )
        if isinstance(said, Derived):
            stamps = tuple((n, s.t) for n, s in zip(derivation.inputs, last, strict=True))
            frame[derivation.name] = Sample(t, said.value, said.flag, stamps)
            self.of.setdefault(derivation.name, []).append(frame[derivation.name])
        elif isinstance(said, Cut):
            self.cuts.setdefault(derivation.name, []).append((t, said))

    def upto(self, signal: str, t: int) -> list[Sample]:
        """The samples of `signal` stamped at or before `t`."""
        return [s for s in self.of.get(signal, []) if s.t <= t]

    def last(self, signal: str, t: int) -> Sample | None:
        """The last sample of `signal` at or before `t`."""
        before = self.upto(signal, t)
        return before[-1] if before else None

    def until(self, signal: str, sample: Sample, holds_us: Mapping[str, int], now: int) -> int:
        """The last moment at which `sample` holds (rules 6 and 7), as far as is known at `now`."""
        end = min(stamp + holds_us[name] for name, stamp in sample.stamps)
        cut = self.cut_after(signal, sample, now)
        return end if cut is None else min(end, cut.until_us)

    def cut_before_stale(self, signal: str, sample: Sample, holds_us: Mapping[str, int], now: int) -> Cut | None:
        """The cut that makes the signal unknown before it goes stale, or None."""
        cut = self.cut_after(signal, sample, now)
        end = min(stamp + holds_us[name] for name, stamp in sample.stamps)
        return cut if cut is not None and cut.until_us < end else None

    def cut_after(self, signal: str, sample: Sample, now: int) -> Cut | None:
        """The first cut said after `sample` and before the next one, as far as is known at `now`."""
        following = [s.t for s in self.of[signal] if s.t > sample.t]
        for said, cut in self.cuts.get(signal, []):
            if sample.t < said <= now and not any(t < said for t in following):
                return cut
        return None
