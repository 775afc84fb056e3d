"""The default catalogue: every signal the project knows by name. It is handed on as an argument.

Formulas of mode-01 answers agree with tests/data/mode01_decoding.csv where that has the parameter; notes say
`from memory` where it has not. Plausible ranges are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from coach.catalogue_air import AIR_AND_FUEL
from coach.catalogue_motion import MOTION
from coach.catalogue_state import STATE
from coach.signals import Catalogue, Reading, Signal

# How a canonical unit is written in a column's name: `road_speed_kmh`.
_SLUGS = {
    "rpm": ("rpm",),
    "km/h": ("kmh", "kph", "km h"),
    "kPa": ("kpa",),
    "degC": ("degc", "c", "deg c"),
    "%": ("pct", "percent"),
    "deg": ("deg",),
    "g/s": ("gs", "g s"),
    "V": ("v", "volts"),
    "s": ("s",),
    "km": ("km",),
    "N.m": ("nm",),
    "L/h": ("lh", "l h"),
}


def with_unit_names(signal: Signal) -> Signal:
    """The signal with its own name and unit among the names under which tables carry it: `road_speed_kmh`."""
    slugs = _SLUGS.get(signal.unit, ())
    return replace(signal, columns=signal.columns + tuple(f"{signal.name}_{slug}" for slug in slugs))


@cache
def default_catalogue() -> Catalogue:
    """All signals, by name."""
    return Catalogue.of(with_unit_names(s) for s in (*MOTION, *AIR_AND_FUEL, *STATE))


def wide_manifold_pressure() -> Signal:
    """Manifold pressure of a car that answers it in two bytes: the same signal with a higher end of encoding.

    Use as `catalogue.with_signals([wide_manifold_pressure()])`. Parameter 87, from memory: 5 bytes, the first says
    what is supported, kPa = (256*B + C) / 32.
    """
    reading = Reading(pid=0x87, length=5, first=1, width=2, scale=1 / 32)
    usual = default_catalogue()["manifold_pressure"]
    return replace(
        usual,
        high=800.0,
        ceiling=reading.highest,
        step=reading.scale,
        reading=reading,
        readings=tuple(r for r in (usual.reading, *usual.readings) if r is not None),
        note="Absolute pressure behind the throttle, from a two-byte answer (formula from memory).",
    )
