"""One capture in one car: road speed at each engine speed by gear, time and distance of the sweep, room to stop.

What a missing value keeps from being said is said, in `why`; nothing is guessed without a word.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from coach.core.spec import Band
from coach.plan.motion import Acceleration, Pull, coast, full_load, pull, room_m, room_s
from coach.plan.pulls import EarlierPulls
from coach.recipe import CaptureAsked
from coach.recipe.check import FULL_PEDAL
from coach.vehicle import Vehicle
from coach.vehicle.road import KMH_A_MS, Curve

GENTLE_MS2 = 2.0
"""Braking that spills no coffee, about a fifth of gravity (common practice, no source)."""
RUN_UP_MS2 = 1.5
"""Getting up to speed in traffic's own way (common practice, no source)."""
BOUND_KMH = 100.0
"""From this implied road speed on a capture belongs on a closed course (common practice, no source)."""
ROTATING = 0.03
"""What turning parts add to the mass where the vehicle does not say (common practice, no source)."""
DRIVELINE = 0.92
"""Share of the power that reaches the wheels where the vehicle does not say (common practice, no source)."""


@dataclass(frozen=True)
class Assumed:
    """What the plan takes for granted, all of it shown.

    Attributes:
        stop_ms2: deceleration after a sweep.
        run_up_ms2: acceleration from standstill to the sweep's beginning.
        bound_kmh: above this implied road speed a sweep needs a closed course.
    """

    stop_ms2: float = GENTLE_MS2
    run_up_ms2: float = RUN_UP_MS2
    bound_kmh: float = BOUND_KMH


@dataclass(frozen=True, slots=True)
class InGear:
    """A capture in one gear; None is not known, and `why` says why.

    Attributes:
        gear: its number.
        from_rpm, to_rpm, from_kmh, to_kmh: both ends; of a hold the lowest and the highest.
        seconds, metres: of the sweep.
        how: `full load`, `earlier pulls`, `coasting` (an upper bound), `at most` (the recipe's `within`), or empty.
        run_up_m, stop_m: room before it from standstill, and after it to standstill.
        total_m: all three together.
        why: the code of what keeps time and distance from being known.
    """

    gear: int
    from_rpm: float | None
    to_rpm: float | None
    from_kmh: float
    to_kmh: float
    seconds: float | None = None
    metres: float | None = None
    how: str = ""
    run_up_m: float | None = None
    stop_m: float | None = None
    total_m: float | None = None
    why: str = ""

    @property
    def top_kmh(self) -> float:
        """The fastest moment."""
        return max(self.from_kmh, self.to_kmh)


@dataclass(frozen=True)
class CapturePlan:
    """One capture in this car.

    Attributes:
        asked: the capture.
        rows: one for each gear in which it can be made, the lowest first; empty where no gear is known.
        low_kmh, high_kmh: road speeds it is made at, None where they are not known.
        full_pedal: it asks for full power.
        course: codes of why it belongs on a closed course: `asked`, `full_pedal`, `speed`.
        why: the code of what keeps road speeds from being known.
    """

    asked: CaptureAsked
    rows: tuple[InGear, ...] = ()
    low_kmh: float | None = None
    high_kmh: float | None = None
    full_pedal: bool = False
    course: tuple[str, ...] = ()
    why: str = ""

    @property
    def main(self) -> InGear | None:
        """The row that counts for room: the fastest, of equals the longest."""
        return max(self.rows, key=lambda row: (row.top_kmh, row.total_m or 0.0), default=None)

    @property
    def seconds(self) -> float | None:
        """Seconds of one sweep, of the row that counts."""
        return None if self.main is None else self.main.seconds


def band_of(capture: CaptureAsked, signal: str) -> Band | None:
    """What a capture keeps of a signal, or None."""
    return next((band for band in capture.keep if band.signal == signal), None)


def asks_full_pedal(capture: CaptureAsked) -> bool:
    """Whether it asks for full power."""
    return any(
        band.low is not None and band.signal in FULL_PEDAL and band.low >= FULL_PEDAL[band.signal]
        for band in (*capture.start, *capture.keep)
    )


