"""The drives of `replay_traces/`: one in which everything qualifies, and one for each way to fail."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from coach.catalogue import default_catalogue
from coach.csvout import write_table
from coach.recording import Recording
from coach.sources.simulator.car import Car
from coach.sources.simulator.drive import simulate
from coach.sources.simulator.driver import Accelerate, Coast, Hold, Idle, Phase, Pull, Stop
from coach.sources.simulator.sensors import DEFAULT_BATCHES, Batch
from coach.sources.simulator.source import SimulatorSource


@dataclass(frozen=True)
class Scenario:
    """One drive: what happens in it in a sentence, the car, the script, the seed, the poll."""

    name: str
    tells: str
    script: tuple[Phase, ...]
    seed: int
    car: Car = field(default_factory=Car)
    batches: tuple[Batch, ...] = DEFAULT_BATCHES

    def recording(self) -> Recording:
        """The whole drive."""
        return simulate(self.script, self.car, self.seed, self.batches)

    def source(self, speed: float | None = 1.0) -> SimulatorSource:
        """The same drive, live."""
        return SimulatorSource(
            self.script, self.car, self.seed, speed=speed, batches=self.batches, name=self.name.replace("-", " ")
        )


_WARM = Car(coolant_c=85.0)
_TO_HOLD = (Idle(2), Accelerate(80, gear=5))
_TO_PULL = (Idle(2), Accelerate(48, gear=3))
_ROUND = (Coast(58, brake=0.06), Hold(50, 8, gear=4))
# A turbocharger whose control lets the pressure climb with engine speed.
_STRONG = ((1000, 4), (1500, 28), (2000, 60), (2600, 82), (3200, 94), (4500, 112), (6500, 60))
_SLOW = (replace(DEFAULT_BATCHES[0], rate_hz=3.0), *DEFAULT_BATCHES[1:])

SCENARIOS: tuple[Scenario, ...] = (
    Scenario(
        "everything-qualifies",
        "Warms up, holds 80 km/h in fifth, pulls twice in third, and idles warm: everything asked for is met.",
        (
            Idle(12), Accelerate(50, gear=4), Hold(50, 75, gear=4), Accelerate(80, gear=5), Hold(80, 110, gear=5),
            Coast(54, brake=0.03), Pull(3, 1_950, 4_750), *_ROUND, Hold(50, 30, gear=4), Pull(3, 1_950, 4_750), *_ROUND,
            Stop(), Idle(75),
        ),
        seed=11,
    ),
    Scenario(
        "wrong-gear", "Holds the speed in fourth where fifth was asked for.",
        (Idle(2), Accelerate(80, gear=4), Hold(80, 110, gear=4)), seed=12, car=_WARM,
    ),
    Scenario(
        "speed-lost", "Falls under the speed after 60 of 90 seconds, comes back, and the drive ends too soon.",
        (*_TO_HOLD, Hold(80, 50, gear=5), Coast(64), Accelerate(80, gear=5), Hold(80, 30, gear=5)), seed=13, car=_WARM,
    ),
    Scenario(
        "cold-engine", "Starts at 18 °C and holds the speed long before the engine is warm.",
        (Idle(4), Accelerate(80, gear=5), Hold(80, 100, gear=5), Coast(50), Stop(), Idle(15)), seed=14,
        car=Car(coolant_c=18.0),
    ),
    Scenario(
        "limit-passed", "The turbocharger passes the limit of gauge boost in the pull.",
        (*_TO_PULL, Hold(48, 8, gear=3), Pull(3, 1_950, 3_800), *_ROUND), seed=15,
        car=replace(_WARM, boost_kpa=_STRONG),
    ),
    Scenario(
        "early-lift", "The foot comes off the pedal before the end of the pull.",
        (*_TO_PULL, Hold(48, 8, gear=3), Pull(3, 1_950, 3_900), *_ROUND), seed=16, car=_WARM,
    ),
    Scenario(
        "dropout", "The link is gone for six seconds after 60 of 90 seconds, and the drive ends too soon.",
        (*_TO_HOLD, Hold(80, 100, gear=5, lost=(56, 6))), seed=17, car=_WARM,
    ),
    Scenario(
        "undersampled", "The speed is held, but the fast signals come at 3 Hz where 8 Hz was asked for.",
        (*_TO_HOLD, Hold(80, 100, gear=5)), seed=18, car=_WARM, batches=_SLOW,
    ),
)  # fmt: skip
"""All of them, by what they are for."""


def scenario(name: str) -> Scenario:
    """The scenario of that name. Raises KeyError."""
    return {s.name: s for s in SCENARIOS}[name]


def write_traces(folder: Path) -> list[Path]:
    """Writes every scenario's drive to `folder` as a wide table, the same bytes each time; gives the files.

    Raises:
        OSError: the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for one in SCENARIOS:
        path = folder / f"{one.name}.csv"
        write_table(one.recording(), path, default_catalogue())
        written.append(path)
    return written
