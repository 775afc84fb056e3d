"""The bundled drives under the bundled recipe: each comes to what its scenario says, live and afterwards."""

from __future__ import annotations

import json

import pytest

from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.core.afterwards import judge_instants, judge_recording
from coach.plan import resolve
from coach.recipe import load_recipe
from coach.sources.simulator import SCENARIOS, scenario
from coach.sources.table import read_table
from coach.vehicle import load_vehicle

ROOT = traces_root()
# Written by hand from the scenarios, before any judge had seen them.
EXPECTED = json.loads((ROOT / "expected.json").read_text(encoding="utf-8"))


def judged(recording, judge=judge_recording):
    """What the drive comes to under the bundled recipe and vehicle."""
    recipe = load_recipe(ROOT / "demo-recipe.toml")
    vehicle = load_vehicle(ROOT / "demo-vehicle.toml")
    plan = resolve(
        recipe,
        default_catalogue(),
        vehicle,
        measured=set(recording.series),
        people_recorded=recording.marks is not None,
    )
    return judge(plan, recording)


def summary(verdict):
    """The verdict as `expected.json` has it; small attempts are only counted, so they are left out."""
    return {
        "alarms": [alarm.signal for alarm in verdict.alarms],
        "captures": {
            capture: [
                {
                    "outcome": str(a.outcome),
                    "code": None if a.reason is None else str(a.reason.code),
                    "signal": None if a.reason is None else a.reason.signal,
                }
                for a in attempts
                if not a.small
            ]
            for capture, attempts in verdict.attempts.items()
        },
    }


def test_every_scenario_is_expected():
    """No bundled drive is without an expectation, and none is expected that is not there."""
    assert set(EXPECTED) == {s.name for s in SCENARIOS}


@pytest.mark.parametrize("name", list(EXPECTED))
def test_bundled_drive(name):
    """The written table comes to what its scenario says."""
    verdict = judged(read_table(ROOT / f"{name}.csv", default_catalogue()))
    assert summary(verdict) == EXPECTED[name]


@pytest.mark.parametrize("name", ["limit-passed", "early-lift", "dropout"])
def test_live_and_afterwards_agree(name):
    """Fed instant by instant, the simulated drive has the very same events."""
    recording = scenario(name).recording()
    assert judged(recording, judge_instants).events == judged(recording).events
