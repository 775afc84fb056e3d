"""What drives a car and what holds it back on a flat road: full-load curve and road load, from the vehicle file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from coach.errors import VehicleError
from coach.vehicle.shape import FullLoad, RoadLoadPart
from coach.vehicle.tyre import plain_quantity

Curve = tuple[tuple[float, float], ...]
"""Engine speed in rpm, rising, and kilowatts."""

AIR_KG_M3 = 1.2
"""Air at 20 degC near sea level (humid air at 20 degC, 50 %, 101325 Pa: 1.1989, PsychroLib)."""
GRAVITY_MS2 = 9.80665
"""Standard gravity, exact by definition."""
KMH_A_MS = 3.6

NEWTONS = {"N": 1.0}
NEWTONS_A_KMH = {"N/(km/h)": 1.0, "N/(m/s)": 1 / KMH_A_MS}
NEWTONS_A_KMH2 = {"N/(km/h)^2": 1.0, "N/(m/s)^2": 1 / KMH_A_MS**2}
SQUARE_METRES = {"m2": 1.0}
_TORQUE_STEP_RPM = 25.0


@dataclass(frozen=True, slots=True)
class RoadLoad:
    """Force against the car on a flat road without wind, over road speed v in km/h: `f0 + f1 v + f2 v v` newtons."""

    f0_n: float
    f1_n_kmh: float
    f2_n_kmh2: float

    def at(self, kmh: float) -> float:
        """Newtons at a road speed."""
        return self.f0_n + kmh * (self.f1_n_kmh + self.f2_n_kmh2 * kmh)


def road_load(part: RoadLoadPart, mass_kg: float | None, *, where: str) -> RoadLoad:
    """Road load from its three coefficients, or from drag area and rolling coefficient: `rolling m g + A rho v^2 / 2`.

    Raises:
        VehicleError: neither way is whole, both are given, or the second lacks the mass.
    """
    three = (part.constant, part.linear, part.square)
    two = (part.drag_area, part.rolling)
    if any(x is not None for x in three) and any(x is not None for x in two):
        raise VehicleError("give either the three coefficients or drag_area and rolling, not both", where=where)
    if any(x is not None for x in three):
        if part.constant is None or part.square is None:
            raise VehicleError("constant and square are both needed; linear may be left out", where=where)
        return RoadLoad(
            plain_quantity(part.constant, NEWTONS, "a force", where=f"{where}.constant"),
            0.0 if part.linear is None
            else plain_quantity(part.linear, NEWTONS_A_KMH, "a force by speed", where=f"{where}.linear"),
            plain_quantity(part.square, NEWTONS_A_KMH2, "a force by speed squared", where=f"{where}.square"),
        )  # fmt: skip
    if part.drag_area is None or part.rolling is None:
        raise VehicleError("give constant and square, or drag_area and rolling", where=where)
    if mass_kg is None:
        raise VehicleError("a rolling coefficient needs the mass too", where=f"{where}.rolling")
    if part.rolling > 0.1:
        raise VehicleError("a rolling coefficient lies under 0.1; 0.011 is usual", where=f"{where}.rolling")
    area = plain_quantity(part.drag_area, SQUARE_METRES, "a drag area", where=f"{where}.drag_area")
    return RoadLoad(part.rolling * mass_kg * GRAVITY_MS2, 0.0, AIR_KG_M3 / 2 * area / KMH_A_MS**2)


def wheel_power(part: FullLoad, *, where: str) -> Curve:
    """The full-load curve as rpm and kilowatts; torque is laid on a fine grid, so that it runs linearly between points.

    Raises:
        VehicleError: fewer than two points, engine speeds that do not rise, or not exactly one of power and torque.
    """
    given = [(key, row) for key, row in (("power_kw", part.power_kw), ("torque_nm", part.torque_nm)) if row is not None]
    if len(given) != 1:
        raise VehicleError("give one of power_kw and torque_nm", where=where)
    key, row = given[0]
    if len(row) != len(part.rpm) or len(row) < 2:
        raise VehicleError(
            "one number is needed for each engine speed, and at least two of them", where=f"{where}.{key}"
        )
    if any(b <= a for a, b in pairwise(part.rpm)):
        raise VehicleError("engine speeds must rise from one to the next", where=f"{where}.rpm")
    points = list(zip(part.rpm, row, strict=True))
    if key == "power_kw":
        return tuple(points)
    fine: list[tuple[float, float]] = []
    for (n0, m0), (n1, m1) in pairwise(points):
        steps = max(1, math.ceil((n1 - n0) / _TORQUE_STEP_RPM))
        for i in range(steps):
            n, m = n0 + (n1 - n0) * i / steps, m0 + (m1 - m0) * i / steps
            fine.append((n, m * n * math.pi / 30_000))
    n, m = points[-1]
    return (*fine, (n, m * n * math.pi / 30_000))
