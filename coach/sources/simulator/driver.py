"""The scripted driver: phases, one after the other, each turned into pedal, brake, clutch and gear every 10 ms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random

from coach.sources.simulator.car import DT, Car, Controls, State

Steps = Iterator[Controls]


@dataclass(frozen=True)
class Idle:
    """Standing in neutral."""

    seconds: float


@dataclass(frozen=True)
class Accelerate:
    """From rest or on the move to a speed, through the gears up to `gear`."""

    kmh: float
    gear: int
    pedal: float = 0.42
    shift_rpm: float = 2_500


@dataclass(frozen=True)
class Hold:
    """A steady speed in `gear`, wandering by `wander` km/h; `lost`: when the link goes and for how many seconds."""

    kmh: float
    seconds: float
    gear: int
    wander: float = 1.5
    lost: tuple[float, float] | None = None


@dataclass(frozen=True)
class Pull:
    """Pedal to the floor in `gear` from an engine speed to another; then lift."""

    gear: int
    from_rpm: float
    to_rpm: float


@dataclass(frozen=True)
class Coast:
    """Pedal released in gear, down to a speed; the brake helps where the engine alone is slow."""

    kmh: float
    brake: float = 0.0


@dataclass(frozen=True)
class Stop:
    """Braked to a standstill."""

    brake: float = 0.22


Phase = Idle | Accelerate | Hold | Pull | Coast | Stop


class Driver:
    """Drives a script. Reads the car's state as a person does and never sees into the future."""

    def __init__(self, script: Sequence[Phase], car: Car, state: State, random: Random) -> None:
        self._script, self._car, self._state, self._random = script, car, state, random
        self._gear = 0

    def steps(self) -> Steps:
        """The controls of every step, until the script is done. The car must move between two of them."""
        for phase in self._script:
            match phase:
                case Idle():
                    self._gear = 0
                    yield from self._for(phase.seconds, Controls)
                case Accelerate():
                    yield from self._accelerate(phase)
                case Hold():
                    yield from self._hold(phase)
                case Pull():
                    yield from self._pull(phase)
                case Coast():
                    yield from self._coast(phase)
                case Stop():
                    yield from self._stop(phase)

    def _for(self, seconds: float, make: type[Controls]) -> Steps:
        for _ in range(round(seconds / DT)):
            yield make()

    def _shift(self, gear: int) -> Steps:
        """Clutch down, gear, clutch up: about 0.7 s without drive."""
        if gear == self._gear:
            return
        down = self._gear > gear
        for step in range(45):
            # Going down a gear the foot blips the pedal, so that the engine meets the wheels.
            yield Controls(
                pedal=0.25 if down and step > 15 else 0.0, clutch=True, gear=self._gear if step < 20 else gear
            )
        self._gear = gear
        for step in range(40):
            yield Controls(pedal=0.1 + 0.004 * step, gear=gear)

    def _accelerate(self, phase: Accelerate) -> Steps:
        s = self._state
        if self._gear == 0 and s.kmh < 5:
            self._gear = 1
        while self._gear < phase.gear or s.kmh < phase.kmh - 1:
            if self._gear < phase.gear and (s.rpm > phase.shift_rpm or s.kmh >= phase.kmh - 1) and s.gear == self._gear:
                yield from self._shift(self._gear + 1)
                continue
            near = min(1.0, max(0.6, (phase.kmh - s.kmh) / 8))
            yield Controls(pedal=phase.pedal * near, gear=self._gear)

    def _hold(self, phase: Hold) -> Steps:
        s, aim = self._state, 0.0
        yield from self._shift(phase.gear)
        integral = self._balance(phase)
        for step in range(round(phase.seconds / DT)):
            if step % 400 == 0:
                aim = phase.wander * (2 * self._random.random() - 1)
            error = phase.kmh + aim - s.kmh
            integral += 0.004 * error * DT
            pedal = max(0.0, min(0.6, integral + 0.03 * error))
            seconds = step * DT
            link = phase.lost is None or not phase.lost[0] <= seconds < phase.lost[0] + phase.lost[1]
            # Far too fast, the foot goes to the brake.
            yield Controls(pedal=pedal, brake=0.1 if error < -8 else 0.0, gear=self._gear, link=link)

    def _balance(self, phase: Hold) -> float:
        """Pedal that about holds the speed, as a driver who knows the car would begin with."""
        car = self._car
        load = car.road_load[0] + phase.kmh * (car.road_load[1] + car.road_load[2] * phase.kmh)
        rpm = car.ratios[phase.gear] * phase.kmh
        torque = load / (0.92 * car.ratios[phase.gear] * 0.377) + 9 + 0.006 * rpm
        share = min(0.9, max(0.0, (torque / car.torque_per_kpa + 28 - 34) / (car.baro_kpa - 34)))
        half = share / (1 + (1 - share))  # a root of half * (2 - half) = share, near enough
        return 0.5 * half

    def _pull(self, phase: Pull) -> Steps:
        s = self._state
        yield from self._shift(phase.gear)
        ratio = self._car.ratios[phase.gear]
        settle = 0
        while settle < 150:
            error = phase.from_rpm / ratio - s.kmh
            settle = settle + 1 if abs(error) < 2 else 0
            yield Controls(
                pedal=max(0.0, min(0.35, 0.12 + 0.04 * error)), brake=0.15 if error < -6 else 0, gear=self._gear
            )
        while s.rpm < phase.to_rpm:
            yield Controls(pedal=1.0, gear=self._gear)
        for _ in range(150):
            yield Controls(gear=self._gear)

    def _coast(self, phase: Coast) -> Steps:
        s = self._state
        while s.kmh > phase.kmh:
            yield Controls(brake=phase.brake, gear=self._gear)

    def _stop(self, phase: Stop) -> Steps:
        s = self._state
        while s.kmh > 0:
            slow = s.rpm < 1_150 or self._gear == 0
            if slow:
                self._gear = 0
            yield Controls(brake=phase.brake if s.kmh > 6 else 0.12, clutch=slow, gear=self._gear)
