"""The air of a drive, and the factors by which published standards correct an engine's power to standard air.

A factor is shown beside the uncorrected figure, never in its place: a boosted engine compensates part of the weather.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

RH_UNKNOWN_PCT = 50.0


def saturation_kpa(temperature_c: float) -> float:
    """Pressure of saturated water vapour over water: 611.2 exp(17.62 t / (243.12 + t)) Pa (WMO-No. 8)."""
    return 0.6112 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


def dry_pressure_kpa(pressure_kpa: float, temperature_c: float, humidity_pct: float) -> float:
    """Barometric pressure without its share of water vapour."""
    return pressure_kpa - humidity_pct / 100 * saturation_kpa(temperature_c)


@dataclass(frozen=True, slots=True)
class Weather:
    """The air around the car; None is not known. `source` says where each value comes from, in a word: car, typed."""

    pressure_kpa: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    pressure_from: str = ""
    temperature_from: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """A standard's factor, and its range where humidity is not known."""

    standard: str
    name: str
    factor: float
    low: float
    high: float
    inside: bool


def j1349_1990(pressure_kpa: float, temperature_c: float, humidity_pct: float) -> float:
    """SAE J1349 of June 1990, spark ignition: 1.180 (99 / Pd) sqrt((T + 273) / 298) - 0.18."""
    dry = dry_pressure_kpa(pressure_kpa, temperature_c, humidity_pct)
    return 1.180 * (99 / dry) * math.sqrt((temperature_c + 273) / 298) - 0.18


def j1349_2004(pressure_kpa: float, temperature_c: float, humidity_pct: float) -> float:
    """SAE J1349 of August 2004, at 85 % mechanical efficiency: 1.176 (99 / Pd) sqrt((T + 273) / 298) - 0.176."""
    dry = dry_pressure_kpa(pressure_kpa, temperature_c, humidity_pct)
    return 1.176 * (99 / dry) * math.sqrt((temperature_c + 273) / 298) - 0.176


def iso_1585(pressure_kpa: float, temperature_c: float, humidity_pct: float) -> float:
    """ISO 1585 and UN R85, spark ignition: (99 / ps)^1.2 ((T + 273) / 298)^0.6 (from memory)."""
    dry = dry_pressure_kpa(pressure_kpa, temperature_c, humidity_pct)
    return float((99 / dry) ** 1.2 * ((temperature_c + 273) / 298) ** 0.6)


def din_70020(pressure_kpa: float, temperature_c: float, _humidity_pct: float) -> float:
    """DIN 70020: (1013 / p) sqrt((273 + T) / 293), p in mbar and whole: humidity does not count."""
    return 1013 / (10 * pressure_kpa) * math.sqrt((273 + temperature_c) / 293)


STANDARDS: dict[str, tuple[str, Callable[[float, float, float], float]]] = {
    "j1349_2004": ("SAE J1349, 2004", j1349_2004),
    "j1349_1990": ("SAE J1349, 1990", j1349_1990),
    "iso_1585": ("ISO 1585", iso_1585),
    "din_70020": ("DIN 70020", din_70020),
}


def inside_j1349(pressure_kpa: float, temperature_c: float) -> bool:
    """Whether the air lies where SAE J1349 (2004) says that its correction holds: 15 to 35 degC, 90 to 105 kPa."""
    return 15 <= temperature_c <= 35 and 90 <= pressure_kpa <= 105


def corrections(weather: Weather) -> list[Correction]:
    """All standards' factors; empty where pressure or temperature is not known.

    Humidity that nobody gave is taken as 50 %, and the range from dry to saturated air is given with it.
    """
    p, t, rh = weather.pressure_kpa, weather.temperature_c, weather.humidity_pct
    if p is None or t is None:
        return []
    found = []
    for key, (name, work) in STANDARDS.items():
        middle = work(p, t, RH_UNKNOWN_PCT if rh is None else rh)
        ends = [work(p, t, 0.0), work(p, t, 100.0)] if rh is None else [middle]
        found.append(Correction(key, name, middle, min(ends), max(ends), inside_j1349(p, t)))
    return found