def gears_of(capture: CaptureAsked, ratios: Mapping[int, float]) -> list[int]:
    """The gears of this car in which a capture may be made; all of them where it names none."""
    band = band_of(capture, "gear")
    if band is None:
        return sorted(ratios)
    low = 0 if band.low is None else band.low
    high = 99 if band.high is None else band.high
    return [gear for gear in sorted(ratios) if low <= gear <= high]


def plan_capture(
    capture: CaptureAsked, vehicle: Vehicle | None, pulls: Mapping[int, EarlierPulls], assumed: Assumed
) -> CapturePlan:
    """What a capture means in this car.

    Args:
        capture: as asked.
        vehicle: the car, or None.
        pulls: earlier pulls of this car, by gear.
        assumed: what is taken for granted.
    """
    full = asks_full_pedal(capture)
    speed = band_of(capture, "road_speed")
    ratios = {} if vehicle is None or vehicle.transmission == "CVT" else dict(vehicle.ratios or {})
    rows: list[InGear] = []
    why = ""
    if capture.sweep is not None:
        swept = capture.sweep.signal
        if swept == "road_speed":
            rows = [_row(capture, g, capture.sweep.start, capture.sweep.to, ratios, vehicle, pulls, assumed, full=full)
                    for g in gears_of(capture, ratios) or [0]]  # fmt: skip
        elif swept == "engine_speed":
            ends = capture.sweep.start, capture.sweep.to
            for g in gears_of(capture, ratios):
                at = ends[0] / ratios[g], ends[1] / ratios[g]
                rows.append(_row(capture, g, *at, ratios, vehicle, pulls, assumed, full=full))
            why = "" if rows else _no_gear(vehicle, ratios)
    elif not (speed is not None and speed.high == 0):
        rows = _held(capture, ratios)
    known = [kmh for row in rows for kmh in (row.from_kmh, row.to_kmh)]
    if not known and speed is not None:
        known = [kmh for kmh in (speed.low, speed.high) if kmh is not None]
    low, high = (min(known), max(known)) if known else (None, None)
    course = [code for code, so in (
        ("asked", capture.place == "closed course"), ("full_pedal", full),
        ("speed", _least_top(capture, rows, speed) > assumed.bound_kmh),
    ) if so]  # fmt: skip
    return CapturePlan(capture, tuple(rows), low, high, full, tuple(course), why)


def _least_top(capture: CaptureAsked, rows: list[InGear], speed: Band | None) -> float:
    """The slowest at which the capture can be made at its fastest moment: even then it may be too fast."""
    if capture.sweep is None:
        return 0.0 if speed is None or speed.low is None else speed.low
    return min((row.top_kmh for row in rows), default=0.0)


def _no_gear(vehicle: Vehicle | None, ratios: Mapping[int, float]) -> str:
    if vehicle is None:
        return "no_vehicle"
    if vehicle.transmission == "CVT":
        return "cvt"
    return "no_such_gear" if ratios else "no_ratios"


def _held(capture: CaptureAsked, ratios: Mapping[int, float]) -> list[InGear]:
    """Engine speeds of a hold at road speed, or road speeds of a hold at engine speed, by gear."""
    speed, engine = band_of(capture, "road_speed"), band_of(capture, "engine_speed")
    rows = []
    for gear in gears_of(capture, ratios):
        ends = [(-np.inf, np.inf)]
        for band, factor in ((speed, 1.0), (engine, ratios[gear])):
            if band is not None:
                least = -np.inf if band.low is None else band.low / factor
                ends.append((least, np.inf if band.high is None else band.high / factor))
        low, high = max(e[0] for e in ends), min(e[1] for e in ends)
        if np.isfinite(low) and np.isfinite(high) and low <= high:
            rows.append(InGear(gear, low * ratios[gear], high * ratios[gear], float(low), float(high)))
    # Without a gear asked for, a hold at road speed may be made in many: too long a list says nothing.
    return rows if band_of(capture, "gear") is not None else []


