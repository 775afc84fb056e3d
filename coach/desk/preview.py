"""What the phone will say for a capture: the real judge and the real adviser, led through four moments.

The samples are made up: they meet every condition and then leave one; nobody's drive is judged by them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from coach.advice.adviser import Adviser
from coach.advice.captures import kind_of
from coach.advice.state import DriveState, LinkState
from coach.core.events import Event
from coach.core.judge import Judge
from coach.core.spec import Axis, Band, Capture, JudgePlan
from coach.plan import resolve
from coach.plan.resolve import CarDerivations
from coach.recipe import Recipe
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words

Moment = Literal["approach", "going", "correct", "secured"]
MOMENTS: tuple[Moment, ...] = ("approach", "going", "correct", "secured")
STEP_US = 200_000
WATCHED_US = 3_000_000
"""How long the page is led before a moment is taken: longer than any line is held back."""
MOST_STEPS = 100
"""A long hold is led through in so many steps: no value goes stale here."""


def previews(
    recipe: Recipe, catalogue: Catalogue, vehicle: CarDerivations | None = None, *, only: str | None = None,
    units: Units = METRIC, words: Words | None = None,
) -> dict[str, dict[Moment, dict[str, Any]]]:  # fmt: skip
    """By capture and moment the live state that the page would draw.

    Args:
        recipe: what is being written; it must be one that can be judged.
        catalogue: the signals.
        vehicle: hands over gears and pedal.
        only: id of the one capture to be shown; all if left out.
        units: what the driver reads.
        words: the language.

    Returns:
        `approach`: not in the band yet; `going`: half of it done; `correct`: outside a band; `secured`. A moment that a
        capture never comes to by these samples is left out.

    Raises:
        RecipeErrors: the recipe contradicts itself.
    """
    plan = resolve(recipe, catalogue, vehicle)
    return {
        capture.id: _Led(recipe, capture, plan, catalogue, units, words or load_words()).states()
        for capture in plan.captures
        if only is None or capture.id == only
    }


class _Led:
    """One capture, led through its moments."""

    def __init__(
        self, recipe: Recipe, capture: Capture, plan: JudgePlan, catalogue: Catalogue, units: Units, words: Words
    ) -> None:
        self.catalogue = catalogue
        open_capture = replace(
            capture, needs=(), confirm=(), arming=False, record=(), rest_us=0, stale_us={},
            limits=tuple(replace(x, unseen_us={}) for x in capture.limits),
        )  # fmt: skip
        # As when those before it are done; those after it stand by, never armed, so that what comes next is told.
        place = next(n for n, c in enumerate(plan.captures) if c.id == capture.id)
        after = (replace(c, arming=True, limits=(), record=()) for c in plan.captures[place + 1 :])
        names = {c.id: c for c in recipe.captures}
        self.done = [_done(c, names[c.id].title, names[c.id].place) for c in plan.captures[:place]]
        # Every signal is fed as if it were measured: a gear needs no speeds here.
        self.plan = replace(plan, captures=(open_capture, *after), derivations=())
        self.capture = open_capture
        self.recipe = recipe
        self.units, self.words = units, words

    def states(self) -> dict[Moment, dict[str, Any]]:
        """The moments that it comes to."""
        found: dict[Moment, dict[str, Any]] = {}
        run = self._run()
        found["approach"] = run.stay(self._values(outside=True), WATCHED_US)
        if self.capture.sweep is not None:
            self._sweep(found)
        else:
            self._hold(found)
        return {moment: {**state, "captures": [*self.done, *state["captures"]]} for moment, state in found.items()}

    def _without_cells(self) -> JudgePlan:
        """One made-up value visits one cell: how it ends is shown as if there were no more."""
        capture = self.capture
        if capture.collect is None or not capture.collect.axes:
            return self.plan
        whole = replace(capture, collect=replace(capture.collect, axes=(), dwell_us=0, wanted=()))
        return replace(self.plan, captures=(whole, *self.plan.captures[1:]))

    def _run(self, plan: JudgePlan | None = None) -> _Run:
        return _Run(self.recipe, plan or self.plan, self.catalogue, self.units, self.words)

    def _hold(self, found: dict[Moment, dict[str, Any]]) -> None:
        capture = self.capture
        assert capture.hold_us is not None
        whole = capture.collect.total_us if capture.collect is not None else capture.hold_us
        run, met = self._run(), self._values()
        found["going"] = run.stay(met, whole // 2)
        found["correct"] = run.stay(self._values(outside=True), min(900_000, capture.grace_us or 900_000), 100_000)
        again = self._run(self._without_cells())
        again.stay(met, whole + whole // MOST_STEPS + 3 * STEP_US)
        if again.secured:
            found["secured"] = again.state

    def _sweep(self, found: dict[Moment, dict[str, Any]]) -> None:
        sweep = self.capture.sweep
        assert sweep is not None
        signal = self.catalogue[sweep.signal]
        within = sweep.within_us or 10_000_000
        time = max(STEP_US, min(within // 2, 10_000_000))
        if sweep.fastest is not None:
            time = max(time, round(sweep.span / sweep.fastest * 2_000_000))
        met = self._values()
        lead = (sweep.start - sweep.to) * 0.1
        begin = min(max(sweep.start + lead, signal.low), signal.high)
        run = self._run()
        run.stay({**met, sweep.signal: begin}, WATCHED_US)
        step = min(STEP_US, time // 8)
        steps = max(8, time // step)
        for i in range(1, steps + 3):
            value = sweep.start + (sweep.to - sweep.start) * min(1.0, i / steps)
            state = run.stay({**met, sweep.signal: value}, step)
            if i == steps // 2:
                found["going"] = state
                outside = self._values(outside=True, but=sweep.signal)
                if outside != {k: v for k, v in met.items() if k != sweep.signal}:
                    other = self._copy(run, met, begin, steps, step)
                    found["correct"] = other.stay({**outside, sweep.signal: value}, 800_000)
            if run.secured:
                found["secured"] = run.stay({**met, sweep.signal: value}, STEP_US)
                return
        if sweep.then_us is not None:
            run.stay({**met, sweep.signal: sweep.to}, sweep.then_us + STEP_US)
            if run.secured:
                found["secured"] = run.stay({**met, sweep.signal: sweep.to}, STEP_US)

    def _copy(self, run: _Run, met: Mapping[str, float], begin: float, steps: int, step: int) -> _Run:
        """Another run that is as far as `run`: half of the sweep done."""
        sweep = self.capture.sweep
        assert sweep is not None
        other = self._run()
        other.stay({**met, sweep.signal: begin}, WATCHED_US)
        for i in range(1, steps // 2 + 1):
            other.stay({**met, sweep.signal: sweep.start + (sweep.to - sweep.start) * i / steps}, step)
        return other

    # ---- samples ---------------------------------------------------------------------------------

    def _values(self, *, outside: bool = False, but: str = "") -> dict[str, float]:
        """Values that meet every condition; with `outside` the first that can be missed is missed by a little."""
        values: dict[str, float] = {}
        for limit in self.capture.limits:
            signal = self.catalogue[limit.signal]
            room = signal.high - signal.low
            values[limit.signal] = limit.bound - 0.3 * room if limit.high is not None else limit.bound + 0.3 * room
            values[limit.signal] = min(max(values[limit.signal], signal.low), signal.high)
        for band in (*self.capture.start, *self.capture.keep):
            values[band.signal] = self._inside(band)
        for axis, i in zip(*self._cell(), strict=True):
            values[axis.signal] = (axis.edges[i] + axis.edges[i + 1]) / 2
        sweep = self.capture.sweep
        if sweep is not None and sweep.signal != but:
            values[sweep.signal] = sweep.start + (sweep.start - sweep.to) * 0.1
        if outside:
            for band in self.capture.keep:
                missed = self._missed(band)
                if missed is not None and band.signal != but and not self.catalogue[band.signal].discrete:
                    values[band.signal] = missed
                    break
        if but:
            values.pop(but, None)
        return values

    def _cell(self) -> tuple[Sequence[Axis], Sequence[int]]:
        """The first cell that is wanted."""
        collect = self.capture.collect
        if collect is None or not collect.wanted:
            return (), ()
        return collect.axes, collect.wanted[0]

    def _inside(self, band: Band) -> float:
        signal = self.catalogue[band.signal]
        step = signal.step or 0.0
        if band.low is not None and band.high is not None:
            middle = (band.low + band.high) / 2
        elif band.low is not None:
            middle = band.low + min(0.05 * (signal.high - band.low), 5 * step or 1.0)
        elif band.high is not None:
            middle = band.high - min(0.05 * (band.high - signal.low), 5 * step or 1.0)
        else:
            middle = (signal.low + signal.high) / 4
        if signal.discrete and band.low is not None:
            return band.low
        top = signal.high if signal.ceiling is None else min(signal.high, signal.ceiling - (step or 1e-6))
        return min(max(middle, signal.low), top)

    def _missed(self, band: Band) -> float | None:
        """A value just out of the band: below where there is a lower end, else above; None where it has none."""
        signal = self.catalogue[band.signal]
        width = (band.high - band.low) if band.low is not None and band.high is not None else None
        off = max(signal.step or 0.0, 0.3 * width if width else 0.02 * (signal.high - signal.low))
        if band.high is not None and band.low is not None and band.high + off <= signal.high:
            return band.high + off
        if band.low is not None and band.low - off >= signal.low:
            return band.low - off
        if band.high is not None and band.high + off <= signal.high:
            return band.high + off
        return None


def _done(capture: Capture, title: str, place: str) -> dict[str, Any]:
    """A capture that was secured before, for the trail at the top."""
    return {
        "id": capture.id, "title": title, "kind": kind_of(capture), "place": place, "outcome": "secured",
        "asked": capture.times, "done": capture.times, "gate": None, "phase": "held", "gate_left": None,
    }  # fmt: skip


class _Run:
    """One made-up drive of one capture."""

    def __init__(self, recipe: Recipe, plan: JudgePlan, catalogue: Catalogue, units: Units, words: Words) -> None:
        self.judge = Judge(plan)
        self.adviser = Adviser(recipe, plan, catalogue, words, units)
        self.t_us = 0
        self.state: dict[str, Any] = {}
        self.secured = False

    def stay(self, values: Mapping[str, float], us: int, step_us: int = STEP_US) -> dict[str, Any]:
        """The same values for a time, until it is secured."""
        step = max(step_us, us // MOST_STEPS) if us > step_us else us
        end = self.t_us + us
        while self.t_us < end:
            self.t_us = min(end, self.t_us + step)
            events: list[Event] = self.judge.feed(self.t_us, values)
            view = self.judge.view()
            self.state = self.adviser.update(view, events, self.t_us, LinkState("up", 0.0), DriveState("preview"))
            self.secured = view.captures[0].secured_count > 0
            if self.secured and us > STEP_US:
                break
        return self.state
