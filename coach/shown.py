"""How a value is shown to people: the driver's units, few digits, and bounds that never admit what fails.

Canonical values go in, numbers for a screen come out; nothing shown is ever judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from coach.unit_factors import convert


@dataclass(frozen=True, slots=True)
class Units:
    """What a person reads speeds, pressures, temperatures and distances in."""

    speed: Literal["km/h", "mph"] = "km/h"
    pressure: Literal["kPa", "bar", "psi"] = "kPa"
    temperature: Literal["degC", "degF"] = "degC"

    def of(self, unit: str) -> str:
        """The unit shown for a canonical one; itself where there is no choice."""
        if unit == "km/h":
            return self.speed
        if unit == "kPa":
            return self.pressure
        if unit == "degC":
            return self.temperature
        if unit == "km" and self.speed == "mph":
            return "mi"
        return unit


METRIC = Units()
"""km/h, kPa, degrees Celsius."""
IMPERIAL = Units("mph", "psi", "degF")
"""mph, psi, degrees Fahrenheit."""
_SYSTEMS = {"metric": METRIC, "imperial": IMPERIAL}

_DECIMALS = {"bar": 2, "psi": 1, "lambda": 2, "AFR": 1, "V": 1, "deg": 1, "g/s": 1, "L/h": 1, "s": 0}
_WRITTEN = {"degC": "°C", "degF": "°F", "deg": "°", "lambda": "", "AFR": ":1", "N.m": "Nm"}


@dataclass(frozen=True, slots=True)
class Shown:
    """A number for a screen: `value` as shown, its `text`, and the `unit` as written beside it (may be empty)."""

    value: float
    text: str
    unit: str

    def __str__(self) -> str:
        gap = "" if self.unit in ("", "°", ":1") else " "
        return f"{self.text}{gap}{self.unit}"


def units_for(system: str | Units) -> Units:
    """`"metric"`, `"imperial"` or a choice of one's own. Raises ValueError for another word."""
    if isinstance(system, Units):
        return system
    if system not in _SYSTEMS:
        raise ValueError(f"{system!r} is not metric or imperial")
    return _SYSTEMS[system]


def units_named(text: str) -> Units | None:
    """The units in a text like `mph,psi,degF` (speed, pressure, temperature), or None where it says nothing of use."""
    known = {"km/h": "speed", "mph": "speed", "kPa": "pressure", "bar": "pressure", "psi": "pressure"}
    known |= {"degC": "temperature", "degF": "temperature"}
    named = {known[part]: part for part in text.split(",") if part in known}
    return Units(**named) if len(named) == 3 else None  # type: ignore[arg-type]  # only known units came through


def unit_written(unit: str, system: str | Units = METRIC) -> str:
    """The unit as it stands on a screen for a canonical one: `degC` is `°C`, or `°F` in imperial."""
    unit = units_for(system).of(unit)
    return _WRITTEN.get(unit, unit)


def show(value: float | None, unit: str, system: str | Units = METRIC, *, decimals: int | None = None) -> Shown:
    """A value in the driver's units.

    Args:
        value: in the canonical `unit`; None or NaN shows a dash.
        unit: the signal's unit.
        system: `"metric"`, `"imperial"` or a `Units`.
        decimals: digits after the point; by default as many as the unit is read with.
    """
    target = units_for(system).of(unit)
    written = _WRITTEN.get(target, target)
    if value is None or not math.isfinite(value):
        return Shown(math.nan, "–", written)
    places = _places(target, decimals)
    return _number(convert(value, unit, target), places, written)


def show_difference(value: float, unit: str, system: str | Units = METRIC, *, decimals: int | None = None) -> Shown:
    """A distance between two values in the driver's units: 5 degC is 9 °F."""
    target = units_for(system).of(unit)
    shown = convert(value, unit, target, difference=True)
    return _number(shown, _places(target, decimals), _WRITTEN.get(target, target))


def show_band(
    low: float | None, high: float | None, unit: str, system: str | Units = METRIC, *, step: float | None = None
) -> tuple[Shown | None, Shown | None]:
    """Bounds as the readings that pass, rounded into the band: 45 to 55 mph is 73 to 88 km/h.

    Args:
        low, high: bounds in the canonical `unit`, None where there is none.
        unit: the signal's unit.
        system: the driver's units.
        step: resolution of the signal in `unit`; bounds move in to the readings it can take.

    Returns:
        The two bounds. Where the band is narrower than the digits, more digits are shown.
    """
    target = units_for(system).of(unit)
    written = _WRITTEN.get(target, target)
    inner_low, inner_high = _readings(low, high, step)
    ends = [None if x is None else convert(x, unit, target) for x in (inner_low, inner_high)]
    first = _places(target, None)
    for places in range(first, first + 7):
        low_shown, high_shown = _inward(ends[0], places, math.ceil), _inward(ends[1], places, math.floor)
        if low_shown is None or high_shown is None or low_shown <= high_shown:
            break
    else:  # an empty band, or one narrower than anything that can be read: as it stands
        low_shown, high_shown = ends
        places = first + 6
    low_end, high_end = (None if x is None else _number(x, places, written) for x in (low_shown, high_shown))
    return low_end, high_end


def show_against(
    value: float | None, low: float | None, high: float | None, unit: str, system: str | Units = METRIC, *,
    step: float | None = None,
) -> Shown:  # fmt: skip
    """A value beside its band as `show_band` shows it: inside on screen exactly if it passes."""
    plain = show(value, unit, system)
    if value is None or math.isnan(plain.value):
        return plain
    low_shown, high_shown = show_band(low, high, unit, system, step=step)
    places = max((_decimals_of(b.text) for b in (low_shown, high_shown) if b is not None), default=0)
    places = max(places, _decimals_of(plain.text))
    shown = show(value, unit, system, decimals=places).value
    unit_of_last = 10.0**-places
    if low_shown is not None:
        if low is not None and value < low:
            shown = min(shown, low_shown.value - unit_of_last)
        else:
            shown = max(shown, low_shown.value)
    if high_shown is not None:
        if high is not None and value > high:
            shown = max(shown, high_shown.value + unit_of_last)
        elif low is None or value >= low:
            shown = min(shown, high_shown.value)
    return _number(shown, places, plain.unit)


def _places(unit: str, decimals: int | None) -> int:
    return _DECIMALS.get(unit, 0) if decimals is None else decimals


def _decimals_of(text: str) -> int:
    return len(text.partition(".")[2])


def _number(value: float, places: int, written: str) -> Shown:
    rounded = round(value, places) + 0.0  # no "-0"
    return Shown(rounded, f"{rounded:.{places}f}", written)


def _readings(low: float | None, high: float | None, step: float | None) -> tuple[float | None, float | None]:
    """The lowest and highest reading inside, where the signal moves in whole steps."""
    if step is None or step < 1 or step != round(step):
        return low, high
    inner_low = None if low is None else math.ceil(low / step) * step
    inner_high = None if high is None else math.floor(high / step) * step
    if inner_low is not None and inner_high is not None and inner_low > inner_high:
        return low, high
    return inner_low, inner_high


def _inward(value: float | None, places: int, rounding: Callable[[float], int]) -> float | None:
    if value is None:
        return None
    scaled = value * 10.0**places
    # A bound that is a whole number but for the last bits of a conversion is that number.
    nearest = round(scaled)
    whole = nearest if abs(scaled - nearest) < 1e-6 else rounding(scaled)
    return round(whole / 10.0**places, places)
