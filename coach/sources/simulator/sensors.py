"""What the car's sensors say and when: quantised as mode-01 answers are, polled in batches with jitter.

Values are rounded to the encoding's own steps, which also hides the last bits of the arithmetic before them.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from random import Random

from coach.sources.simulator.car import STEP_US, Car, State

JITTER_US = 12_000
"""An answer comes up to this much later than it is due."""


@dataclass(frozen=True)
class Batch:
    """Signals asked for in one request, and how often."""

    signals: tuple[str, ...]
    rate_hz: float


DEFAULT_BATCHES = (
    Batch(("engine_speed", "road_speed", "manifold_pressure", "pedal", "throttle", "timing_advance"), 10.0),
    Batch(("mass_airflow", "lambda_1", "short_trim_1", "long_trim_1"), 2.0),
    Batch(("coolant_temp", "intake_temp", "barometric_pressure", "fuel_system_status", "ambient_temp"), 1.0),
)
"""Three requests of at most six parameters (ISO 15765-4, from memory), by how fast their signals move."""


def steps_of(value: float, step: float, low: float, high: float, decimals: int) -> float:
    """`value` to the nearest whole step, held within the encoding, as a decimal number."""
    return round(max(low, min(high, math.floor(value / step + 0.5) * step)), decimals)


def _byte_percent(value: float) -> float:
    return round(max(0, min(255, math.floor(value * 2.55 + 0.5))) * 100 / 255, 2)


class Sensors:
    """Reads a state as the car's control unit would report it."""

    def __init__(self, car: Car, random: Random) -> None:
        self._car, self._random = car, random
        self._past: deque[float] = deque([0.0] * (car.speed_delay_us // STEP_US + 1))
        self._trim = 0.0
        self._read: dict[str, Callable[[State], float]] = {
            "engine_speed": lambda s: steps_of(s.rpm + self._noise(6.0), 0.25, 0, 16_383.75, 2),
            "road_speed": lambda _: steps_of(self._past[0], 1.0, 0, 255, 0),
            "manifold_pressure": lambda s: steps_of(s.map_kpa + self._noise(0.8), 1.0, 0, 255, 0),
            "pedal": self._pedal,
            "throttle": lambda s: _byte_percent(12 + 72 * min(1.0, s.pedal / 0.5) + self._noise(0.3)),
            "timing_advance": self._timing,
            "mass_airflow": lambda s: steps_of(self._air(s) * (1 + self._noise(0.01)), 0.01, 0, 655.35, 2),
            "lambda_1": self._lambda,
            "short_trim_1": self._short_trim,
            "long_trim_1": lambda _: steps_of(2.3, 100 / 128, -100, 99.22, 2),
            "coolant_temp": lambda s: steps_of(s.coolant_c, 1.0, -40, 215, 0),
            "intake_temp": lambda s: steps_of(s.intake_c, 1.0, -40, 215, 0),
            "barometric_pressure": lambda _: steps_of(car.baro_kpa, 1.0, 0, 255, 0),
            "ambient_temp": lambda _: steps_of(car.ambient_c, 1.0, -40, 215, 0),
            "fuel_system_status": lambda s: 4.0 if self._open_loop(s) else (2.0 if s.coolant_c > 35 else 1.0),
        }

    def follow(self, state: State) -> None:
        """Takes one step of the motion: what is measured late, and what drifts."""
        self._past.append(state.kmh)
        self._past.popleft()
        self._trim += self._noise(0.09) - 0.004 * self._trim

    def read(self, signal: str, state: State) -> float:
        """The value reported now, in the catalogue's unit."""
        return self._read[signal](state)

    def _noise(self, most: float) -> float:
        return most * (self._random.random() + self._random.random() - 1)

    def _pedal(self, s: State) -> float:
        car = self._car
        raw = math.floor(car.released + (car.floored - car.released) * s.pedal + self._noise(0.7) + 0.5)
        return round(max(car.released, min(car.floored, raw)) * 100 / 255, 2)

    def _timing(self, s: State) -> float:
        load = (s.map_kpa - 30) / 150
        return steps_of(34 - 26 * load + (s.rpm - 2500) * 0.0018 + self._noise(0.6), 0.5, -64, 63.5, 1)

    def _air(self, s: State) -> float:
        """Mass airflow in g/s: 1.6 litres every two turns at the manifold's pressure and temperature."""
        density = s.map_kpa / (0.287 * (s.intake_c + 273.15))
        return density * 1.6 * s.rpm / 120 * 0.86

    def _open_loop(self, s: State) -> bool:
        return s.coolant_c > 35 and (s.pedal > 0.75 or (s.pedal < 0.02 and s.rpm > self._car.idle_rpm * 1.6))

    def _lambda(self, s: State) -> float:
        if s.pedal < 0.02 and s.rpm > self._car.idle_rpm * 1.6:
            return 1.999
        rich = 0.13 * max(0.0, s.pedal - 0.75) / 0.25
        return steps_of(1.0 - rich + self._noise(0.012), 0.001, 0, 1.999, 3)

    def _short_trim(self, s: State) -> float:
        return 0.0 if self._open_loop(s) else steps_of(self._trim + self._noise(1.2), 100 / 128, -100, 99.22, 2)


class Poll:
    """Asks the sensors, batch by batch. Stamps are whole milliseconds; two requests are never answered at once."""

    def __init__(self, batches: tuple[Batch, ...], random: Random) -> None:
        self._batches, self._random = batches, random
        self._count = [0] * len(batches)
        self._due_us = [0.0] * len(batches)
        self._free_us = 0
        self._plan()

    def _plan(self) -> None:
        for k, batch in enumerate(self._batches):
            self._due_us[k] = 1e6 * (self._count[k] + k / 7) / batch.rate_hz

    def answers(
        self, now_us: int, state: State, sensors: Sensors, link: bool
    ) -> Iterator[tuple[int, Mapping[str, float]]]:
        """What is answered up to `now_us`: stamp and values. While the link is down the requests are lost."""
        while True:
            k = min(range(len(self._due_us)), key=self._due_us.__getitem__)
            due_us = self._due_us[k]
            if max(due_us, self._free_us) > now_us:
                return
            self._count[k] += 1
            self._due_us[k] = 1e6 * (self._count[k] + k / 7) / self._batches[k].rate_hz
            stamp_us = max(round(due_us + JITTER_US * self._random.random()) // 1000 * 1000, self._free_us)
            self._free_us = stamp_us + 4_000
            if link:
                yield stamp_us, {name: sensors.read(name, state) for name in self._batches[k].signals}
