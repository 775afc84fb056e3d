"""Power and torque at the wheels, estimated from mass, road load and acceleration, with what is not known about it.

The estimate is no dynamometer: gradient and wind are not known, and what it gets wrong is told beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput
from coach.recording import US, Series
from coach.review.smooth import even_grid, readable, savgol, savgol_weights
from coach.review.weather import corrections
from coach.review.window import Window
from coach.vehicle.road import AIR_KG_M3, GRAVITY_MS2, KMH_A_MS

Floats = NDArray[np.float64]

HALF_S = 0.5
DEGREE = 2
"""Savitzky-Golay: a parabola over half a second to each side."""
ROTATING = 1.03
"""Rotating parts as extra mass (common practice, no source): wheels; more in low gears."""
MASS_SHARE = 0.03
ROAD_LOAD_SHARE = 0.2
GRADE = 0.005
"""Not known to be better than: mass 3 %, road load 20 %, gradient half a per cent (common practice, no source)."""
ROLLING = 0.012
DRAG_AREA_M2 = 0.65
"""For a car whose road load nobody gave: rolling resistance, and drag coefficient times area (common practice)."""


@dataclass(frozen=True, slots=True)
class Effort:
    """What the estimate is made with: mass in kg with people, and road load N, N per km/h, N per (km/h)^2."""

    mass_kg: float
    road_load: tuple[float, float, float]
    rotating: float = ROTATING
    given: bool = True


@dataclass(frozen=True)
class Estimate:
    """Curves over the window, all shape (n,).

    Attributes:
        t_us, rpm, kmh: where; `kmh` is smoothed.
        power_kw, half_kw: at the wheels, and half the width of its 95 % range.
        random_kw: the part of it that differs from one pull to the next: noise of the speed.
        from_engine: speed was taken from engine speed and the gear's ratio, not from the car's whole km/h.
    """

    t_us: NDArray[np.int64]
    rpm: Floats
    kmh: Floats
    power_kw: Floats
    half_kw: Floats
    random_kw: Floats
    from_engine: bool

    @property
    def torque_nm(self) -> Floats:
        """Torque at the crankshaft that this power is, losses left out: power over engine speed."""
        made: Floats = self.power_kw * 1000 / (2 * np.pi / 60 * np.maximum(self.rpm, 1.0))
        return made


def effort_of(w: Window, mass_kg: float | None, road_load: tuple[float, float, float] | None) -> Effort | None:
    """Mass and road load: as given, else the vehicle's mass and a stated guess of the rest; None without a mass.

    Args:
        mass_kg: as driven.
        road_load: newtons, newtons per km/h and per km/h squared.

    Raises:
        BadInput: no car has that mass.
    """
    v = w.subject.vehicle
    mass = mass_kg if mass_kg is not None else None if v is None else v.mass_kg
    if mass is None:
        return None
    if not 100 <= mass <= 60_000:
        raise BadInput("a mass in kg between 100 and 60000 is needed", where="mass_kg")
    turning = ROTATING if v is None or v.rotating is None else 1 + v.rotating
    if road_load is not None:
        return Effort(mass, road_load, turning)
    own = None if v is None else v.road_load
    if own is not None:
        return Effort(mass, (own.f0_n, own.f1_n_kmh, own.f2_n_kmh2), turning)
    guess = (mass * GRAVITY_MS2 * ROLLING, 0.0, 0.5 * AIR_KG_M3 * DRAG_AREA_M2 / KMH_A_MS**2)
    return Effort(mass, guess, turning, given=False)


def speed_of(w: Window) -> tuple[Series, float | None] | None:
    """The speed that is differentiated, in km/h, and rpm per km/h where it comes from engine speed in a known gear."""
    rpm = w.series("engine_speed")
    gear = next((b.low for b in w.capture.keep if b.signal == "gear" and b.low is not None), None)
    ratios = None if w.subject.vehicle is None else w.subject.vehicle.ratios
    if gear is not None and ratios and int(gear) in ratios and len(rpm) >= 8:
        ratio = ratios[int(gear)]
        return Series(rpm.t_us, rpm.value / ratio), ratio
    road = w.series("road_speed")
    return (road, None) if len(road) >= 8 else None


def estimate(speed: Series, effort: Effort, ratio: float | None = None, rpm: Series | None = None) -> Estimate | None:
    """Power at the wheels: (mass * rotating * acceleration + road load) * speed.

    Speed is brought to an even grid of its own usual period and smoothed by a Savitzky-Golay filter (a parabola over
    half a second to each side), whose slope is the acceleration. The random part of the range comes from what the
    smoothing leaves over; mass, road load and gradient add a part that is the same in every pull on that road.

    Args:
        speed: km/h.
        effort: mass and road load.
        ratio: rpm per km/h, where speed comes from engine speed.
        rpm: engine speed, where it does not.

    Returns:
        None where the window is too short or has holes.
    """
    s = readable(speed)
    if len(s) < 8:
        return None
    t, kmh, step = even_grid(s)
    half = max(2, round(HALF_S / step))
    if len(kmh) < 2 * half + 1 or not np.isfinite(kmh).all():
        return None
    smooth = savgol(kmh, half, DEGREE)
    slope = savgol(kmh, half, DEGREE, derivative=1, step=step) / 3.6
    freedom = max(1.0, 1 - float(savgol_weights(half, DEGREE, 0)[half][half]))
    noise = math.sqrt(float(np.mean((kmh - smooth) ** 2)) / freedom) / 3.6
    weights = savgol_weights(half, DEGREE, 1)
    gain = np.full(len(kmh), math.sqrt(float(weights[half] @ weights[half])) / step)
    for k in range(half):
        gain[k] = gain[-1 - k] = math.sqrt(float(weights[k] @ weights[k])) / step
    mass = effort.mass_kg * effort.rotating
    drag = effort.road_load[0] + effort.road_load[1] * smooth + effort.road_load[2] * smooth**2
    v = smooth / 3.6
    random = 1.96 * mass * gain * noise * v / 1000
    system = np.sqrt((mass * slope * MASS_SHARE) ** 2 + (drag * ROAD_LOAD_SHARE) ** 2
                     + (effort.mass_kg * GRAVITY_MS2 * GRADE) ** 2) * v / 1000  # fmt: skip
    if ratio is not None:
        turning = smooth * ratio
    elif rpm is not None and len(readable(rpm)):
        r = readable(rpm)
        turning = np.interp(t, r.t_us, r.value)
    else:
        turning = np.full(len(t), np.nan)
    power = (mass * slope + drag) * v / 1000
    return Estimate(t, turning, smooth, power, np.hypot(random, system), random, ratio is not None)


def power_of(
    w: Window, mass_kg: float | None = None, road_load: tuple[float, float, float] | None = None
) -> Estimate | str:
    """The estimate for a window, or the key of the sentence why there is none."""
    effort = effort_of(w, mass_kg, road_load)
    if effort is None:
        return "no_mass"
    found = speed_of(w)
    if found is None:
        return "no_speed_for_power"
    made = estimate(found[0], effort, found[1], w.series("engine_speed"))
    return "too_short_for_power" if made is None else made


def power_json(
    w: Window, mass_kg: float | None = None, road_load: tuple[float, float, float] | None = None
) -> dict[str, Any]:
    """The estimate with its method, its range, and each standard's factor beside the uncorrected figure."""
    made = power_of(w, mass_kg, road_load)
    effort = effort_of(w, mass_kg, road_load)
    base: dict[str, Any] = {
        "drive": w.subject.id, "capture": w.asked.id, "number": w.attempt.number, "method": w.word("power.method"),
        "caveat": caveat(w), "inputs": [], "points": [], "peak": None, "corrections": [],
        "weather": weather_json(w.subject), "why": "",
    }  # fmt: skip
    if isinstance(made, str) or effort is None:
        return base | {"why": w.word(f"why.{made}")}
    at = int(np.argmax(made.power_kw))
    points = [
        {
            "t_s": round(int(made.t_us[i]) / US, 3), "rpm": _plain(made.rpm[i], 0), "kmh": _plain(made.kmh[i], 2),
            "power_kw": _plain(made.power_kw[i], 2), "low_kw": _plain(made.power_kw[i] - made.half_kw[i], 2),
            "high_kw": _plain(made.power_kw[i] + made.half_kw[i], 2), "torque_nm": _plain(made.torque_nm[i], 1),
        }
        for i in range(len(made.t_us))
    ]  # fmt: skip
    load = "; ".join(w.subject.words.number(f"{round(x, 4):g}") for x in effort.road_load)
    inputs = [
        {"name": w.word("power.mass"),
         "text": f"{effort.mass_kg:.0f} kg × {w.subject.words.number(f'{effort.rotating:g}')}"},
        {"name": w.word("power.road_load"), "text": w.word("power.load_given" if effort.given else "power.load_guess",
                                                           load=load)},
        {"name": w.word("power.speed"), "text": w.word("power.from_engine" if made.from_engine else "power.from_road")},
    ]  # fmt: skip
    peak = float(made.power_kw[at])
    return base | {
        "inputs": inputs, "points": points, "corrections": corrections_json(w, peak),
        "peak": points[at] | {"text": w.word("power.peak", power=f"{peak:.0f}", half=f"{made.half_kw[at]:.0f}",
                                             rpm=f"{made.rpm[at]:.0f}" if np.isfinite(made.rpm[at]) else "?")},
    }  # fmt: skip


