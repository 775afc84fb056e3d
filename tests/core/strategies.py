"""Hypothesis strategies: small and nasty plans, and drives whose values and stamps fall on the bounds of those plans.

Grids are small, so that equalities happen and examples shrink well. Signals `a`, `b`, `c` are measured; `d` is a minus
b; `g` is `c` with a gap wherever it shows an odd number; `r` is recorded only.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from hypothesis import strategies as st

from coach.core.derive import Cut, Derived, Feed, Held
from coach.core.pointwise import Pointwise
from coach.core.spec import Asked, Axis, Band, Capture, Collect, Facts, JudgePlan, Limit, Sweep
from coach.recording import US, Mark, Recording, from_pairs

MS = 1000
ALL = ("a", "b", "c", "d", "g")
MEASURED = ("a", "b", "c")
INPUTS = {"a": ("a",), "b": ("b",), "c": ("c",), "d": ("a", "b"), "g": ("c",)}
FACTS = {
    "a": Facts(low=0.0, high=12.0, ceiling=10.0),
    "b": Facts(low=-2.0, high=12.0, floor=0.0),
    "c": Facts(low=0.0, high=12.0),
}


@dataclass(frozen=True)
class Picky:
    """A derived signal with cuts: an odd number says that it is unknown from 0.4 s on, if nothing better comes."""

    name: str
    source: str
    patience_us: int = 400 * MS

    @property
    def inputs(self) -> tuple[str, ...]:
        return (self.source,)

    def stepper(self) -> PickyStepper:
        return PickyStepper(self.patience_us)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        stepper = self.stepper()
        stamps: list[int] = []
        said: list[Derived] = []
        cuts: list[Cut | None] = []
        for t, value, flag in zip(feeds[0].t_us.tolist(), feeds[0].value.tolist(), feeds[0].flag.tolist(), strict=True):
            what = stepper.step(t, [Held(t, value, flag)], [True])
            if isinstance(what, Derived):
                stamps.append(t)
                said.append(what)
                cuts.append(None)
            elif what is not None and cuts and cuts[-1] is None:
                cuts[-1] = what
        never = np.iinfo(np.int64).max
        t_us = np.array(stamps, dtype=np.int64)
        return Feed(
            t_us,
            np.array([s.value for s in said], dtype=np.float64),
            np.array([s.flag for s in said], dtype=np.uint8),
            self.inputs,
            (t_us,),
            np.array([never if c is None else c.until_us for c in cuts], dtype=np.int64),
            np.array([never if c is None else c.since_us for c in cuts], dtype=np.int64),
        )


@dataclass
class PickyStepper:
    patience_us: int
    odd: bool = field(default=False)

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived | Cut | None:
        value = held[0].value
        if value % 2 == 1:
            was, self.odd = self.odd, True
            return None if was else Cut(t_us + self.patience_us, t_us)
        self.odd = False
        return Derived(value, held[0].flag)


DERIVATIONS = (Pointwise("d", ("a", "b"), (1.0, -1.0)), Picky("g", "c"))

# ---- plans ----------------------------------------------------------------------------------------------------------

STALE = st.sampled_from([1000, 500, 300, 2000]).map(lambda ms: ms * MS)


@st.composite
def bands(draw: st.DrawFn, signal: str) -> Band:
    lows, highs = ([None, 1.0, 0.0], [3.0, 2.0]) if signal == "b" else ([None, 2.0, 4.0], [8.0, 6.0])
    low = draw(st.sampled_from(lows))
    high = draw(st.sampled_from(highs if low is None else [*highs, None]))
    return Band(signal, low, high, draw(st.sampled_from([None, None, None, 1.0, 2.0])))


@st.composite
def limits(draw: st.DrawFn, signal: str) -> Limit:
    high = draw(st.booleans())
    unseen = draw(st.sampled_from([500, 1000, 2000])) * MS
    return Limit(
        signal,
        high=draw(st.sampled_from([2.0, 3.0] if signal == "b" else [8.0, 6.0, 7.0])) if high else None,
        low=None if high else draw(st.sampled_from([0.5, 1.0] if signal == "b" else [2.0, 3.0])),
        scope=draw(st.sampled_from(["attempt", "drive"])),
        after_us=draw(st.sampled_from([0, 0, 200 * MS, 500 * MS])),
        for_us=draw(st.sampled_from([0, 0, 200 * MS, 500 * MS])),
        unseen_us={name: unseen if i == 0 else 2 * unseen for i, name in enumerate(INPUTS[signal])},
    )


@st.composite
def sweeps(draw: st.DrawFn, signal: str) -> Sweep:
    ends = draw(st.sampled_from([(2.0, 7.0), (7.0, 2.0), (3.0, 5.0)]))
    return Sweep(
        signal,
        *ends,
        dip=draw(st.sampled_from([1.0, 0.5, 0.0, 3.0])),
        within_us=draw(st.sampled_from([None, 1000 * MS, 2000 * MS])),
        late=draw(st.sampled_from([None, None, 0.0, 1.0])),
        then_us=draw(st.sampled_from([None, None, 300 * MS, 500 * MS])),
        fastest=draw(st.sampled_from([None, 10.0, 5.0])),
    )


@st.composite
def collects(draw: st.DrawFn) -> Collect:
    """Pieces in all, or by the cells of one or two signals."""
    signals = draw(st.lists(st.sampled_from(["a", "b", "c", "d"]), unique=True, max_size=2))
    axes = tuple(Axis(s, draw(st.sampled_from([(0.0, 4.0, 8.0), (2.0, 5.0), (1.0, 3.0, 6.0, 9.0)]))) for s in signals)
    every = list(itertools.product(*(range(a.cells) for a in axes))) if axes else []
    wanted = draw(st.lists(st.sampled_from(every), unique=True, max_size=2)) if every else []
    return Collect(
        draw(st.sampled_from([300, 1000, 2000])) * MS, axes, draw(st.sampled_from([0, 200, 500])) * MS, tuple(wanted)
    )


@st.composite
def captures(draw: st.DrawFn, name: str, needs: Sequence[str]) -> Capture:
    sweep = draw(sweeps(draw(st.sampled_from(["c", "a", "d"])))) if draw(st.booleans()) else None
    free = [s for s in ALL if sweep is None or s != sweep.signal or draw(st.integers(0, 4)) == 4]
    few = st.lists(st.sampled_from(free), unique=True, min_size=0 if sweep else 1, max_size=2)
    keep = [draw(bands(s)) for s in draw(few)]
    start = [draw(bands(s)) for s in draw(st.lists(st.sampled_from(ALL), unique=True, max_size=1))]
    watched = draw(st.lists(st.sampled_from(ALL), unique=True, max_size=2))
    limit = [draw(limits(s)) for s in watched]
    record = [
        Asked(
            s,
            draw(st.sampled_from([5.0, 10.0, 2.0])),
            draw(st.sampled_from([1000, 500, 300])) * MS,
            draw(st.sampled_from([0.8, 0.5])),
            draw(st.sampled_from([True, True, False])),
        )
        for s in draw(st.lists(st.sampled_from(["r", "a", "b", "d"]), unique=True, max_size=2))
    ]
    grace = draw(st.sampled_from([0, 200 * MS, 500 * MS]))
    collected = None if sweep or draw(st.integers(0, 2)) else draw(collects())
    return Capture(
        id=name,
        hold_us=None
        if sweep
        else draw(st.sampled_from([300 * MS] if collected else [1000 * MS, 2000 * MS, 5000 * MS])),
        sweep=sweep,
        collect=collected,
        start=tuple(start),
        keep=tuple(keep),
        limits=tuple(limit),
        record=tuple(record),
        stale_us={s: draw(STALE) for s in MEASURED},
        grace_us=grace,
        max_excursions=draw(st.sampled_from([None, 0, 1, 2])) if grace else None,
        warn_ahead_us=draw(st.sampled_from([700, 300])) * MS,
        times=1 if collected else draw(st.sampled_from([1, 2])),
        rest_us=draw(st.sampled_from([0, 0, 1000 * MS])),
        needs=tuple(draw(st.lists(st.sampled_from(needs), unique=True, max_size=1))) if needs else (),
        confirm=draw(st.sampled_from([(), (), (), ("fan off",)])),
        wait_after_limit=draw(st.sampled_from([False, False, True])),
        arming=draw(st.sampled_from([False, False, True])),
    )


@st.composite
def plans(draw: st.DrawFn, *, most: int = 3) -> JudgePlan:
    names = ["one", "two", "three"][: draw(st.integers(1, most))]
    made: list[Capture] = []
    for i in draw(st.permutations(range(len(names)))):
        made.append(draw(captures(names[i], [c.id for c in made])))
    made.sort(key=lambda c: names.index(c.id))
    longest = {
        s: max([c.stale_us[s] for c in made] + [u.unseen_us[s] for c in made for u in c.limits if s in u.unseen_us])
        for s in MEASURED
    }
    fresh = draw(st.sampled_from([None, None, 500 * MS]))
    return JudgePlan(tuple(made), FACTS, DERIVATIONS, {s: us if fresh is None else fresh for s, us in longest.items()})


# ---- drives ---------------------------------------------------------------------------------------------------------

STEPS = st.sampled_from([*[100 * MS] * 6, *[200 * MS] * 3, 50 * MS, 300 * MS, 500 * MS, 100 * MS + 1, 100 * MS - 1])
PAUSES = st.sampled_from([
    *[100 * MS] * 10, 1, 200 * MS - 1, 200 * MS + 1, 300 * MS, 300 * MS + 1, 500 * MS, 500 * MS + 1, 500 * MS - 1,
    1000 * MS, 1000 * MS + 1, 2000 * MS, 2000 * MS + 1, 3000 * MS, 3000 * MS + 1, 5000 * MS,
])  # fmt: skip
VALUES = {
    "a": st.sampled_from([5.0, 4.0, 6.0, 2.0, 8.0, 7.0, 3.0, 7.5, 2.5, 10.0, 1.0, 9.0, 13.0, math.nan]),
    "b": st.sampled_from([2.0, 4.0, 3.0, 6.0, 8.0, 0.0, -1.0, -3.0, 9.0, math.nan]),
    "c": st.sampled_from([4.0, 6.0, 5.0, 2.0, 8.0, 7.0, 3.0, 2.5, 1.0, 9.0, 13.0, math.nan]),
    "r": st.sampled_from([2.0, math.nan]),
}
CALM = {"a": 6.0, "b": 1.0, "c": 4.0, "r": 1.0}
KINDS = st.sampled_from([*["calm"] * 12, *["value"] * 4, *["ramp"] * 3, "absent"])
RAMPS = st.sampled_from([0.5, 1.0, -0.5, -1.0, 0.25, 2.0])


@st.composite
def segments(draw: st.DrawFn) -> list[tuple[int, dict[str, float]]]:
    """A few instants alike: each signal stands still, climbs or is absent. The first comes after a pause."""
    count = draw(st.sampled_from([1, 1, 2, 3, 5, 8, 12, 20]))
    step = draw(STEPS)
    base: dict[str, tuple[float, float]] = {}
    for name in ("a", "b", "c", "r"):
        kind = draw(KINDS)
        if kind == "calm":
            base[name] = CALM[name], 0.0
        elif kind == "value":
            base[name] = draw(VALUES[name]), 0.0
        elif kind == "ramp":
            base[name] = draw(st.sampled_from([1.0, 7.5, 2.0, 4.0])), draw(RAMPS)
    pause = draw(PAUSES)
    every = {n: draw(st.sampled_from([1, 1, 1, 1, 2, 3])) for n in base}
    shift = draw(st.integers(0, 1))
    made = [
        (step if i else pause, {n: v + i * rise for n, (v, rise) in base.items() if (i + shift) % every[n] == 0})
        for i in range(count)
    ]
    if draw(st.sampled_from([False, False, True])):
        name = draw(st.sampled_from(["a", "b", "c"]))
        made[draw(st.integers(0, count - 1))][1][name] = draw(VALUES[name])
    return made


@st.composite
def marks(draw: st.DrawFn, stamps: Sequence[int], end: int, plan: JudgePlan) -> tuple[Mark, ...]:
    """What people say, often in time for something to begin, sometimes later than what the source promises."""
    ids = [c.id for c in plan.captures]
    made = []
    if draw(st.sampled_from([True, True, False])):
        made += [Mark(0, "arm", c) for c in ids]
    if draw(st.sampled_from([True, True, False])):
        made += [Mark(0, "confirm", c, "fan off") for c in ids]
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 2, 4]))):
        kind = draw(st.sampled_from(["disarm", "arm", "pause", "resume", "skip", "unskip", "confirm", "role"]))
        t = draw(st.sampled_from([*stamps, end])) + draw(st.sampled_from([0, 1, -1, 50 * MS]))
        if t >= 0:
            capture = None if kind in ("pause", "resume", "role") else draw(st.sampled_from(ids))
            made.append(Mark(t, kind, capture, "fan off" if kind == "confirm" else ""))
    return tuple(sorted(made, key=lambda m: m.t_us))


@st.composite
def drives(draw: st.DrawFn, plan: JudgePlan) -> Recording:
    samples: list[tuple[int, str, float]] = []
    t: int | None = None
    wait = 0
    for segment in draw(st.lists(segments(), min_size=1, max_size=9)):
        for step, values in segment:
            wait += step
            if values:
                t = 0 if t is None else t + wait
                wait = 0
                samples += [(t, name, value) for name, value in values.items()]
    if t is None:
        samples, t = [(0, "a", 5.0)], 0
    stamps = sorted({s[0] for s in samples})
    more = draw(st.sampled_from([None, None, 0, 1, 300 * MS + 1, 1000 * MS, 10 * US]))
    told = draw(marks(stamps, t + (more or 0), plan))
    return from_pairs(samples, marks=told, end_us=None if more is None else t + more)


@st.composite
def cases(draw: st.DrawFn, *, most: int = 3) -> tuple[JudgePlan, Recording]:
    """A plan and a drive of it."""
    plan = draw(plans(most=most))
    return plan, draw(drives(plan))
