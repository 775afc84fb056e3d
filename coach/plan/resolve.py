"""From a recipe to what is judged: every time, rate and staleness settled, derivations chosen, facts of each signal."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

from coach.core.derive import Derivation
from coach.core.pointwise import core_derivations
from coach.core.spec import Asked, Capture, Collect, Facts, JudgePlan, Limit, Sweep
from coach.recipe import PIECE_US, CaptureAsked, LimitAsked, Recipe, RecipeErrors, check_recipe
from coach.signals import Catalogue, Signal

US = 1_000_000
LEAST_UNSEEN_US = 500_000
"""In sweeps and for limits nothing is called stale before this."""
DIP_SHARE = 0.05
"""Share of a sweep's span that it may go back where the recipe does not say."""
FASTEST_RPM_S = 3_000.0
"""An engine speed that moves faster is a spike."""
DRIVE_SCOPE = frozenset(("coolant_temp", "oil_temp"))
"""Signals whose limits are watched through the whole drive where the recipe does not say."""
UNJUDGEABLE = frozenset((
    "kind", "piece_over_collect", "no_cell", "duplicate_id", "no_span", "no_time", "no_condition", "band_upside_down",
    "start_against_keep", "unknown_id", "needs_in_a_circle",
))  # fmt: skip
"""Findings of the check with which nothing can be judged."""


class CarDerivations(Protocol):
    """A vehicle, as far as the plan needs it."""

    def derivations(self) -> tuple[Derivation, ...]:
        """How derived signals come from measured ones in this car."""
        ...

    def stand_ins(self) -> tuple[Derivation, ...]:
        """Ways declared for want of a better one: taken only where no other way has its inputs."""
        ...


def resolve(
    recipe: Recipe,
    catalogue: Catalogue,
    vehicle: CarDerivations | None = None,
    *,
    measured: Collection[str] | None = None,
    people_recorded: bool = True,
) -> JudgePlan:
    """What the judge is told.

    Args:
        recipe: in the catalogue's units.
        catalogue: the signals; all that the recipe names must be in it.
        vehicle: hands over derivations of its own (gear, pedal travel); they go before the general ones.
        measured: the signals that the source carries, or None when that is not known yet. A derived signal that the
            source measures itself is not derived; of two ways to derive one, the first stands whose inputs are there.
        people_recorded: whether the drive has a record of what people said. Without one (a table), closed-course and
            parked captures count as armed and what is to be confirmed as confirmed.

    Returns:
        The plan. A derived signal that nothing can derive stays in it and never comes; see `check_plan`.

    Raises:
        RecipeErrors: the recipe contradicts itself so that nothing can be judged.
    """
    broken = [f for f in check_recipe(recipe, catalogue) if f.level == "error" and f.code in UNJUDGEABLE]
    if broken:
        raise RecipeErrors(recipe.name, broken)
    chosen: dict[str, Derivation] = {}
    for capture in recipe.captures:
        for name in (*capture.signals(), *recipe.recorded(capture)):
            if name not in chosen:
                way = choose(name, recipe.recorded(capture), vehicle, measured)
                if way is not None:
                    chosen[name] = way
    # Derivations rest on measured signals: what another one takes as measured is not derived itself.
    for name in {item for way in chosen.values() for item in way.inputs}:
        chosen.pop(name, None)
    timing = [_Timing(recipe, capture, catalogue, chosen) for capture in recipe.captures]
    captures = tuple(_capture(t, people_recorded) for t in timing)
    used = dict.fromkeys(name for t in timing for name in (*t.capture.signals(), *t.recorded))
    rests_on = dict.fromkeys(i for name in used for i in (chosen[name].inputs if name in chosen else (name,)))
    inputs = dict.fromkeys(i for way in chosen.values() for i in way.inputs)
    return JudgePlan(
        captures=captures,
        facts={name: facts_of(catalogue[name]) for name in rests_on},
        derivations=tuple(chosen.values()),
        fresh_us={name: _fresh_us(catalogue[name], captures, timing) for name in inputs},
    )


def facts_of(signal: Signal) -> Facts:
    """What the judge must know of a signal."""
    return Facts(signal.low, signal.high, signal.ceiling, signal.floor)


def choose(
    name: str, recorded: Collection[str], vehicle: CarDerivations | None, measured: Collection[str] | None
) -> Derivation | None:
    """How `name` is derived: None if it is measured or nothing derives it.

    Of several ways that stands first whose inputs the source carries, or, where that is not known, the recipe records.
    What stands in for want of a better one comes last.
    """
    if measured is not None and name in measured:
        return None
    own = vehicle.derivations() if vehicle is not None else ()
    last = vehicle.stand_ins() if vehicle is not None else ()
    ways = [way for way in (*own, *core_derivations(), *last) if way.name == name]
    there = recorded if measured is None else measured
    for way in ways:
        if all(item in there for item in way.inputs):
            return way
    return ways[0] if ways else None


