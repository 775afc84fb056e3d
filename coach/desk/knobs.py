"""What of a capture may be asked less strictly: each bound, time and rate that can be turned, and what it is called.

Turns copies of the resolved plan; it judges nothing, and writes no recipe.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeVar

from coach.core.spec import Asked, Band, Capture, Limit, Sweep
from coach.plan.sentences import Say
from coach.recording import US
from coach.shown import show, show_band, show_difference
from coach.signals import Catalogue, Signal

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


def _with(item: _T, name: str, value: object) -> _T:
    """A copy with one field set."""
    new: Any = {name: value}
    return replace(item, **new)


class Knobs:
    """What of a capture may be asked less strictly; `say` has the language and the units of the sentences."""

    def __init__(self, capture: Capture, catalogue: Catalogue, say: Say) -> None:
        self.capture = capture
        self.catalogue = catalogue
        self.say = say

    def all(self) -> Iterator[Knob]:
        """Every one of them, in the order of the recipe's keys."""
        for part, bands in (("start", self.capture.start), ("keep", self.capture.keep)):
            for i, band in enumerate(bands):
                if not self.catalogue[band.signal].discrete:
                    yield from self._band(part, i, band)
        for i, limit in enumerate(self.capture.limits):
            yield self._limit(i, limit)
        yield from self._times()
        yield from self._sweep()
        for i, asked in enumerate(self.capture.record):
            if asked.need:
                yield self._rate(i, asked)

    def _band(self, part: str, place: int, band: Band) -> Iterator[Knob]:
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
                yield self._bound(
                    f"{part}.{band.signal}.{key}", signal, old, far, partial(turned, name),
                    "up_to" if up else "down_to", width,
                )  # fmt: skip
        if band.wander is not None:
            grain = grain_of(signal)
            yield Knob(
                f"{part}.{band.signal}.wander", band.wander, grain, round((signal.high - signal.low) / grain),
                partial(turned, "wander"), max(band.wander, grain),
                lambda x: self._text(
                    "wander", signal, self._difference(x, signal), self._difference(band.wander, signal)
                ),
            )  # fmt: skip

    def _bound(
        self, key: str, signal: Signal, old: float, far: float, turn: Callable[[float], Capture], said: str,
        width: float = 0,
    ) -> Knob:  # fmt: skip
        """A bound that may move towards `far`."""
        grain = math.copysign(grain_of(signal), far - old)
        steps = math.floor(abs(far - old) / abs(grain) + 1e-9)
        return Knob(
            key, old, grain, steps, turn, width or max(abs(old), abs(grain)),
            partial(self._moved, said, signal, old),
        )  # fmt: skip

    def _limit(self, place: int, limit: Limit) -> Knob:
        """The limit further out."""
        signal = self.catalogue[limit.signal]
        side = "high" if limit.high is not None else "low"

        def turned(x: float) -> Capture:
            limits = list(self.capture.limits)
            limits[place] = _with(limit, side, x)
            return replace(self.capture, limits=tuple(limits))

        far = signal.high if side == "high" else signal.low
        key = "max" if side == "high" else "min"
        return self._bound(f"limit.{limit.signal}.{key}", signal, limit.bound, far, turned, "limit")

    def _times(self) -> Iterator[Knob]:
        """A shorter hold, piece or sum; more grace; more time for a sweep."""
        c = self.capture
        if c.hold_us is not None:
            name = "hold" if c.collect is None else "piece"
            yield self._time(name, c.hold_us, -US, c.hold_us // US - 1, lambda us: replace(c, hold_us=us))
        if c.collect is not None:
            collect = c.collect
            yield self._time(
                "collect", collect.total_us, -US, collect.total_us // US - 1,
                lambda us: replace(c, collect=replace(collect, total_us=us)),
            )  # fmt: skip
            if collect.wanted and collect.dwell_us:
                yield self._time(
                    "cells.dwell", collect.dwell_us, -US, collect.dwell_us // US - 1,
                    lambda us: replace(c, collect=replace(collect, dwell_us=us)),
                )  # fmt: skip
        longest = (c.hold_us or 20 * US) // 2
        yield self._time("grace", c.grace_us, US // 10, longest * 10 // US, lambda us: replace(c, grace_us=us))

    def _time(self, key: str, old_us: int, grain_us: int, steps: int, turn: Callable[[int], Capture]) -> Knob:
        """A time, in whole grains."""
        return Knob(
            key, old_us / US, grain_us / US, steps, lambda s: turn(round(s * US)), max(old_us, US) / US,
            lambda s: self._words(f"time.{key}", new=self.say.time(round(s * US)), old=self.say.time(old_us)),
        )  # fmt: skip

    def _sweep(self) -> Iterator[Knob]:
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
                partial(self._end, name), sweep.span,
                partial(self._moved, said, signal, old),
            )  # fmt: skip
        yield Knob(
            f"sweep.{sweep.signal}.dip", sweep.dip, abs(grain), math.floor(sweep.span / abs(grain) / 2),
            lambda x: replace(c, sweep=replace(sweep, dip=x)), sweep.span,
            lambda x: self._text("dip", signal, self._difference(x, signal), self._difference(sweep.dip, signal)),
        )  # fmt: skip
        if sweep.within_us is not None:
            yield self._time(
                "within", sweep.within_us, US // 2, 6 * sweep.within_us // US,
                lambda us: replace(c, sweep=replace(sweep, within_us=us)),
            )  # fmt: skip

    def _end(self, name: str, x: float) -> Capture:
        """The capture with one end of its sweep elsewhere."""
        assert self.capture.sweep is not None
        return _with(self.capture, "sweep", _with(self.capture.sweep, name, x))

    def _rate(self, place: int, asked: Asked) -> Knob:
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
            lambda hz: self._words("rate", name=name, new=f"{hz:g}", old=f"{asked.rate_hz:g}"),
        )  # fmt: skip

    def _words(self, key: str, **values: object) -> str:
        return self.say.words(f"desk.relax.{key}", **values)

    def _text(self, key: str, signal: Signal, new: str, old: str) -> str:
        return self._words(key, name=self.say.words.inside(self.say.words.title(signal)), new=new, old=old)

    def _moved(self, key: str, signal: Signal, old: float, new: float) -> str:
        """A bound as the reading that passes: 88 km/h is 54 mph, not 55."""
        upper = key == "up_to" or (key == "limit" and new > old)
        if key not in ("up_to", "down_to", "limit"):
            return self._text(key, signal, self._value(new, signal), self._value(old, signal))
        texts = []
        for x in (new, old):
            low, high = show_band(
                None if upper else x, x if upper else None, signal.unit, self.say.system, step=signal.step
            )
            texts.append(str(high if upper else low))
        return self._text(key, signal, *texts)

    def _value(self, x: float, signal: Signal) -> str:
        return str(show(x, signal.unit, self.say.system))

    def _difference(self, x: float | None, signal: Signal) -> str:
        return str(show_difference(x or 0.0, signal.unit, self.say.system))


def grain_of(signal: Signal) -> float:
    """The smallest change of a bound of this signal that is worth writing down, in its unit."""
    least = GRAINS.get(signal.unit)
    if least is None:
        least = 10.0 ** math.floor(math.log10((signal.high - signal.low) / 1000))
    return max(least, signal.step if signal.step is not None and signal.step >= 1 else 0.0)
