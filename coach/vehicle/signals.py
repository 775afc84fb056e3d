"""Signals of one maker, defined in the vehicle file: identifiers of mode 22 with their bytes, unit and range.

A definition that cannot be decoded is refused with its line. Nothing here asks a car.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from itertools import product
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from coach.catalogue import default_catalogue, with_unit_names
from coach.errors import BadInput, VehicleError, short
from coach.formula import FIELDS, MOST_BYTES, Formula, parse_formula
from coach.signals import Catalogue, Identified, Quantity, Signal
from coach.toml_lines import key_lines, line_of
from coach.unit_factors import UNITS, convert
from coach.units import parse_quantity

ENGINE = "7E0"
"""Header of requests to the engine's control where the definition names none."""
SLOW_STALE_US = 10_000_000
"""How long a temperature or a voltage holds; everything else 2 s."""
MOST_SIGNALS = 64
TRIED = 9
"""Numbers of each field, spread over its span, with which a range is tried."""

# Requests to engine, gearbox and other controls on their usual addresses: others might not only read.
_HEADER = re.compile(r"7E[0-7]|(?:18)?DA[0-9A-F]{2}F1")
_SLOW: frozenset[Quantity] = frozenset(("temperature", "voltage"))
Short = Annotated[str, Field(min_length=1, max_length=40)]


class MakerSignal(BaseModel):
    """One signal of one maker, read by an identifier of mode 22."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    title: Short | None = Field(None, description="words for a screen")
    short: Annotated[str, Field(min_length=1, max_length=12)] | None = Field(None, description="for a narrow row")
    identifier: str = Field(description='two bytes in hex: "203C"')
    ecu: str = Field(ENGINE, description='header of requests to its control unit: "7E0", "18DA10F1"')
    length: int = Field(description="bytes of the answer behind the identifier")
    value: str | None = Field(None, description='formula of bytes: "(u16(0) - 64) * 0.25"')
    scale: float | None = Field(None, description="instead of value: the whole answer is one number, times this")
    offset: float | None = Field(None, description="and plus this")
    signed: bool = Field(False, description="the whole answer is one signed number")
    unit: str = Field(description='of the value: "deg", "%", "kPa abs", "degC"; "" is a plain number')
    min: str | float | int = Field(description='least plausible value: "-30 deg"; below it a sample is out of range')
    max: str | float | int = Field(description='most plausible value: "30 deg"')
    columns: list[Short] = Field([], max_length=10, description="other names under which tables carry it")


def resolve_signals(parts: Mapping[str, MakerSignal] | None, name: str, text: str) -> tuple[Signal, ...]:
    """The definitions as signals of the catalogue.

    Args:
        parts: by signal's name.
        name: of the file, for errors.
        text: of the file, for the lines of errors.

    Raises:
        VehicleError: one of them cannot be decoded, or takes the name of something else.
    """
    if not parts:
        return ()
    lines = key_lines(text)

    def at(*path: str) -> str:
        line = line_of(lines, ("signals", *path))
        return f"{name}, {'.'.join(('signals', *path))}" + (f", line {line}" if line else "")

    if len(parts) > MOST_SIGNALS:
        raise VehicleError(f"at most {MOST_SIGNALS} signals can be defined", where=at())
    base = default_catalogue()
    found = [_signal(key, part, base.signals.get(key), _At(at, key)) for key, part in parts.items()]
    for signal, other in product(found, found):
        a, b = signal.identified, other.identified
        if a and b and (a.identifier, a.header) == (b.identifier, b.header) and a.length != b.length:
            raise VehicleError(f"{signal.name} has the same identifier and another length", where=at(other.name))
    return tuple(found)


def signals_error(error: ValidationError, name: str, raw: bytes) -> VehicleError | None:
    """One sentence with its line for the first thing that is wrong under `signals`; None where it is elsewhere.

    Args:
        error: of the file's shape.
        name: of the file.
        raw: the file, which is TOML.
    """
    # A key that is misspelt is missing too: what is too much is said first.
    first = min(error.errors(include_url=False), key=lambda e: e["type"] != "extra_forbidden")
    path = tuple(str(key) for key in first["loc"])[:3]
    if path[:1] != ("signals",):
        return None
    line = line_of(key_lines(raw.decode("utf-8-sig")), path)
    where = f"{name}, {'.'.join(path)}" + (f", line {line}" if line else "")
    if first["type"] == "extra_forbidden":
        allowed = ", ".join(MakerSignal.model_fields)
        return VehicleError(f'"{short(path[-1], 60)}" is not a key here; allowed are {allowed}', where=where)
    if first["type"] == "missing":
        return VehicleError("this key is missing", where=where)
    if path[-1] in ("length", "scale", "offset"):
        return VehicleError("this is not a number that fits here", where=where)
    return VehicleError(f"this does not fit: {first['msg'][:1].lower()}{first['msg'][1:]}", where=where)


def catalogue_with(base: Catalogue, signals: tuple[Signal, ...]) -> Catalogue:
    """The catalogue that has a car's own signals too; `base` itself where there are none."""
    return base.with_signals(signals) if signals else base