def _plain(value: float, places: int) -> float | None:
    return round(float(value), places) if math.isfinite(value) else None


def caveat(w: Window) -> str:
    """What a correction must not be taken for; sharper where the engine is boosted."""
    v = w.subject.vehicle
    boosted = v is None or v.induction != "naturally aspirated"
    return w.word("power.caveat_boosted" if boosted else "power.caveat")


def weather_json(subject: Any) -> dict[str, Any]:
    """The air of a drive and where each value comes from."""
    a, words = subject.weather, subject.words
    sources = {k: words(f"review.weather.{k or 'none'}") for k in (a.pressure_from, a.temperature_from)}
    p = "" if a.pressure_kpa is None else f"{a.pressure_kpa:.1f} kPa"
    t = "" if a.temperature_c is None else f"{a.temperature_c:.0f} °C"
    rh = words("review.weather.no_humidity") if a.humidity_pct is None else f"{a.humidity_pct:.0f} %"
    text = words("review.weather.text", pressure=p, temperature=t, humidity=rh) if p and t else ""
    return {
        "pressure_kpa": a.pressure_kpa, "temperature_c": a.temperature_c, "humidity_pct": a.humidity_pct,
        "pressure_from": sources[a.pressure_from], "temperature_from": sources[a.temperature_from], "text": text,
        "why": "" if text else words("review.why.no_weather"),
    }  # fmt: skip


def corrections_json(w: Window, peak_kw: float | None) -> list[dict[str, Any]]:
    """Each standard's factor, its range where humidity is not known, and the corrected peak beside the uncorrected."""
    found = []
    for c in corrections(w.subject.weather):
        notes = [] if c.inside or not c.standard.startswith("j1349") else [w.word("power.outside")]
        notes += [w.word("power.memory")] if c.standard == "iso_1585" else []
        found.append({
            "standard": c.standard, "name": c.name, "factor": round(c.factor, 4), "low": round(c.low, 4),
            "high": round(c.high, 4), "valid": c.inside, "note": " ".join(notes),
            "uncorrected_kw": None if peak_kw is None else round(peak_kw, 1),
            "peak_kw": None if peak_kw is None else round(peak_kw * c.factor, 1),
        })  # fmt: skip
    return found
