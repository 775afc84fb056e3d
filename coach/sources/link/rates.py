"""How fast each signal is asked for by a plan, and how fast a found car will give it; which ones are too slow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coach.clock import US
from coach.core.spec import JudgePlan
from coach.signals import Catalogue
from coach.sources.link.discover import Found
from coach.sources.link.schedule import VOLTAGE, expected_hz, wants

ADAPTER_VOLTAGE = "adapter_voltage"
SLOW_STALE_US = 10 * US
"""Signals that hold their value so long are asked for rarely, also when something fast is derived from them."""


def asked_hz(plan: JudgePlan, catalogue: Catalogue) -> dict[str, float]:
    """The rate in hertz of every measured signal that the plan rests on; what captures judge comes first.

    A recorded rate counts as it is. What is derived passes its rate on to its inputs, except to slow ones. What no rate
    is asked for is asked for three times in the time that its value holds.
    """
    inputs = {d.name: d.inputs for d in plan.derivations}
    rates: dict[str, float] = {}
    for capture in plan.captures:
        judged = [b.signal for b in (*capture.keep, *capture.start)] + [limit.signal for limit in capture.limits]
        if capture.sweep is not None:
            judged.insert(0, capture.sweep.signal)
        for name in judged:
            for measured in inputs.get(name, (name,)):
                rates.setdefault(measured, 0.0)
        for asked in capture.record:
            for measured in inputs.get(asked.signal, (asked.signal,)):
                slow = measured != asked.signal and catalogue[measured].stale_us >= SLOW_STALE_US
                rates[measured] = max(rates.get(measured, 0.0), 0.0 if slow else asked.rate_hz)
    return {name: rate or 3 * US / _holds_us(name, plan, catalogue) for name, rate in rates.items()}


def _holds_us(name: str, plan: JudgePlan, catalogue: Catalogue) -> int:
    """The shortest time that a value of `name` holds anywhere in the plan."""
    holds = [catalogue[name].stale_us]
    for capture in plan.captures:
        holds += [us for signal, us in capture.stale_us.items() if signal == name]
        holds += [us for limit in capture.limits for signal, us in limit.unseen_us.items() if signal == name]
    return max(1, min(holds))


def pids_of(found: Found) -> dict[str, int]:
    """The parameter of each signal that the link can give."""
    table = {name: way.reading.pid for name, way in found.signals.items()}
    if found.voltage is not None:
        table[ADAPTER_VOLTAGE] = VOLTAGE
    return table


def cost_us(found: Found, parameters: int) -> int:
    """Round trip of a request for so many parameters, between what was measured for one and for a full one."""
    if found.batch <= 1:
        return found.single_us
    more = max(0, found.batch_us - found.single_us) / (found.batch - 1)
    return round(found.single_us + more * (parameters - 1))


@dataclass(frozen=True, slots=True)
class Expected:
    """One signal: asked and expected rate in hertz (0: the car does not offer it), and the least that will do."""

    signal: str
    asked_hz: float
    expected_hz: float
    least_hz: float
    offered: bool

    @property
    def enough(self) -> bool:
        """Whether the link gives what will do."""
        return self.expected_hz >= self.least_hz


def expect(asked: Mapping[str, float], found: Found, least: Mapping[str, float] | None = None) -> list[Expected]:
    """What the car will give of `asked`.

    Args:
        asked: signal to hertz, see `asked_hz`.
        found: the car.
        least: the share of its asked rate that each signal needs; 0.8 where it says nothing.
    """
    table = pids_of(found)
    some = wants(asked, table, found.batch)
    rates = expected_hz(some, found.batch, lambda n: cost_us(found, n))
    least = least or {}
    return [
        Expected(name, rate, min(rate, rates.get(table[name], 0.0)) if name in table else 0.0,
                 rate * least.get(name, 0.8), name in table)
        for name, rate in asked.items()
    ]  # fmt: skip


def least_shares(plan: JudgePlan) -> dict[str, float]:
    """The share of its asked rate that each recorded signal needs; 0 for one that spoils nothing."""
    shares: dict[str, float] = {}
    for capture in plan.captures:
        for asked in capture.record:
            shares[asked.signal] = max(shares.get(asked.signal, 0.0), asked.least if asked.need else 0.0)
    return shares


def advice(expected: list[Expected], found: Found) -> str:
    """One sentence on what to change so that the link suffices; empty when it does."""
    slow = [e for e in expected if e.offered and not e.enough]
    if not slow:
        return ""
    fast = sorted((e for e in expected if e.offered), key=lambda e: -e.asked_hz)
    share = min(e.expected_hz / e.asked_hz for e in slow)
    most = max(e.asked_hz for e in fast)
    names = ", ".join(e.signal for e in fast if e.asked_hz == most)
    how = f"ask for {names} at {max(0.1, int(most * share * 10) / 10):g} Hz at most"
    drop = "" if found.batch > 1 else ", or drop some: this adapter takes one signal a request"
    return f"The link gives {', '.join(e.signal for e in slow)} too rarely: {how}{drop}."
