"""The units that texts and screens may use, and the factors between them, which pint supplies.

pint is imported when the first factor is needed, and only ever sees the spellings of this file.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coach.errors import UnitError
from coach.signals import Quantity

# Our spelling: what pint calls it. The first of each list is the canonical unit.
_PRESSURE = {"kPa": "kPa", "bar": "bar", "mbar": "mbar", "hPa": "hPa", "MPa": "MPa"}
UNITS: dict[Quantity, dict[str, str]] = {
    "speed": {"km/h": "km/hour", "mph": "mile/hour", "m/s": "m/s"},
    "engine_speed": {"rpm": "rpm", "1/min": "rpm"},
    "pressure_absolute": {**_PRESSURE, "inHg": "inHg",
                          "psi abs": "psi", "psia": "psi", "kPa abs": "kPa", "bar abs": "bar"},
    "pressure_gauge": {**_PRESSURE, "psi": "psi", "psi gauge": "psi", "kPa gauge": "kPa", "bar gauge": "bar"},
    "temperature": {"degC": "degC", "°C": "degC", "degF": "degF", "°F": "degF", "K": "kelvin"},
    "ratio": {},
    "percent": {"%": "percent"},
    "angle": {"deg": "degree", "°": "degree"},
    "mass_flow": {"g/s": "g/s", "kg/h": "kg/hour", "lb/min": "lb/min"},
    "voltage": {"V": "V", "mV": "mV"},
    "current": {"A": "A", "mA": "mA"},
    "time": {"s": "s", "min": "min", "h": "hour", "ms": "ms"},
    "distance": {"km": "km", "mi": "mile", "m": "m"},
    "torque": {"N.m": "N*m", "Nm": "N*m", "lbf ft": "lbf*ft"},
    "volume_flow": {"L/h": "L/hour", "L/min": "L/min"},
    "count": {},
    "gear": {},
    "state": {},
}  # fmt: skip
RATE: dict[str, str] = {"Hz": "Hz", "1/s": "1/s"}
SECOND_SPELLINGS = frozenset(
    ("1/min", "mbar", "hPa", "kPa abs", "bar abs", "psia", "psi gauge", "kPa gauge", "bar gauge", "°C", "°F", "°", "Nm",
     "K")
)  # fmt: skip
"""Taken, but not offered in a sentence."""
KNOWN: dict[str, str] = {ours: theirs for table in (*UNITS.values(), RATE) for ours, theirs in table.items()}
_DELTA = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "kelvin"}

KIND_WORDS: dict[Quantity, str] = {
    "speed": "a speed", "engine_speed": "an engine speed", "pressure_absolute": "an absolute pressure",
    "pressure_gauge": "a gauge pressure", "temperature": "a temperature", "ratio": "a ratio", "percent": "a percentage",
    "angle": "an angle", "mass_flow": "a mass flow", "voltage": "a voltage", "current": "a current", "time": "a time",
    "distance": "a distance", "torque": "a torque", "volume_flow": "a volume flow", "count": "a count",
    "gear": "a gear", "state": "a status",
}  # fmt: skip


class _Scale(NamedTuple):
    factor: float
    offset: float


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@lru_cache(maxsize=512)
def _scale(unit: str, to: str, difference: bool) -> _Scale:
    """`to = unit * factor + offset`; the offset of a difference is 0. Both are spellings of this file."""
    source, target = KNOWN[unit], KNOWN[to]
    if source == target:
        return _Scale(1.0, 0.0)
    quantity = _registry().Quantity
    delta = quantity(1.0, _DELTA.get(source, source)).to(_DELTA.get(target, target)).magnitude
    if difference or source not in _DELTA:
        return _Scale(float(delta), 0.0)
    return _Scale(float(delta), float(quantity(0.0, source).to(target).magnitude))


def convert(value: float, unit: str, to: str, *, difference: bool = False) -> float:
    """`value` from `unit` to `to`, both units that this file knows; rounded to 1e-9.

    Raises:
        UnitError: one of the units is not known here.
    """
    if unit == to:
        return value
    for name in (unit, to):
        if name not in KNOWN:
            raise UnitError(f"the unit {name!r} is not known")
    factor, offset = _scale(unit, to, difference)
    return round(value * factor + offset, 9)


def convert_array(values: NDArray[np.float64], unit: str, to: str) -> NDArray[np.float64]:
    """The array form of `convert`: float64 of any shape in, the same shape out, number for number the same.

    Raises:
        UnitError: one of the units is not known here.
    """
    if unit == to:
        return values
    for name in (unit, to):
        if name not in KNOWN:
            raise UnitError(f"the unit {name!r} is not known")
    if KNOWN[unit] == KNOWN[to]:
        return values
    factor, offset = _scale(unit, to, difference=False)
    return np.asarray(np.round(values * factor + offset, 9), dtype=np.float64)
