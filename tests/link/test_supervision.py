"""Every fault in the middle of a hold and of a sweep: verdict right, reason named, data flow again, nothing hangs."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from coach.clock import US
from coach.core.afterwards import judge_recording
from coach.core.events import Attempt, Code, Ended, Outcome
from coach.core.judge import Judge
from coach.core.spec import JudgePlan
from coach.plan import resolve
from coach.plan.rates import asked_hz
from coach.recipe import parse_recipe
from coach.recording import Recording, Series
from coach.sources.adapter import KINDS, RecordingCar
from coach.sources.base import Advance, Instant, Lost, SourceEvent
from coach.sources.link.discover import discover
from coach.sources.link.source import LinkSource
from tests.link.wired import CATALOGUE, URL, Rig, table_car

HOLD = """
format = 1
title = "Hold"
revision = 1
[record]
engine_speed = "8 Hz"
road_speed = "4 Hz"
coolant_temp = "0.5 Hz"
[[capture]]
id = "it"
title = "Steady"
hold = "12 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
"""
SWEEP = """
format = 1
title = "Sweep"
revision = 1
[record]
engine_speed = "8 Hz"
pedal = "8 Hz"
manifold_pressure = "8 Hz"
[[capture]]
id = "it"
title = "Pull"
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", dip = "120 rpm", within = "15 s" }
[capture.keep]
pedal = { min = "20 %" }
[capture.limit]
manifold_pressure = { max = "150 kPa" }
"""
HARMLESS = {"split", "pending"}
"""Late, but whole: nothing is lost; as long as it lasts the rate suffers."""
CROWD = {"stopped", "bus-busy", "wrong-parameter", "foreign", "other-tester"}
"""What somebody else at the car makes of our answers."""
DATA = {Code.STALE, Code.UNKNOWN, Code.LIMIT_UNSEEN, Code.GAP, Code.RATE}
"""Reasons that lie in the data and not in how the car was driven."""


@dataclass
class Judged:
    """The loop in small: judges what a source emits, keeps it, and acts when the time has come."""

    rig: Rig
    plan: JudgePlan
    until_s: float
    at: dict[float, Callable[[], object]]
    stop: threading.Event = field(default_factory=threading.Event)
    events: list[SourceEvent] = field(default_factory=list)
    ended: list[Attempt] = field(default_factory=list)
    start_us: int = -1
    times: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.judge = Judge(self.plan)

    def emit(self, event: SourceEvent) -> None:
        now_us = self.rig.clock.now_us
        self.start_us = now_us if self.start_us < 0 else self.start_us
        self.events.append(event)
        self.times.append(now_us)
        said = []
        if isinstance(event, Instant):
            said = self.judge.feed(event.t_us, event.values)
        elif isinstance(event, Advance):
            said = self.judge.advance(event.t_us)
        self.ended += [e.attempt for e in said if isinstance(e, Ended)]
        for time_s in [t for t in self.at if now_us - self.start_us >= t * US]:
            self.at.pop(time_s)()
        if now_us - self.start_us >= self.until_s * US:
            self.stop.set()

    def attempts(self) -> list[Attempt]:
        return [*self.ended, *(e.attempt for e in self.judge.end() if isinstance(e, Ended))]

    def recording(self) -> Recording:
        series: dict[str, tuple[list[int], list[float]]] = {}
        for e in self.events:
            if isinstance(e, Instant):
                for name, value in e.values.items():
                    t, v = series.setdefault(name, ([], []))
                    t.append(e.t_us)
                    v.append(value)
        return Recording(
            {n: Series(np.array(t, dtype=np.int64), np.array(v, dtype=float)) for n, (t, v) in series.items()},
            end_us=max((e.t_us for e in self.events if isinstance(e, Instant | Advance)), default=0),
        )


def drive(rig: Rig, text: str, until_s: float, at: dict[float, Callable[[], object]]) -> tuple[LinkSource, Judged]:
    recipe = parse_recipe(text, name="r.toml", catalogue=CATALOGUE)
    found = discover(rig.session(), CATALOGUE)
    if isinstance(rig.car, RecordingCar):
        rig.car.restart()
    plan = resolve(recipe, CATALOGUE, measured=frozenset(found.signals), people_recorded=False)
    source = LinkSource(URL, found, asked_hz(plan, CATALOGUE), CATALOGUE, rig.open)
    judged = Judged(rig, plan, until_s, dict(at))
    source.run(judged.emit, judged.stop, rig.clock)
    return source, judged


def right(judged: Judged, source: LinkSource, until_us: int, within_s: float = 3.0) -> list[Attempt]:
    """The live verdict is that of the arrays; no secured window spans a gap; samples came within three seconds.

    After signs of somebody else it is kept quiet on purpose, and takes longer.
    """
    attempts = judged.attempts()
    recording = judged.recording()
    assert judge_recording(judged.plan, recording).attempts["it"] == tuple(attempts)
    stamps = recording.series["engine_speed"].t_us
    for attempt in attempts:
        if attempt.outcome is Outcome.SECURED:
            inside = stamps[(stamps >= attempt.start_us) & (stamps <= attempt.end_us)]
            assert np.diff(inside).max() <= 0.625 * US + 50_000
    heard = (t for t, e in zip(judged.times, judged.events, strict=True) if isinstance(e, Instant))
    after = next(t for t in heard if t >= until_us)
    assert after - until_us < within_s * US
    return attempts


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_that_lasts_in_the_middle_of_a_hold_ends_it_and_the_next_one_is_secured(kind: str) -> None:
    """Four seconds of it: silence is never still holding; the attempt after it counts."""
    rig = Rig(table_car())
    source, judged = drive(rig, HOLD, 40.0, {6.0: lambda: rig.faults.now(kind, None), 10.0: rig.faults.clear})
    attempts = right(judged, source, judged.start_us + 10 * US, 8.0 if kind in CROWD else 3.0)
    if kind == "split":
        assert [a.outcome for a in attempts] == [Outcome.SECURED]
        return
    assert attempts[-1].outcome is Outcome.SECURED
    assert attempts[-1].start_us >= 5 * US
    if kind != "dropped":
        assert len(attempts) >= 2
        assert attempts[0].outcome in {Outcome.MISSED, Outcome.SPARSE}
        # What only comes too rarely is judged when the hold is full.
        assert attempts[0].end_us < (7 if kind != "pending" else 13) * US
        assert attempts[0].reason is not None
        assert attempts[0].reason.code in DATA
    if kind not in HARMLESS | {"dropped"}:
        assert next(e for e in judged.events if isinstance(e, Lost)).reason.endswith((".", "?"))


@pytest.mark.parametrize("kind", KINDS)
def test_one_fault_in_the_middle_of_a_hold_never_makes_a_wrong_verdict(kind: str) -> None:
    """Secured in spite of it, or not counted with the reason in the data and the next one secured."""
    rig = Rig(table_car())
    source, judged = drive(rig, HOLD, 30.0, {6.0: lambda: rig.faults.now(kind, 1)})
    attempts = right(judged, source, judged.start_us + 6 * US)
    assert attempts[-1].outcome is Outcome.SECURED
    assert all(a.outcome in {Outcome.SECURED, Outcome.MISSED, Outcome.SPARSE} for a in attempts)


def pulls() -> Recording:
    """Two pulls from 1,800 to 4,900 rpm in seven seconds each, at half pedal, with five seconds in between."""
    t = np.arange(0, 32 * 20) / 20
    at = np.interp(t, [0, 4, 11, 13, 18, 25, 27, 32], [1800, 1800, 4900, 1800, 1800, 4900, 1800, 1800])
    us = (t * US).astype(np.int64)
    return Recording({
        "engine_speed": Series(us, at),
        "pedal": Series(us, np.full(len(t), 50.0)),
        "manifold_pressure": Series(us, np.interp(at, [1800, 4900], [60, 120])),
    })  # fmt: skip


def pulling() -> Rig:
    rig = Rig(table_car())
    return Rig(RecordingCar(pulls(), CATALOGUE, rig.clock), clock=rig.clock)


def test_both_pulls_are_secured_without_a_fault() -> None:
    source, judged = drive(pulling(), SWEEP, 31.0, {})
    assert [a.outcome for a in right(judged, source, judged.start_us)] == [Outcome.SECURED] * 2


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("count", [1, None])
def test_a_fault_in_the_middle_of_a_pull_costs_at_most_that_pull(kind: str, count: int | None) -> None:
    """One, or two and a half seconds of it: the first pull is judged by what came, the second is secured."""
    rig = pulling()
    at = {7.0: lambda: rig.faults.now(kind, count), 9.5: rig.faults.clear}
    source, judged = drive(rig, SWEEP, 31.0, at)
    attempts = right(judged, source, judged.start_us + round(9.5 * US), 8.0 if kind in CROWD else 3.0)
    secured = [a for a in attempts if a.outcome is Outcome.SECURED]
    assert secured
    assert secured[-1].start_us > 17 * US
    assert all(a.outcome is not Outcome.STOPPED for a in attempts)
    if count is None and kind not in HARMLESS | {"dropped"}:
        assert len(secured) == 1
        first = [a for a in attempts if a.start_us < 12 * US]
        assert first
        assert all(a.reason is not None and a.reason.code in DATA for a in first)
    if kind in HARMLESS and count == 1:
        assert len(secured) == 2
    if count == 1 and kind not in HARMLESS:
        assert rig.faults.struck[kind] == 1
