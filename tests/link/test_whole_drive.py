"""A whole simulated drive through the adapter's dialect, on a hand clock: the same verdict as without an adapter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coach.clock import US, HandClock
from coach.core.afterwards import judge_recording
from coach.core.events import Outcome
from coach.plan import resolve
from coach.plan.rates import asked_hz
from coach.recipe import load_recipe
from coach.sources.adapter import SimulatedCar
from coach.sources.link.discover import discover
from coach.sources.link.source import LinkSource
from coach.sources.simulator.scenarios import scenario
from coach.vehicle import load_vehicle
from tests.link.test_supervision import Judged
from tests.link.wired import CATALOGUE, URL, Rig

TRACES = Path(__file__).parents[2] / "replay_traces"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "qualified"), [("everything-qualifies", {"part-load": 1, "roll-on": 2, "settled-idle": 1}),
                            ("wrong-gear", {}), ("limit-passed", {})],
)  # fmt: skip
def test_a_simulated_drive_comes_to_the_same_verdict_through_the_adapter(name: str, qualified: dict[str, int]) -> None:
    clock = HandClock()
    car = SimulatedCar(scenario(name), CATALOGUE, clock)
    rig = Rig(car, clock=clock)
    found = discover(rig.session(), CATALOGUE)
    car.restart()
    recipe, vehicle = load_recipe(TRACES / "demo-recipe.toml", CATALOGUE), load_vehicle(TRACES / "demo-vehicle.toml")
    plan = resolve(recipe, CATALOGUE, vehicle, measured=frozenset(found.signals), people_recorded=False)
    source = LinkSource(URL, found, asked_hz(plan, CATALOGUE), CATALOGUE, rig.open)
    whole_s = scenario(name).recording().duration_us / US
    judged = Judged(rig, plan, whole_s, {})
    source.run(judged.emit, judged.stop, clock)
    judged.judge.end()
    direct = judge_recording(plan, judged.recording()).attempts
    through = {c: sum(a.outcome is Outcome.SECURED for a in some) for c, some in direct.items()}
    assert {c: n for c, n in through.items() if n} == qualified
    assert not source.troubles
    bare = judge_recording(plan, replace(scenario(name).recording(), marks=None)).attempts
    assert {c: [a.outcome for a in some if not a.small] for c, some in direct.items()} == {
        c: [a.outcome for a in some if not a.small] for c, some in bare.items()
    }
