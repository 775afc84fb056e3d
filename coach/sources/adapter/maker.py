"""Signals of one maker in a car that is not there: values into the bytes of an identifier, and made-up values.

What the simulator knows nothing of is invented from what it does know; invented values are for trying things out only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import partial

from coach.formula import Field, Formula, parse_formula
from coach.signals import Identified, Signal
from coach.sources.simulator.car import State

_SCAN = 256
"""A field with no more numbers is searched one by one, a larger one by halving."""


def encode_identified(parts: Iterable[tuple[Identified, float]]) -> bytes:
    """The bytes of one identifier's answer, which may carry several signals.

    The formula is turned round field by field, the one that moves the value most first: exact to its step where the
    formula is a sum of its fields, near it where it is not.

    Args:
        parts: readings of one identifier, each with its value in the catalogue's unit, not NaN.
    """
    known = list(parts)
    data = bytearray(known[0][0].length)
    for reading, value in known:
        formula = parse_formula(reading.formula)
        for field, number in zip(
            formula.fields, _numbers(formula, (value - reading.offset) / reading.factor), strict=True
        ):
            field.into(data, number)
    return bytes(data)


def _numbers(formula: Formula, target: float) -> list[int]:
    """A number for each field with which the formula comes nearest to `target`."""
    fields = formula.fields
    base = [0] * len(fields)
    if math.isnan(formula.of_numbers(base)):
        base = [1] * len(fields)  # something is divided by a field

    def with_one(index: int, number: int) -> float:
        return formula.of_numbers([*base[:index], number, *base[index + 1 :]])

    def reach(index: int) -> float:
        ends = with_one(index, fields[index].low), with_one(index, fields[index].high)
        return abs(ends[1] - ends[0]) if not any(map(math.isnan, ends)) else math.inf

    order = sorted(range(len(fields)), key=reach, reverse=True)
    for place, index in enumerate(order):
        last = place == len(order) - 1
        base[index] = _best(fields[index], partial(with_one, index), target, under=not last)
    return base


def _best(field: Field, value: Callable[[int], float], target: float, *, under: bool) -> int:
    """The number of `field` whose value is nearest to `target`; `under`: nearest of those not beyond it, if any."""

    def off(number: int) -> float:
        away = value(number) - target
        if math.isnan(away):
            return math.inf
        return -away if under and away <= 0 else abs(away) + (1e300 if under else 0.0)

    if field.high - field.low < _SCAN:
        return min(range(field.low, field.high + 1), key=off)
    low, high = field.low, field.high
    rising = value(high) >= value(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (value(middle) <= target) == rising:
            low = middle
        else:
            high = middle
    return min((low, high), key=off)


def invented(signal: Signal, state: State) -> float:
    """A plausible value of a maker's signal for the simulated car, in the signal's unit, inside its range.

    Knock retard comes with load near full boost, a wastegate opens with boost, temperatures follow the intake air; all
    else swings slowly about the middle of its range.
    """
    span = signal.high - signal.low
    name, load = signal.name, max(0.0, min(1.0, (state.map_kpa - 30) / 150))
    if "knock" in name:
        # Retard is a negative angle to some and a positive one to others: away from 0 where there is more.
        most = signal.low if -signal.low >= signal.high else signal.high
        value = 0.5 * most * max(0.0, load - 0.8) / 0.2
    elif "wastegate" in name or "duty" in name:
        value = signal.low + span * max(0.05, min(0.9, state.boost_kpa / 100))
    elif signal.quantity == "temperature":
        value = state.intake_c + 18 * load
    else:
        value = signal.low + span * (0.5 + 0.2 * math.sin(state.run_s / 5))
    return max(signal.low, min(signal.high, value))