def maker_signals(catalogue: Catalogue) -> Iterator[Signal]:
    """Those of a catalogue that are asked for by identifier."""
    return (signal for signal in catalogue if signal.identified is not None)


class _At:
    def __init__(self, at: Any, key: str) -> None:
        self._at, self._key = at, key

    def __call__(self, *path: str) -> str:
        where: str = self._at(self._key, *path)
        return where


def _signal(key: str, part: MakerSignal, known: Signal | None, at: _At) -> Signal:
    if not re.fullmatch(r"[a-z][a-z0-9_]{1,39}", key):
        raise VehicleError(
            f'"{key}" is not a signal\'s name: small letters, digits and underlines, such as knock_retard', where=at()
        )
    if known is not None and known.inputs:
        raise VehicleError(
            f"{key} is derived from other signals and cannot be asked for; choose another name", where=at()
        )
    identifier = _identifier(part.identifier, at("identifier"))
    header = part.ecu.upper()
    if not _HEADER.fullmatch(header):
        raise VehicleError(
            f'"{part.ecu}" is not the header of a control unit that may be asked: 7E0 to 7E7, or 18DA10F1 and the like',
            where=at("ecu"),
        )
    if not 1 <= part.length <= MOST_BYTES:
        raise VehicleError(f"an answer has 1 to {MOST_BYTES} bytes", where=at("length"))
    formula, where = _formula(part, at)
    quantity, unit = _unit(part.unit, known, at("unit"))
    factor, offset = _to_canonical(part.unit, quantity)
    model = Signal(key, key, key, unit, quantity, 0, 0)
    low, high = (_bound(v, model, at(k)) for k, v in (("min", part.min), ("max", part.max)))
    if not low < high:
        raise VehicleError("max must be above min", where=at("max"))
    tried = [v * factor + offset for v in _tried(formula) if not math.isnan(v)]
    if not tried or max(tried) < low or min(tried) > high:
        raise VehicleError("no answer gives a value between min and max: look at the formula and the unit", where=where)
    title = part.title or (known.title if known is not None else key.replace("_", " ").capitalize())
    short = part.short or (known.short if known is not None else _narrow(title))
    return with_unit_names(Signal(
        key, title, short, unit, quantity, low, high,
        columns=tuple(dict.fromkeys([*(c.lower() for c in part.columns), *(known.columns if known else ())])),
        identified=Identified(identifier, header, part.length, formula.text, factor, offset),
        reading=None if known is None else known.reading, readings=() if known is None else known.readings,
        stale_us=known.stale_us if known is not None else SLOW_STALE_US if quantity in _SLOW else 2_000_000,
        note=f"Of this car's maker: identifier {identifier:04X} of {header}, by the vehicle file.",
    ))  # fmt: skip


def _narrow(title: str) -> str:
    """As many of the title's words as fit a narrow row, or the beginning of the first."""
    words = title.split()
    while len(words) > 1 and len(" ".join(words)) > 12:
        words.pop()
    return " ".join(words)[:12]


