"""A car that the simulator drives while it is asked."""

from __future__ import annotations

from random import Random

from coach.clock import Clock
from coach.signals import Catalogue
from coach.sources.adapter.car import Identity
from coach.sources.adapter.driven import After, DrivenCar
from coach.sources.adapter.maker import invented
from coach.sources.simulator import Scenario
from coach.sources.simulator.car import STEP_US, Motion, State
from coach.sources.simulator.driver import Driver
from coach.sources.simulator.sensors import Sensors


class SimulatedCar(DrivenCar):
    """A car that the simulator drives while it is asked, by a scenario's script.

    Args:
        scenario: car, script and seed.
        catalogue: how values are encoded; signals of a maker in it are invented from what the car does.
        clock: the drive's time.
        speed: how many times as fast as real it drives.
        after: what happens when the script is done.
        identity: who the car is.
    """

    def __init__(
        self,
        scenario: Scenario,
        catalogue: Catalogue,
        clock: Clock,
        *,
        speed: float = 1.0,
        after: After = "hold",
        identity: Identity | None = None,
    ) -> None:
        names = [name for batch in scenario.batches for name in batch.signals]
        self._invented = {s.name: s for s in catalogue if s.identified is not None and s.name not in names}
        super().__init__([*names, *self._invented], catalogue, clock, speed=speed, after=after, identity=identity)
        self._scenario, self._names = scenario, frozenset(names)
        self._rewind()

    def restart(self) -> None:
        """See `DrivenCar.restart`."""
        with self._lock:
            super().restart()
            self._rewind()

    def _rewind(self) -> None:
        one = self._scenario
        self._motion = Motion(one.car)
        self._steps = Driver(one.script, one.car, self._motion.now, Random(one.seed)).steps()
        self._sensors = Sensors(one.car, Random(one.seed + 1))
        self._state: State = self._motion.now
        self._now_us, self._link = 0, True
        self._done_us: int | None = None

    @property
    def _end_us(self) -> int | None:
        return self._done_us

    def _value(self, name: str, t_us: int) -> float | None:
        self._drive_to(t_us)
        if name in self._invented:
            return invented(self._invented[name], self._state)
        return self._sensors.read(name, self._state) if name in self._names else None

    def _gap(self, t_us: int) -> bool:
        self._drive_to(t_us)
        return not self._link

    def _drive_to(self, t_us: int) -> None:
        while self._done_us is None and self._now_us <= t_us:
            controls = next(self._steps, None)
            if controls is None:
                self._done_us = self._now_us
                return
            self._link = controls.link
            self._state = self._motion.step(controls)
            self._sensors.follow(self._state)
            self._now_us += STEP_US
