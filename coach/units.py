"""Quantities as text with a unit, read strictly and converted once, at the edge.

One pattern takes one finite number and one unit of the signal's own list; how values are shown is in `shown.py`.
"""

from __future__ import annotations

import math
import re
from typing import get_args

from coach.errors import UnitError
from coach.shown import IMPERIAL, METRIC, Shown, Units, show, show_against, show_band, show_difference
from coach.signals import Quantity, Signal
from coach.unit_factors import KIND_WORDS, KNOWN, RATE, SECOND_SPELLINGS, UNITS, convert

__all__ = [
    "IMPERIAL", "MAX_DURATION_US", "MAX_RATE_HZ", "METRIC", "Shown", "Units", "canonical_unit", "convert",
    "parse_duration_us", "parse_quantity", "parse_rate_hz", "show", "show_against", "show_band", "show_difference",
    "units_of", "written_in",
]  # fmt: skip

MAX_DURATION_US = 7 * 24 * 3600 * 1_000_000
"""The longest time a recipe may ask for: a week."""
MAX_RATE_HZ = 1_000.0
"""The highest rate a recipe may ask for."""

_MAX_TEXT = 60
_NUMBER = re.compile(r"([+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?) ?(.*)", re.ASCII | re.DOTALL)


def canonical_unit(quantity: Quantity) -> str:
    """The unit in which values of `quantity` are kept; empty where there is none."""
    return next(iter(UNITS[quantity]), "")


def units_of(what: Signal | Quantity, *, difference: bool = False) -> tuple[str, ...]:
    """The units in which a value of a signal or quantity may be written; `""` is a bare number."""
    quantity = what.quantity if isinstance(what, Signal) else what
    units = tuple(UNITS[quantity])
    if quantity == "pressure_absolute" and difference:
        return (*units, "psi")
    if not units:
        own = what.unit if isinstance(what, Signal) else ""
        return ("", own) if own else ("",)
    return units


def parse_quantity(
    text: object, what: Signal | Quantity, *, difference: bool = False, where: str | None = None
) -> float:
    """`"72 km/h"` as a number in the signal's canonical unit.

    Args:
        text: one number and one unit; a bare number only where the quantity has no unit (gear, count, lambda).
        what: the signal, or the family of quantities.
        difference: the text is a distance between two values (`wander`, `dip`): `9 degF` is 5 degC.
        where: what the error sentence is about.

    Raises:
        UnitError: not one finite number with a unit that fits.
    """
    quantity = what.quantity if isinstance(what, Signal) else what
    units = units_of(what, difference=difference)
    if quantity == "temperature_difference":
        units, difference = (*units, "degC", "°C", "degF", "°F"), True
    if isinstance(what, Signal) and isinstance(text, str):
        for value, word in what.states:
            if text.strip().lower() == word:
                return float(value)
    number, unit = _split(text, units, quantity, where)
    if unit not in units:
        raise UnitError(_wrong_unit(text, unit, units, quantity), where=where)
    return convert(number, unit, units[0], difference=difference) if unit in KNOWN else number


def parse_duration_us(text: object, *, where: str | None = None) -> int:
    """`"90 s"`, `"3 min"`, `"1 h"` or `"500 ms"` as whole microseconds, not negative.

    Raises:
        UnitError: not such a time, or longer than a week.
    """
    us = round(parse_quantity(text, "time", difference=True, where=where) * 1_000_000)
    if us < 0:
        raise UnitError(f"{_quoted(text)} is negative; a duration is not", where=where)
    if us > MAX_DURATION_US:
        raise UnitError(f"{_quoted(text)} is longer than a week", where=where)
    return us


def parse_rate_hz(text: object, *, where: str | None = None) -> float:
    """`"8 Hz"` or `"8 1/s"` as samples a second, above 0.

    Raises:
        UnitError: not such a rate, or faster than 1000 Hz.
    """
    number, unit = _split(text, tuple(RATE), None, where)
    if unit not in RATE:
        raise UnitError(f'{_quoted(text)} is not a rate: write it in Hz, as in "8 Hz"', where=where)
    if not 0 < number <= MAX_RATE_HZ:
        raise UnitError(f"{_quoted(text)} is not a rate above 0 and up to {MAX_RATE_HZ:g} Hz", where=where)
    return number


def _quoted(text: object) -> str:
    shown = text if isinstance(text, str) else repr(text)
    shown = "".join(c if c.isprintable() else "?" for c in shown)
    return f'"{shown[:40]}…"' if len(shown) > 40 else f'"{shown}"'


def _split(text: object, units: tuple[str, ...], quantity: Quantity | None, where: str | None) -> tuple[float, str]:
    """Number and unit of a text, or of a bare number where the quantity takes one."""
    asked = KIND_WORDS[quantity] if quantity is not None else "a rate"
    if isinstance(text, int | float) and not isinstance(text, bool):
        # A huge integer has no float; what is asked for is never that large.
        if abs(text) > 1e15 or not math.isfinite(text):
            raise UnitError(f"{_quoted(text)} is not a finite number", where=where)
        if "" not in units:
            raise UnitError(f"{_quoted(text)} has no unit: write {_example(text, units)}", where=where)
        return float(text), ""
    if not isinstance(text, str):
        raise UnitError(f"{_quoted(text)} is not {asked}: write {_example(5, units)}", where=where)
    match = _NUMBER.fullmatch(text.strip(" ")) if len(text) <= _MAX_TEXT else None
    if match is None:
        raise UnitError(f"{_quoted(text)} is not one number and one unit: write {_example(5, units)}", where=where)
    unit = match[2].strip(" ")
    if re.match(r"[0-9.,:]", unit) and unit not in units:
        hint = "use a point for decimals" if "," in unit else f"write {_example(5, units)}"
        raise UnitError(f"{_quoted(text)} is not one number and one unit: {hint}", where=where)
    if not unit and "" not in units:
        raise UnitError(f"{_quoted(text)} has no unit: write {_example(match[1], units)}", where=where)
    return float(match[1]), unit


def _example(number: object, units: tuple[str, ...]) -> str:
    shown = f"{number:g}" if isinstance(number, float) else str(number)
    return f"{shown}" if units[0] == "" else f'"{shown} {units[0]}"'


def _listed(units: tuple[str, ...]) -> str:
    names = [u for u in units if u and u not in SECOND_SPELLINGS]
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]


def written_in(what: Signal | Quantity) -> str:
    """The units of a signal or quantity in words: `kPa, bar or psi abs`; what has none is a bare number."""
    units = units_of(what)
    return _listed(units) if any(units) else "a bare number"


def _wrong_unit(text: object, unit: str, units: tuple[str, ...], quantity: Quantity) -> str:
    asked = KIND_WORDS[quantity]
    if unit == "psi" and quantity == "pressure_absolute":
        return f"{_quoted(text)} does not say whether it is absolute, and this is: write kPa, bar or psi abs"
    others = [q for q in get_args(Quantity) if unit in UNITS[q]]
    is_what = f"is {KIND_WORDS[others[0]]} where {asked} was asked for" if others else f"has no unit of {asked}"
    if len(others) > 1:
        is_what = f"is a pressure where {asked} was asked for"
    if any(units):
        return f"{_quoted(text)} {is_what}: write it in {_listed(units)}"
    return f"{_quoted(text)} {is_what}: write a bare number"