@dataclass(frozen=True)
class _Timing:
    """How long values hold in one capture."""

    recipe: Recipe
    capture: CaptureAsked
    catalogue: Catalogue
    chosen: Mapping[str, Derivation]

    @property
    def recorded(self) -> tuple[str, ...]:
        return tuple(self.recipe.recorded(self.capture))

    def inputs(self, name: str) -> tuple[str, ...]:
        """The measured signals that `name` rests on."""
        return self.chosen[name].inputs if name in self.chosen else (name,)

    def period_us(self, measured: str) -> int | None:
        """Asked time between two samples; of the recipe's list where the capture's own does not say."""
        for record in (self.recipe.recorded(self.capture), self.recipe.record):
            if measured in record:
                return round(US / record[measured].rate_hz)
        return None

    def stale_us(self, name: str, measured: str) -> int:
        """How long a value of `measured` holds for a condition on `name`."""
        own = self.capture.stale_after_us
        for key in (measured, name, ""):
            if key in own:
                return own[key]
        if self.capture.sweep is not None:
            return self.unseen_us(measured)
        period = self.period_us(measured)
        usual = self.catalogue[measured].stale_us
        return usual if period is None else max(usual, 3 * period)

    def unseen_us(self, measured: str) -> int:
        """How long it may be unseen in a sweep and for a limit; where no rate is asked, as long as in a hold."""
        period = self.period_us(measured)
        return self.catalogue[measured].stale_us if period is None else max(LEAST_UNSEEN_US, 5 * period)


def _fresh_us(signal: Signal, captures: Collection[Capture], timing: Collection[_Timing]) -> int:
    """How old an input may be at all: the longest that any capture lets it hold."""
    longest = [signal.stale_us]
    longest += [t.unseen_us(signal.name) for t in timing]
    for capture in captures:
        longest += [us for name, us in capture.stale_us.items() if name == signal.name]
    return max(longest)


def _capture(timing: _Timing, people_recorded: bool) -> Capture:
    asked = timing.capture
    sweep = None
    if asked.sweep is not None:
        s = asked.sweep
        sweep = Sweep(
            s.signal,
            s.start,
            s.to,
            dip=DIP_SHARE * abs(s.to - s.start) if s.dip is None else s.dip,
            within_us=s.within_us,
            late=s.late,
            then_us=asked.then_us,
            fastest=FASTEST_RPM_S if timing.catalogue[s.signal].quantity == "engine_speed" else None,
        )
    collect = _collect(asked)
    conditions = [band.signal for band in (*asked.start, *asked.keep)]
    if sweep is not None:
        conditions.append(sweep.signal)
    if asked.cells is not None:
        conditions += [axis.signal for axis in asked.cells.axes]
    stale_us: dict[str, int] = {}
    for name in conditions:
        for measured in timing.inputs(name):
            # Two conditions may rest on one signal and only one of them have a time of its own: the longer counts.
            stale_us[measured] = max(stale_us.get(measured, 0), timing.stale_us(name, measured))
    return Capture(
        id=asked.id,
        hold_us=asked.hold_us if collect is None else asked.piece_us or PIECE_US,
        sweep=sweep,
        collect=collect,
        start=asked.start,
        keep=asked.keep,
        limits=tuple(_limit(limit, timing) for limit in asked.limits),
        record=tuple(
            Asked(r.signal, r.rate_hz, round(5 * US / r.rate_hz) if r.gap_us is None else r.gap_us, r.least, r.need)
            for r in timing.recipe.recorded(asked).values()
        ),
        stale_us=stale_us,
        grace_us=asked.grace_us,
        max_excursions=asked.max_excursions,
        warn_ahead_us=asked.warn_ahead_us,
        times=asked.times,
        rest_us=asked.rest_us,
        needs=asked.needs,
        confirm=asked.confirm if people_recorded else (),
        wait_after_limit=asked.after_limit == "wait",
        arming=people_recorded and asked.place != "road",
    )


def _collect(asked: CaptureAsked) -> Collect | None:
    if asked.collect_us is None:
        return None
    if asked.cells is None:
        return Collect(asked.collect_us)
    return Collect(asked.collect_us, asked.cells.axes, asked.cells.dwell_us, asked.cells.wanted)


def _limit(limit: LimitAsked, timing: _Timing) -> Limit:
    scope = limit.scope or ("drive" if limit.signal in DRIVE_SCOPE else "attempt")
    unseen = {measured: timing.unseen_us(measured) for measured in timing.inputs(limit.signal)}
    return Limit(limit.signal, limit.high, limit.low, scope, limit.after_us, limit.for_us, unseen)
