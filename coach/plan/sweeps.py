"""Is a link fast enough for a sweep: two samples of each signal per 250 rpm; else a higher gear or fewer signals.

It proposes and refuses nothing by itself; how fast an engine speed rises is a guess, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from coach.core.spec import JudgePlan
from coach.plan.rates import SLOW_STALE_US, LinkModel, achieved_hz, asked_hz
from coach.recipe import CaptureAsked, Recipe
from coach.recipe.check import RPM_A_SAMPLE
from coach.shown import METRIC, Units, show
from coach.signals import Catalogue
from coach.words import Words, load_words

RISE = 0.198
"""Rise in rpm a second over the square of rpm per km/h, at full pedal: 760 in a second gear of 62, about 190 in a
fourth of 31 (a middling car: common practice, no source). Force at the wheels and engine speed over road speed both
go by the ratio."""
USUAL_RATIOS = {1: 118.0, 2: 62.0, 3: 42.0, 4: 31.0, 5: 25.0, 6: 21.0}
"""Rpm per km/h of a middling car, where the vehicle's own are not known (common practice, no source)."""
USUAL_GEAR = 3
SLACK = 0.95
"""Rates found by playing a schedule through are whole numbers of samples: so much of the need counts as enough."""
MOST_KMH = {"road": 100.0}
CLOSED_MOST_KMH = 130.0
"""No gear is offered in which the sweep ends faster, whatever the recipe allows (common practice, no source)."""
SLOWED = 3
"""While a capture runs, all other signals come so many times more rarely."""


class Geared(Protocol):
    """A vehicle, as far as sweeps need it."""

    @property
    def ratios(self) -> Mapping[int, float] | None:
        """Rpm per km/h by gear number, or None."""
        ...


@dataclass(frozen=True, slots=True)
class HigherGear:
    """A gear in which the same sweep is slow enough: the road speed at its upper end, and the rate that it needs."""

    gear: int
    kmh: float
    need_hz: float


@dataclass(frozen=True)
class SweepNeed:
    """What one sweep needs of the link.

    Attributes:
        capture, title: which.
        rise_rpm_s: how fast the engine speed rises, guessed.
        need_hz: two samples per 250 rpm at that rise.
        signals: what is needed at that rate, with the rate that the link gives.
        short: whether one of them comes too rarely.
        ask_more: it is the recipe that asks too rarely; the link could.
        gear: a higher gear that would do, within the capture's speed and time and what is sane, or None.
        drop: recorded signals without which it would do; empty where that does not help.
        text: one sentence; empty when all is well.
    """

    capture: str
    title: str
    rise_rpm_s: float
    need_hz: float
    signals: tuple[tuple[str, float], ...]
    short: bool = False
    ask_more: bool = False
    gear: HigherGear | None = None
    drop: tuple[str, ...] = ()
    text: str = ""


def rise_rpm_s(rpm_per_kmh: float) -> float:
    """How fast a middling car's engine speed rises at full pedal in a gear of this ratio, in rpm/s; see `RISE`."""
    return RISE * rpm_per_kmh**2


def sweep_needs(
    recipe: Recipe, plan: JudgePlan, catalogue: Catalogue, vehicle: Geared | None, model: LinkModel,
    keys: Mapping[str, int], *, units: Units = METRIC, words: Words | None = None,
) -> list[SweepNeed]:  # fmt: skip
    """One entry for each sweep of the engine speed, in the order of the recipe.

    Args:
        recipe, plan: what is asked, and as it is judged.
        catalogue: the signals.
        vehicle: for its gears, or None.
        model, keys: the link, see `achieved_hz`.
        units: of a road speed in a sentence.
        words: of sentences.
    """
    judge = _Judge(recipe, plan, catalogue, (vehicle.ratios if vehicle is not None else None) or {}, model, keys)
    say = words or load_words()
    sweeps = (c for c in recipe.captures if c.sweep is not None and c.sweep.signal == "engine_speed")
    return [judge.of(capture, units, say) for capture in sweeps]


