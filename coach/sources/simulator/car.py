"""The simulated car: a turbocharged hatchback of our own, moved in small fixed steps by pedal, brake, clutch and gear.

Only addition, multiplication, division and comparison are used, so that every machine computes the same drive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

STEP_US = 10_000
DT = STEP_US / 1e6
"""The integration step, in seconds."""

_FORCE = 0.376991118  # newtons at the wheels from 1 N.m at 1 rpm per km/h: 2 pi / 60 * 3.6

Curve = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Car:
    """What the car is. Figures are invented to be plausible, and measured on nothing.

    Attributes:
        ratios: rpm per km/h by gear.
        mass_kg: with two people.
        boost_kpa: gauge boost that the turbocharger reaches at full pedal, by rpm.
        filling: air per kPa of manifold pressure, by rpm, 1 at best.
        torque_per_kpa: torque in N.m of each kPa above the pressure that turns the idling engine.
        road_load: newtons, newtons per km/h, newtons per (km/h)^2.
        idle_rpm, limit_rpm: idle speed when warm, rev limiter.
        ambient_c, baro_kpa: the day.
        coolant_c: at the start.
        thermostat_c: where coolant settles.
        released, floored: raw pedal in steps of 100/255 %.
        speed_delay_us: how late road speed is measured.
    """

    ratios: Mapping[int, float] = field(default_factory=lambda: {1: 118.0, 2: 62.0, 3: 41.5, 4: 31.0, 5: 24.9, 6: 20.5})
    mass_kg: float = 1_460.0
    boost_kpa: Curve = ((1000, 4), (1500, 28), (2000, 60), (2600, 80), (3200, 82), (4500, 79), (5500, 66), (6500, 50))
    filling: Curve = ((800, 0.82), (1500, 0.9), (2500, 1.0), (4000, 0.99), (5000, 0.94), (6500, 0.8))
    torque_per_kpa: float = 1.52
    road_load: tuple[float, float, float] = (165.0, 0.6, 0.034)
    idle_rpm: float = 800.0
    limit_rpm: float = 6_400.0
    ambient_c: float = 17.0
    baro_kpa: float = 99.0
    coolant_c: float = 72.0
    thermostat_c: float = 90.0
    released: int = 37
    floored: int = 218
    speed_delay_us: int = 60_000


@dataclass(slots=True)
class Controls:
    """What driver and link do in one step: pedal travel and brake 0 to 1, clutch down, gear (0 is neutral), link up."""

    pedal: float = 0.0
    brake: float = 0.0
    clutch: bool = False
    gear: int = 0
    link: bool = True


@dataclass(slots=True)
class State:
    """What the car does now.

    Attributes:
        kmh, rpm: road and engine speed.
        pedal: travel, 0 to 1.
        map_kpa, boost_kpa: manifold pressure, and what of it the turbocharger gives.
        torque_nm: at the crankshaft, negative when the engine brakes.
        coolant_c, intake_c: temperatures.
        gear: engaged gear, 0 while the clutch is open or slips.
        km: distance.
        run_s: time since the start of the drive.
    """

    kmh: float = 0.0
    rpm: float = 800.0
    pedal: float = 0.0
    map_kpa: float = 34.0
    boost_kpa: float = 0.0
    torque_nm: float = 0.0
    coolant_c: float = 20.0
    intake_c: float = 20.0
    gear: int = 0
    km: float = 0.0
    run_s: float = 0.0


def between(curve: Curve, x: float) -> float:
    """Linear interpolation; the ends go on level."""
    if x <= curve[0][0]:
        return curve[0][1]
    for (x0, y0), (x1, y1) in pairwise(curve):
        if x <= x1:
            return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
    return curve[-1][1]


class Motion:
    """The car in motion: `step` moves it by 10 ms."""

    def __init__(self, car: Car) -> None:
        self.car = car
        self.now = State(rpm=car.idle_rpm, coolant_c=car.coolant_c, intake_c=car.ambient_c + 6)

    def step(self, controls: Controls) -> State:
        """The state 10 ms later."""
        car, s = self.car, self.now
        s.pedal += max(-0.08, min(0.05, controls.pedal - s.pedal))  # a foot takes 0.2 s to the floor
        self._breathe()
        ratio = car.ratios.get(controls.gear, 0.0)
        turning = ratio * s.kmh
        closed = ratio > 0 and not controls.clutch
        # A closed clutch slips until both sides turn alike; then the gear is in.
        locked = closed and (s.gear == controls.gear or abs(turning - s.rpm) < 25) and turning > car.idle_rpm * 0.7
        s.gear = controls.gear if locked else 0
        load = car.road_load[0] * min(1.0, s.kmh) + s.kmh * (car.road_load[1] + car.road_load[2] * s.kmh)
        force = -load - controls.brake * 9_000.0 * min(1.0, s.kmh)
        if locked:
            force += s.torque_nm * 0.92 * ratio * _FORCE
        elif closed:
            force += self._slip(turning) * 0.92 * ratio * _FORCE
        else:
            self._spin()
        inertia = 1.03 + 0.0000125 * ratio * ratio if locked else 1.03
        s.kmh = max(0.0, s.kmh + force / (car.mass_kg * inertia) * 3.6 * DT)
        if controls.brake > 0 and s.kmh < 0.3:
            s.kmh = 0.0  # brakes hold; without this the last bit of speed would take for ever
        if locked:
            s.rpm = ratio * s.kmh
        self._warm()
        s.km += s.kmh * DT / 3600
        s.run_s += DT
        return s

    def _breathe(self) -> None:
        """Manifold pressure follows the pedal at once and the turbocharger late; torque follows the pressure."""
        car, s = self.car, self.now
        half = min(1.0, s.pedal / 0.5)
        # An idling engine breathes more when cold; overrun closes the plate further.
        idle = 34.0 + max(0.0, 75.0 - s.coolant_c) * 0.1 - (8.0 if s.rpm > car.idle_rpm * 1.4 and s.pedal < 0.02 else 0)
        plain = idle + (car.baro_kpa - idle) * half * (2 - half)
        asked = between(car.boost_kpa, s.rpm) * max(0.0, (s.pedal - 0.45) / 0.55)
        lag_s = (0.32 if s.rpm > 3000 else 0.32 + (3000 - s.rpm) * 0.00022) if asked > s.boost_kpa else 0.18
        s.boost_kpa += (asked - s.boost_kpa) * (DT / lag_s)
        target = plain + (s.boost_kpa if plain > car.baro_kpa - 4 else s.boost_kpa * 0.2)
        s.map_kpa += (target - s.map_kpa) * (DT / 0.07)
        burning = (
            0.0 if s.rpm > car.limit_rpm else (s.map_kpa - 28.0) * car.torque_per_kpa * between(car.filling, s.rpm)
        )
        s.torque_nm = max(0.0, burning) - 9.0 - 0.006 * s.rpm

    def _slip(self, turning: float) -> float:
        """Torque through a slipping clutch, which draws the engine to the speed of the wheels."""
        s = self.now
        if turning > s.rpm:
            s.rpm = min(turning, s.rpm + 4_500 * DT)
            return -25.0
        # At a start from rest the engine is held up by its controller and the driver's foot.
        floor = max(self.car.idle_rpm, 1_250.0 if s.pedal > 0.05 else 0.0)
        s.rpm = max(turning, floor, s.rpm - 3_000 * DT) if s.rpm > floor else min(floor, s.rpm + 1_500 * DT)
        return 30.0 + 110.0 * s.pedal * 2

    def _spin(self) -> None:
        """With the clutch open the engine falls to idle, or rises with the pedal."""
        s = self.now
        target = self.car.idle_rpm + max(0.0, 75.0 - s.coolant_c) * 5 + 4_500 * s.pedal
        s.rpm += max(-1_400 * DT, min(3_500 * DT, target - s.rpm))

    def _warm(self) -> None:
        """Coolant warms with the fuel burned, up to the thermostat; intake air warms with boost and at a standstill."""
        car, s = self.car, self.now
        power = max(2.5, (s.torque_nm + 12) * s.rpm / 9549)
        s.coolant_c += power * 0.0115 * DT
        over = s.coolant_c - car.thermostat_c
        if over > -3:
            s.coolant_c -= (over + 3) * (0.06 + power * 0.0038) * DT
        settled = car.ambient_c + 5 + (14 if s.kmh < 15 else 0) + 0.16 * s.boost_kpa
        s.intake_c += (settled - s.intake_c) * (DT / 25)