def _row(
    capture: CaptureAsked, gear: int, from_kmh: float, to_kmh: float, ratios: Mapping[int, float],
    vehicle: Vehicle | None, pulls: Mapping[int, EarlierPulls], assumed: Assumed, *, full: bool,
) -> InGear:  # fmt: skip
    ratio = ratios.get(gear)
    rpms = (None, None) if ratio is None else (from_kmh * ratio, to_kmh * ratio)
    moved, how, why = _moved(gear, from_kmh, to_kmh, ratio, vehicle, pulls, full=full)
    within_s = None if capture.sweep is None or capture.sweep.within_us is None else capture.sweep.within_us / 1e6
    seconds, metres = (None, None) if moved is None else (moved.seconds, moved.metres)
    if seconds is None and within_s is not None:
        # Whoever takes longer has missed it: no more road than this is needed for a sweep that counts.
        seconds, metres, how = within_s, within_s * max(from_kmh, to_kmh) / KMH_A_MS, "at most"
    then_s = (capture.then_us or 0) / 1e6
    run_up = room_m(from_kmh, assumed.run_up_ms2)
    stop = room_m(to_kmh, assumed.stop_ms2) + then_s * to_kmh / KMH_A_MS
    total = None if metres is None else run_up + metres + stop
    return InGear(gear, rpms[0], rpms[1], from_kmh, to_kmh, seconds, metres, how, run_up, stop, total, why)


def _moved(
    gear: int, from_kmh: float, to_kmh: float, ratio: float | None, vehicle: Vehicle | None,
    pulls: Mapping[int, EarlierPulls], *, full: bool,
) -> tuple[Pull | None, str, str]:  # fmt: skip
    """Time and distance, how they are known, or the code of why not."""
    if vehicle is None:
        return None, "", "no_vehicle"
    mass, load = vehicle.mass_kg, vehicle.road_load
    rotating = ROTATING if vehicle.rotating is None else vehicle.rotating
    if to_kmh < from_kmh:
        if mass is None or load is None:
            return None, "", "no_mass" if mass is None else "no_road_load"
        return coast(load, mass, rotating, from_kmh, to_kmh), "coasting", ""
    if not full:
        return None, "", "part_pedal"
    if ratio is None:
        return None, "", "no_ratios"
    start, to = from_kmh * ratio, to_kmh * ratio
    own = pulls.get(gear)
    if own is not None and own.covers(start, to):
        found = pull(own.acceleration, ratio, start, to, np.array(own.rpm))
        return found, "earlier pulls" if found else "", "" if found else "not_reached"
    if mass is None or load is None:
        return None, "", "no_mass" if mass is None else "no_road_load"
    for other in pulls.values():
        if other.covers(start, to):
            curve = _power(other, (vehicle.ratios or {})[other.gear], vehicle, rotating)
            return _pulled(full_load(curve, mass, rotating, load, 1.0, ratio), curve, ratio, start, to, "earlier pulls")
    if vehicle.full_load_kw is None:
        return None, "", "pulls_too_short" if pulls else "no_full_load"
    curve = vehicle.full_load_kw
    if start < curve[0][0] or to > curve[-1][0]:
        return None, "", "beyond_full_load"
    share = DRIVELINE if vehicle.driveline is None else vehicle.driveline
    return _pulled(full_load(curve, mass, rotating, load, share, ratio), curve, ratio, start, to, "full load")


def _pulled(
    acceleration: Acceleration, curve: Curve, ratio: float, start: float, to: float, how: str
) -> tuple[Pull | None, str, str]:
    found = pull(acceleration, ratio, start, to, np.array([n for n, _ in curve]))
    return (found, how, "") if found is not None else (None, "", "not_reached")


def _power(pulls: EarlierPulls, ratio: float, vehicle: Vehicle, rotating: float) -> Curve:
    """Power at the wheels that earlier pulls in another gear had: (m a + F) v."""
    assert vehicle.mass_kg is not None
    assert vehicle.road_load is not None
    mass, load = vehicle.mass_kg * (1 + rotating), vehicle.road_load
    curve = [
        (n, (mass * a + load.at(n / ratio)) * (n / ratio / KMH_A_MS) / 1000)
        for n, a in zip(pulls.rpm, pulls.ms2, strict=True)
    ]
    return tuple(curve)


def cycle_s(plan: CapturePlan, assumed: Assumed) -> float:
    """Seconds that one attempt takes with getting there and back to standstill."""
    row = plan.main
    if plan.asked.sweep is None or row is None:
        return 0.0
    return room_s(row.from_kmh, assumed.run_up_ms2) + room_s(row.to_kmh, assumed.stop_ms2) + (row.seconds or 0.0)
