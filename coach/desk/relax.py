"""How little a capture would have to ask less for a drive to meet it: one bound, one time, one rate at a time.

Tries changes of the resolved plan on the same drive, by the same judge. It proposes; it changes no recipe.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeVar

from coach.core.afterwards import judge_recording
from coach.core.events import Collected
from coach.core.spec import Asked, Band, Capture, JudgePlan, Limit, Sweep
from coach.plan.sentences import Say
from coach.recording import US, Recording
from coach.shown import METRIC, Units, show, show_band, show_difference
from coach.signals import Catalogue, Signal
from coach.words import Words, load_words

_T = TypeVar("_T", Band, Limit, Sweep, Capture)

GRAINS = {
    "rpm": 10.0,
    "km/h": 1.0,
    "kPa": 1.0,
    "degC": 1.0,
    "K": 1.0,
    "%": 1.0,
    "lambda": 0.01,
    "V": 0.1,
    "deg": 0.5,
    "g/s": 1.0,
}
"""By unit, the smallest change that is worth writing into a recipe."""


@dataclass(frozen=True, slots=True)
class Relaxation:
    """One change of one key after which the drive qualifies.

    Attributes:
        key: of the recipe, inside the capture, as in `keep.road_speed.max`.
        old, new: values in the signal's unit, in seconds or in hertz.
        share: how large the change is beside the value or the band, to put the smallest first.
        text: the sentence.
    """

    key: str
    old: float
    new: float
    share: float
    text: str


@dataclass(frozen=True, slots=True)
class Knob:
    """One value that may be turned: `steps` of `grain` each, in the direction that asks for less."""

    key: str
    old: float
    grain: float
    steps: int
    turn: Callable[[float], Capture]
    scale: float
    say: Callable[[float], str]

    def value(self, step: int) -> float:
        """The value after so many steps."""
        return round(self.old + step * self.grain, 9)


def qualifies(plan: JudgePlan, capture: Capture, recording: Recording) -> bool:
    """Whether the drive meets `capture`, judged by itself: what it needs first is taken as there."""
    alone = replace(plan, captures=(replace(capture, needs=()),))
    verdict = judge_recording(alone, recording)
    if capture.collect is not None:
        return any(isinstance(e, Collected) for e in verdict.events)
    return sum(a.secured_us is not None for a in verdict.attempts[capture.id]) >= capture.times


def relaxations(
    plan: JudgePlan, capture: Capture, recording: Recording, catalogue: Catalogue, *, system: str | Units = METRIC,
    words: Words | None = None,
) -> list[Relaxation]:  # fmt: skip
    """Every single change that would do, the smallest first; empty where it is met already, or no one change is enough.

    Of each value the smallest change is sought by halving, which finds it where asking for less never makes an attempt
    fail; what is returned was judged and does qualify.

    Args:
        plan: what the drive is judged by.
        capture: one of its captures.
        recording: the drive.
        catalogue: the signals.
        system: the units of the sentences.
        words: the language.
    """
    if qualifies(plan, capture, recording):
        return []
    found = []
    for knob in _Knobs(capture, catalogue, Say(catalogue, system, words or load_words())).all():
        step = _least(knob.steps, partial(_met, plan, recording, knob))
        if step is not None:
            new = knob.value(step)
            found.append(Relaxation(knob.key, knob.old, new, abs(new - knob.old) / knob.scale, knob.say(new)))
    return sorted(found, key=lambda r: (r.share, r.key))


def _met(plan: JudgePlan, recording: Recording, knob: Knob, step: int) -> bool:
    return qualifies(plan, knob.turn(knob.value(step)), recording)


def _with(item: _T, name: str, value: object) -> _T:
    """A copy with one field set."""
    new: Any = {name: value}
    return replace(item, **new)


def _least(most: int, good: Callable[[int], bool]) -> int | None:
    """The smallest number from 1 to `most` that is good, if all above it are; None when not even `most` is."""
    if most < 1 or not good(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        if good(middle):
            high = middle
        else:
            low = middle
    return high


class _Knobs:
    """What of a capture may be asked less strictly."""

    def __init__(self, capture: Capture, catalogue: Catalogue, say: Say) -> None:
        self.capture = capture
        self.catalogue = catalogue
        self.say = say

    def all(self) -> Iterator[Knob]:
        for part, bands in (("start", self.capture.start), ("keep", self.capture.keep)):
            for i, band in enumerate(bands):
                if not self.catalogue[band.signal].discrete:
                    yield from self.band(part, i, band)
        for i, limit in enumerate(self.capture.limits):
            yield self.limit(i, limit)
        yield from self.times()
        yield from self.sweep()
        for i, asked in enumerate(self.capture.record):
            if asked.need:
                yield self.rate(i, asked)

    def band(self, part: str, place: int, band: Band) -> Iterator[Knob]:
        """Its lower bound down, its upper bound up, its wander up."""
        signal = self.catalogue[band.signal]
        width = (
            max((band.high or 0.0) - (band.low or 0.0), grain_of(signal)) if None not in (band.low, band.high) else 0
        )

        def turned(name: str, x: float) -> Capture:
            bands = list(getattr(self.capture, part))
            bands[place] = _with(band, name, x)
            return _with(self.capture, part, tuple(bands))

        for key, name, old, far, up in (
            ("min", "low", band.low, signal.low, False),
            ("max", "high", band.high, signal.high, True),
        ):
            if old is not None:
                yield self.bound(
                    f"{part}.{band.signal}.{key}", signal, old, far, partial(turned, name),
                    "up_to" if up else "down_to", width,
                )  # fmt: skip
        if band.wander is not None:
            grain = grain_of(signal)
            yield Knob(
                f"{part}.{band.signal}.wander", band.wander, grain, round((signal.high - signal.low) / grain),
                partial(turned, "wander"), max(band.wander, grain),
                lambda x: self.text("wander", signal, self.difference(x, signal), self.difference(band.wander, signal)),
            )  # fmt: skip

    def bound(
        self, key: str, signal: Signal, old: float, far: float, turn: Callable[[float], Capture], said: str,
        width: float = 0,
    ) -> Knob:  # fmt: skip
        """A bound that may move towards `far`."""
        grain = math.copysign(grain_of(signal), far - old)
        steps = math.floor(abs(far - old) / abs(grain) + 1e-9)
        return Knob(
            key, old, grain, steps, turn, width or max(abs(old), abs(grain)),
            partial(self.moved, said, signal, old),
        )  # fmt: skip

    def limit(self, place: int, limit: Limit) -> Knob:
        """The limit further out."""
        signal = self.catalogue[limit.signal]
        side = "high" if limit.high is not None else "low"

        def turned(x: float) -> Capture:
            limits = list(self.capture.limits)
            limits[place] = _with(limit, side, x)
            return replace(self.capture, limits=tuple(limits))

        far = signal.high if side == "high" else signal.low
        key = "max" if side == "high" else "min"
        return self.bound(f"limit.{limit.signal}.{key}", signal, limit.bound, far, turned, "limit")

    def times(self) -> Iterator[Knob]:
        """A shorter hold, piece or sum; more grace; more time for a sweep."""
        c = self.capture
        if c.hold_us is not None:
            name = "hold" if c.collect is None else "piece"
            yield self.time(name, c.hold_us, -US, c.hold_us // US - 1, lambda us: replace(c, hold_us=us))
        if c.collect is not None:
            collect = c.collect
            yield self.time(
                "collect", collect.total_us, -US, collect.total_us // US - 1,
                lambda us: replace(c, collect=replace(collect, total_us=us)),
            )  # fmt: skip
            if collect.wanted and collect.dwell_us:
                yield self.time(
                    "cells.dwell", collect.dwell_us, -US, collect.dwell_us // US - 1,
                    lambda us: replace(c, collect=replace(collect, dwell_us=us)),
                )  # fmt: skip
        longest = (c.hold_us or 20 * US) // 2
        yield self.time("grace", c.grace_us, US // 10, longest * 10 // US, lambda us: replace(c, grace_us=us))

    def time(self, key: str, old_us: int, grain_us: int, steps: int, turn: Callable[[int], Capture]) -> Knob:
        """A time, in whole grains."""
        return Knob(
            key, old_us / US, grain_us / US, steps, lambda s: turn(round(s * US)), max(old_us, US) / US,
            lambda s: self.words(f"time.{key}", new=self.say.time(round(s * US)), old=self.say.time(old_us)),
        )  # fmt: skip

    def sweep(self) -> Iterator[Knob]:
        """Ends nearer together, more dip, more time."""
        c, sweep = self.capture, self.capture.sweep
        if sweep is None:
            return
        signal = self.catalogue[sweep.signal]
        grain = math.copysign(grain_of(signal), sweep.start - sweep.to)
        room = math.floor(sweep.span / abs(grain) / 2)
        for key, name, old, sign, said in (
            ("to", "to", sweep.to, 1, "sweep_to"), ("from", "start", sweep.start, -1, "sweep_from"),
        ):  # fmt: skip
            yield Knob(
                f"sweep.{sweep.signal}.{key}", old, sign * grain, room,
                partial(self.end, name), sweep.span,
                partial(self.moved, said, signal, old),
            )  # fmt: skip
        yield Knob(
            f"sweep.{sweep.signal}.dip", sweep.dip, abs(grain), math.floor(sweep.span / abs(grain) / 2),
            lambda x: replace(c, sweep=replace(sweep, dip=x)), sweep.span,
            lambda x: self.text("dip", signal, self.difference(x, signal), self.difference(sweep.dip, signal)),
        )  # fmt: skip
        if sweep.within_us is not None:
            yield self.time(
                "within", sweep.within_us, US // 2, 6 * sweep.within_us // US,
                lambda us: replace(c, sweep=replace(sweep, within_us=us)),
            )  # fmt: skip

    def end(self, name: str, x: float) -> Capture:
        """The capture with one end of its sweep elsewhere."""
        assert self.capture.sweep is not None
        return _with(self.capture, "sweep", _with(self.capture.sweep, name, x))

    def rate(self, place: int, asked: Asked) -> Knob:
        """A slower rate, its gap with it where that is five periods."""
        name = self.say.words.inside(self.say.words.title(self.catalogue[asked.signal]))
        usual = round(5 * US / asked.rate_hz) == asked.gap_us

        def turned(hz: float) -> Capture:
            record = list(self.capture.record)
            gap = max(asked.gap_us, round(5 * US / hz)) if usual else asked.gap_us
            record[place] = replace(asked, rate_hz=hz, gap_us=gap)
            return replace(self.capture, record=tuple(record))

        grain = 1.0 if asked.rate_hz > 2 and asked.rate_hz == int(asked.rate_hz) else asked.rate_hz / 10
        return Knob(
            f"record.{asked.signal}", asked.rate_hz, -grain, round(asked.rate_hz / grain) - 1, turned, asked.rate_hz,
            lambda hz: self.words("rate", name=name, new=f"{hz:g}", old=f"{asked.rate_hz:g}"),
        )  # fmt: skip

    def words(self, key: str, **values: object) -> str:
        return self.say.words(f"desk.relax.{key}", **values)

    def text(self, key: str, signal: Signal, new: str, old: str) -> str:
        return self.words(key, name=self.say.words.inside(self.say.words.title(signal)), new=new, old=old)

    def moved(self, key: str, signal: Signal, old: float, new: float) -> str:
        """A bound as the reading that passes: 88 km/h is 54 mph, not 55."""
        upper = key == "up_to" or (key == "limit" and new > old)
        if key not in ("up_to", "down_to", "limit"):
            return self.text(key, signal, self.value(new, signal), self.value(old, signal))
        texts = []
        for x in (new, old):
            low, high = show_band(
                None if upper else x, x if upper else None, signal.unit, self.say.system, step=signal.step
            )
            texts.append(str(high if upper else low))
        return self.text(key, signal, *texts)

    def value(self, x: float, signal: Signal) -> str:
        return str(show(x, signal.unit, self.say.system))

    def difference(self, x: float | None, signal: Signal) -> str:
        return str(show_difference(x or 0.0, signal.unit, self.say.system))


def grain_of(signal: Signal) -> float:
    """The smallest change of a bound of this signal that is worth writing down, in its unit."""
    least = GRAINS.get(signal.unit)
    if least is None:
        least = 10.0 ** math.floor(math.log10((signal.high - signal.low) / 1000))
    return max(least, signal.step if signal.step is not None and signal.step >= 1 else 0.0)
