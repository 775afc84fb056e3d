"""Derived signals that are a sum of their inputs at one moment: gauge boost, lambda, air-fuel ratio.

Step form and array form do the same operations in the same order, so that they agree to the last bit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coach.core.derive import (
    AT_CEILING,
    AT_FLOOR,
    OK,
    OUT_OF_RANGE,
    UNREADABLE,
    Derivation,
    Derived,
    Feed,
    Held,
    Stepper,
)
from coach.core.merge import merge_inputs

STOICHIOMETRIC = 14.7
"""Mass of air over mass of fuel to which instruments scale lambda for petrol (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Pointwise:
    """`(factors[0] * inputs[0] + factors[1] * inputs[1] + ...) / divisor`, whenever an input has a sample.

    An input at the end of its encoding leaves the result at least or at most what it says, whichever way the result
    goes with it; both at once, or an input that cannot be read, leaves it unreadable.

    Attributes:
        name: the derived signal.
        inputs: measured signals.
        factors: one for each input, none of them 0.
        divisor: positive.
    """

    name: str
    inputs: tuple[str, ...]
    factors: tuple[float, ...]
    divisor: float = 1.0

    def stepper(self) -> Stepper:
        """The step form; it has no state."""
        return self

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived:
        """The sample at an instant, from the last sample of each input."""
        at_least = at_most = False
        total = 0.0
        for factor, sample in zip(self.factors, held, strict=True):
            if sample.flag in (UNREADABLE, OUT_OF_RANGE):
                return Derived(math.nan, UNREADABLE)
            at_least |= sample.flag == (AT_CEILING if factor > 0 else AT_FLOOR)
            at_most |= sample.flag == (AT_FLOOR if factor > 0 else AT_CEILING)
            total += factor * sample.value
        if at_least and at_most:
            return Derived(math.nan, UNREADABLE)
        return Derived(total / self.divisor, AT_CEILING if at_least else AT_FLOOR if at_most else OK)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """The samples at all instants at which every input is fresh; see `merge_inputs`."""
        merged = merge_inputs(feeds, fresh_us)
        count = len(merged.t_us)
        total = np.zeros(count)
        at_least, at_most, bad = (np.zeros(count, dtype=np.bool_) for _ in range(3))
        for factor, feed, index in zip(self.factors, feeds, merged.index, strict=True):
            flag = feed.flag[index]
            bad |= (flag == UNREADABLE) | (flag == OUT_OF_RANGE)
            at_least |= flag == (AT_CEILING if factor > 0 else AT_FLOOR)
            at_most |= flag == (AT_FLOOR if factor > 0 else AT_CEILING)
            total += factor * feed.value[index]
        bad |= at_least & at_most
        value = total / self.divisor
        value[bad] = math.nan
        flags = np.full(count, OK, dtype=np.uint8)
        flags[at_least] = AT_CEILING
        flags[at_most] = AT_FLOOR
        flags[bad] = UNREADABLE
        stamps = tuple(feed.t_us[index] for feed, index in zip(feeds, merged.index, strict=True))
        return Feed(merged.t_us, value, flags, self.inputs, stamps)


def core_derivations(stoichiometric: float = STOICHIOMETRIC) -> tuple[Derivation, ...]:
    """The derivations that need no vehicle. Of two of one name the first stands whose inputs are there.

    Args:
        stoichiometric: mass of air over mass of fuel at lambda 1.
    """
    return (
        Pointwise("gauge_boost", ("manifold_pressure", "barometric_pressure"), (1.0, -1.0)),
        Pointwise("intake_over_ambient", ("intake_temp", "ambient_temp"), (1.0, -1.0)),
        Pointwise("coolant_over_intake", ("coolant_temp", "intake_temp"), (1.0, -1.0)),
        Pointwise("lambda", ("lambda_1",), (1.0,)),
        Pointwise("lambda", ("air_fuel_ratio",), (1.0,), stoichiometric),
        Pointwise("air_fuel_ratio", ("lambda_1",), (stoichiometric,)),
        Pointwise("air_fuel_ratio", ("lambda",), (stoichiometric,)),
    )