@dataclass(frozen=True)
class _Judge:
    recipe: Recipe
    plan: JudgePlan
    catalogue: Catalogue
    ratios: Mapping[int, float]
    model: LinkModel
    keys: Mapping[str, int]

    def of(self, capture: CaptureAsked, units: Units, say: Words) -> SweepNeed:
        gears = [b.low for b in capture.keep if b.signal == "gear" and b.low is not None and b.low == b.high]
        gear = round(gears[0]) if gears else None
        rise = max(rise_rpm_s(self._ratio(gear)), self._slowest(capture))
        need_hz = rise / RPM_A_SAMPLE
        asked = asked_hz(self.plan, self.catalogue, {capture.id})
        recorded = self._recorded(capture)
        mine = {n: hz for n, hz in asked.items() if n in recorded and self._fast(n)}
        now = self._given(capture, mine)
        short = [n for n in mine if now[n] < SLACK * need_hz]
        signals = tuple((n, now[n]) for n in mine)
        if not short:
            return SweepNeed(capture.id, capture.title, rise, need_hz, signals)
        names = ", ".join(say.inside(say.short(self.catalogue[n])) for n in short)
        about = {"title": capture.title, "rise": f"{rise:.0f}", "need": f"{need_hz:.1f}", "names": names}
        if self._would_do(capture, dict.fromkeys(mine, need_hz), need_hz):
            text = say("link.sweep_ask", **about)
            return SweepNeed(capture.id, capture.title, rise, need_hz, signals, True, True, text=text)
        higher = self._higher(capture, gear, mine)
        drop = self._fewer(capture, mine, need_hz)
        offers = []
        if higher is not None:
            speed = show(higher.kmh, "km/h", units)
            offers.append(say("link.sweep_gear", gear=say.ordinal(higher.gear), value=speed.text, unit=speed.unit))
        if drop:
            offers.append(
                say("link.sweep_drop", names=", ".join(say.inside(say.short(self.catalogue[n])) for n in drop))
            )
        tail = say("link.sweep_or").join(offers) if offers else say("link.sweep_no")
        text = f"{say('link.sweep_short', **about)} {tail[:1].upper()}{tail[1:]}."
        return SweepNeed(capture.id, capture.title, rise, need_hz, signals, True, False, higher, drop, text)

    def _ratio(self, gear: int | None) -> float:
        return self.ratios.get(gear or 0) or USUAL_RATIOS.get(gear or USUAL_GEAR, USUAL_RATIOS[6])

    def _slowest(self, capture: CaptureAsked) -> float:
        """The rise of the slowest sweep that the recipe allows, in rpm a second."""
        sweep = capture.sweep
        assert sweep is not None
        return abs(sweep.to - sweep.start) / sweep.within_us * 1e6 if sweep.within_us else 0.0

    def _recorded(self, capture: CaptureAsked) -> set[str]:
        """The measured signals of which the calibrator wants to see the course; others only serve a condition."""
        inputs = {d.name: d.inputs for d in self.plan.derivations}
        names = ("engine_speed", *self.recipe.recorded(capture))
        return {measured for name in names for measured in inputs.get(name, (name,))}

    def _fast(self, name: str) -> bool:
        return name in self.keys and self.catalogue[name].stale_us < SLOW_STALE_US

    def _given(self, capture: CaptureAsked, mine: Mapping[str, float]) -> dict[str, float]:
        """What `mine` get while their capture runs: what it does not ask for comes more rarely."""
        rest = {c.id for c in self.plan.captures} - {capture.id}
        others = {n: hz / SLOWED for n, hz in asked_hz(self.plan, self.catalogue, rest).items() if n not in mine}
        recorded = self._recorded(capture)
        asked = asked_hz(self.plan, self.catalogue, {capture.id})
        beside = {n: hz for n, hz in asked.items() if not (n in recorded and self._fast(n))}
        rates = achieved_hz({**others, **beside, **mine}, self.model, self.keys)
        return {n: rates[n] for n in mine}

    def _would_do(self, capture: CaptureAsked, mine: Mapping[str, float], need_hz: float) -> bool:
        return all(rate >= SLACK * need_hz for rate in self._given(capture, mine).values())

    def _higher(self, capture: CaptureAsked, gear: int | None, mine: Mapping[str, float]) -> HigherGear | None:
        sweep = capture.sweep
        assert sweep is not None
        said = [b.high for b in capture.keep if b.signal == "road_speed" and b.high is not None]
        most_kmh = min([*said, MOST_KMH.get(capture.place, CLOSED_MOST_KMH)])
        for other in sorted(self.ratios):
            kmh = max(sweep.start, sweep.to) / self.ratios[other]
            rise = rise_rpm_s(self.ratios[other])
            need_hz = rise / RPM_A_SAMPLE
            if gear is None or other <= gear or kmh > most_kmh or rise < self._slowest(capture):
                continue
            if self._would_do(capture, dict.fromkeys(mine, need_hz), need_hz):
                return HigherGear(other, kmh, need_hz)
        return None

    def _fewer(self, capture: CaptureAsked, mine: Mapping[str, float], need_hz: float) -> tuple[str, ...]:
        """What to leave out: first what may be missing, then from the end of the list; nothing that is judged."""
        recorded = self.recipe.recorded(capture)
        inputs = {d.name: d.inputs for d in self.plan.derivations}
        judged = {m for name in capture.signals() for m in inputs.get(name, (name,))}
        loose = [n for n in reversed(list(mine)) if n not in judged]
        loose.sort(key=lambda n: recorded[n].need if n in recorded else True)
        for count in range(1, len(loose) + 1):
            left = {n: need_hz for n in mine if n not in loose[:count]}
            if self._would_do(capture, left, need_hz):
                return tuple(loose[:count])
        return ()
