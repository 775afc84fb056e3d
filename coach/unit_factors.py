"""The units that texts and screens may use, and the factors between them, which pint supplies.

The usual ones stand here as pint gave them, to the last bit: a server reads and shows them without loading pint. It is
imported when another one is needed, and only ever sees the spellings of this file.
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
    "pressure_gauge": {**_PRESSURE, "psi": "psi", "psi gauge": "psi", "psig": "psi",
                       "kPa gauge": "kPa", "bar gauge": "bar"},
    "temperature": {"degC": "degC", "°C": "degC", "degF": "degF", "°F": "degF", "K": "kelvin"},
    "temperature_difference": {"K": "kelvin"},
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
    ("1/min", "mbar", "hPa", "kPa abs", "bar abs", "psia", "psi gauge", "psig", "kPa gauge", "bar gauge", "°C", "°F",
     "°", "Nm", "K")
)  # fmt: skip
"""Taken, but not offered in a sentence."""
KNOWN: dict[str, str] = {ours: theirs for table in (*UNITS.values(), RATE) for ours, theirs in table.items()}
_KEPT: dict[tuple[str, str], tuple[float, float]] = {
    ("L/min", "L/hour"): (60.0, 0.0),
    ("MPa", "kPa"): (1000.0, 0.0),
    ("bar", "kPa"): (100.0, 0.0),
    ("degC", "degF"): (1.7999999999999998, 31.999999999999936),
    ("degF", "degC"): (0.5555555555555556, -17.777777777777743),
    ("hPa", "kPa"): (0.1, 0.0),
    ("hour", "s"): (3600.0, 0.0),
    ("inHg", "kPa"): (3.386388640341, 0.0),
    ("kPa", "bar"): (0.01, 0.0),
    ("kPa", "psi"): (0.1450377377302092, 0.0),
    ("kelvin", "degC"): (1.0, -273.15),
    ("kg/hour", "g/s"): (0.2777777777777778, 0.0),
    ("km", "mile"): (0.621371192237334, 0.0),
    ("km/hour", "mile/hour"): (0.621371192237334, 0.0),
    ("lb/min", "g/s"): (7.559872833333334, 0.0),
    ("lbf*ft", "N*m"): (1.3558179483314006, 0.0),
    ("m", "km"): (0.001, 0.0),
    ("m/s", "km/hour"): (3.5999999999999996, 0.0),
    ("mA", "A"): (0.001, 0.0),
    ("mV", "V"): (0.001, 0.0),
    ("mbar", "kPa"): (0.1, 0.0),
    ("mile", "km"): (1.609344, 0.0),
    ("mile/hour", "km/hour"): (1.609344, 0.0),
    ("min", "s"): (60.0, 0.0),
    ("ms", "s"): (0.001, 0.0),
    ("psi", "kPa"): (6.894757293168364, 0.0),
}
"""Factor and offset by pint's spellings, as pint 0.24.4 gave them; a test holds them to it."""
_DELTA = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "kelvin"}

KIND_WORDS: dict[Quantity, str] = {
    "speed": "a speed", "engine_speed": "an engine speed", "pressure_absolute": "an absolute pressure",
    "pressure_gauge": "a gauge pressure", "temperature": "a temperature", "ratio": "a ratio", "percent": "a percentage",
    "angle": "an angle", "mass_flow": "a mass flow", "voltage": "a voltage", "current": "a current", "time": "a time",
    "distance": "a distance", "torque": "a torque", "volume_flow": "a volume flow", "count": "a count",
    "gear": "a gear", "state": "a status", "temperature_difference": "a difference of temperatures",
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
    kept = _KEPT.get((source, target))
    if kept is not None:
        return _Scale(kept[0], 0.0 if difference else kept[1])
    return _asked(source, target, difference=difference)


def _asked(source: str, target: str, *, difference: bool) -> _Scale:
    """The same, asked of pint, in its own spellings."""
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
    """The array form of `convert`: `values` of any shape in, the same shape out, number for number the same.

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
