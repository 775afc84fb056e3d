"""How long a pull takes and how much road it needs: the equation of motion on a flat road, integrated. numpy only.

No wind, no gradient, no wheel slip, and a turbocharger that is there at once: a real pull is a little slower.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.vehicle.road import KMH_A_MS, Curve, RoadLoad

Floats = NDArray[np.float64]
Acceleration = Callable[[Floats], Floats]
"""From engine speed in rpm to acceleration in m/s2."""

STRIDE_RPM = 50.0
"""Pieces of the integral: no longer than this, and cut where the full-load curve has a corner."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)
LEAST_MS2 = 0.05
"""A car that gains less than this does not get there."""


@dataclass(frozen=True, slots=True)
class Pull:
    """One pull: how long it takes, and how far it goes."""

    seconds: float
    metres: float


def full_load(
    curve: Curve, mass_kg: float, rotating: float, load: RoadLoad, driveline: float, ratio: float
) -> Acceleration:
    """Acceleration at full pedal in one gear.

    m (1 + rotating) dv/dt = P(n) driveline / v - F(v), with n = ratio v; P runs linearly between the curve's points.

    Args:
        curve: rpm and kilowatts, rising in rpm.
        mass_kg: as driven.
        rotating: what turning parts add, a share.
        load: what holds the car back.
        driveline: share of the power that reaches the wheels.
        ratio: rpm per km/h.
    """
    rpm, kw = np.array(curve, dtype=np.float64).T

    def at(n: Floats) -> Floats:
        kmh = n / ratio
        power_w = np.interp(n, rpm, kw) * 1000 * driveline
        held_n = load.f0_n + kmh * (load.f1_n_kmh + load.f2_n_kmh2 * kmh)
        moved: Floats = (power_w / (kmh / KMH_A_MS) - held_n) / (mass_kg * (1 + rotating))
        return moved

    return at


def pull(acceleration: Acceleration, ratio: float, start_rpm: float, to_rpm: float, corners: Floats) -> Pull | None:
    """A rise from one engine speed to another in gear: t = integral of dv / a, s = integral of v dv / a.

    Args:
        acceleration: at each engine speed.
        ratio: rpm per km/h.
        start_rpm, to_rpm: the first below the second, both above 0.
        corners: engine speeds at which the acceleration has a corner; pieces are cut there.

    Returns:
        None where the car does not get there.
    """
    inner = corners[(corners > start_rpm) & (corners < to_rpm)]
    count = max(2, int(np.ceil((to_rpm - start_rpm) / STRIDE_RPM)) + 1)
    edges = np.unique(np.concatenate((np.linspace(start_rpm, to_rpm, count), inner)))
    half = np.diff(edges) / 2
    n = (edges[:-1] + half)[:, None] + half[:, None] * _NODES[None, :]
    a = acceleration(n)
    least = float(min(a.min(), acceleration(edges).min()))
    if not least >= LEAST_MS2:
        return None
    dv = half[:, None] * _WEIGHTS[None, :] / ratio / KMH_A_MS
    return Pull(float(np.sum(dv / a)), float(np.sum(dv * (n / ratio / KMH_A_MS) / a)))


def coast(load: RoadLoad, mass_kg: float, rotating: float, start_kmh: float, to_kmh: float) -> Pull | None:
    """Rolling from a speed down to another with nothing but road load: with engine braking it is shorter.

    Returns:
        Seconds and metres; None where the speeds do not fall.
    """
    if not 0 <= to_kmh < start_kmh:
        return None
    edges = np.linspace(to_kmh, start_kmh, 200)
    half = np.diff(edges) / 2
    kmh = (edges[:-1] + half)[:, None] + half[:, None] * _NODES[None, :]
    held = load.f0_n + kmh * (load.f1_n_kmh + load.f2_n_kmh2 * kmh)
    a = held / (mass_kg * (1 + rotating))
    dv = half[:, None] * _WEIGHTS[None, :] / KMH_A_MS
    return Pull(float(np.sum(dv / a)), float(np.sum(dv * kmh / KMH_A_MS / a)))


def room_m(start_kmh: float, ms2: float, to_kmh: float = 0.0) -> float:
    """Metres from one speed to a lower one, or back up, at a steady deceleration: (v1 v1 - v0 v0) / 2a."""
    return abs(start_kmh**2 - to_kmh**2) / KMH_A_MS**2 / (2 * ms2)


def room_s(start_kmh: float, ms2: float, to_kmh: float = 0.0) -> float:
    """Seconds for the same."""
    return abs(start_kmh - to_kmh) / KMH_A_MS / ms2