def _identifier(text: str, where: str) -> int:
    if not re.fullmatch(r"[0-9A-Fa-f]{4}", text):
        raise VehicleError(f'"{text}" is not an identifier: four hex digits, such as "203C"', where=where)
    return int(text, 16)


def _formula(part: MakerSignal, at: _At) -> tuple[Formula, str]:
    """What is written under `value`, or what `scale` and `offset` stand for; and where that is."""
    if part.value is not None and (part.scale is not None or part.offset is not None or part.signed):
        raise VehicleError("give either value or scale, offset and signed, not both", where=at("value"))
    if part.value is None and part.scale is None:
        raise VehicleError("how its bytes become a value is missing: give value or scale", where=at())
    key = "scale" if part.value is None else "value"
    text = part.value
    if text is None:
        field = f"{'s' if part.signed else 'u'}{8 * part.length}"
        if field not in FIELDS:
            raise VehicleError(
                "scale takes answers of 1 to 4 bytes; write value with the bytes that count", where=at(key)
            )
        for name, number in (("scale", part.scale), ("offset", part.offset)):
            if number is not None and not abs(number) <= 1e9:
                raise VehicleError(f"{number} is not a number that can be used here", where=at(name))
        if not part.scale:
            raise VehicleError("a scale of 0 makes every answer the same", where=at(key))
        text = f"{field}(0) * {_plain(part.scale)} + {_plain(part.offset or 0.0)}"
    try:
        formula = parse_formula(text)
    except BadInput as error:
        raise VehicleError(error.message, where=at(key)) from None
    if formula.length > part.length:
        raise VehicleError(
            f"it reads byte {formula.length - 1}, and the answer has {part.length} (counted from 0)", where=at(key)
        )
    return formula, at(key)


def _plain(number: float) -> str:
    text = f"{abs(number):.12f}".rstrip("0").rstrip(".") or "0"
    return f"-{text}" if number < 0 else text


def _unit(text: str, known: Signal | None, where: str) -> tuple[Quantity, str]:
    """The family of units and its canonical one."""
    if known is not None:
        if text not in UNITS[known.quantity] and text != known.unit:
            units = ", ".join(UNITS[known.quantity]) or f'"{known.unit}"'
            raise VehicleError(f'"{text}" does not fit {known.name}, which is in one of {units}', where=where)
        return known.quantity, known.unit
    if text in ("", "lambda"):
        return "ratio", text
    fits: list[Quantity] = [q for q, units in UNITS.items() if text in units]
    if len(fits) > 1:
        raise VehicleError(f'"{text}" does not say over what: write "{text} abs" or "{text} gauge"', where=where)
    if not fits:
        known_units = ", ".join(dict.fromkeys(next(iter(units)) for units in UNITS.values() if units))
        raise VehicleError(f'"{text}" is not a unit; there are {known_units} and others, or "" for none', where=where)
    return fits[0], next(iter(UNITS[fits[0]]))


def _to_canonical(unit: str, quantity: Quantity) -> tuple[float, float]:
    units = UNITS[quantity]
    if not units or unit == next(iter(units)) or units.get(unit) == next(iter(units.values())):
        return 1.0, 0.0
    first = next(iter(units))
    return convert(1.0, unit, first, difference=True), convert(0.0, unit, first)


def _bound(value: str | float, signal: Signal, where: str) -> float:
    try:
        return parse_quantity(value, signal, where=where)
    except BadInput as error:
        raise VehicleError(error.message, where=where) from None


def _tried(formula: Formula) -> Iterator[float]:
    """Values of the formula, spread over what its fields can hold; of many fields their ends only."""
    count = TRIED if len(formula.fields) <= 3 else 2
    spans = [
        sorted({f.low + (f.high - f.low) * n // (count - 1) for n in range(count)} | ({0, 1} if count > 2 else set()))
        for f in formula.fields[:8]
    ]
    rest = [0] * len(formula.fields[8:])
    return (formula.of_numbers([*numbers, *rest]) for numbers in product(*spans))
