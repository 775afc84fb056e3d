"""A car that needs no car: a seeded model of a turbocharged hatchback, driven by a script, polled like a real one.

It is a shipped source, not a test double. What it leaves out stands in docs/explanation/simulator.md.
"""

from coach.sources.simulator.car import Car
from coach.sources.simulator.drive import events, simulate
from coach.sources.simulator.driver import Accelerate, Coast, Hold, Idle, Phase, Pull, Stop
from coach.sources.simulator.scenarios import SCENARIOS, Scenario, scenario, write_traces
from coach.sources.simulator.sensors import DEFAULT_BATCHES, Batch
from coach.sources.simulator.source import SimulatorSource

__all__ = [
    "DEFAULT_BATCHES", "SCENARIOS", "Accelerate", "Batch", "Car", "Coast", "Hold", "Idle", "Phase", "Pull", "Scenario",
    "SimulatorSource", "Stop", "events", "scenario", "simulate", "write_traces",
]  # fmt: skip
