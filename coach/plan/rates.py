"""What a link gives of what a recipe asks for: rates asked, achieved, and which are too slow. It talks to nobody.

A link is a round trip and a number of signals a request; rates come from playing the link's own schedule through.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from coach.core.spec import JudgePlan
from coach.plan.schedule import US, batched, expected_hz, wants
from coach.signals import Catalogue

SLOW_STALE_US = 10 * US
"""Signals that hold their value so long are asked for rarely, also when something fast is derived from them."""
LEAST = 0.8
"""The share of its asked rate that a signal needs where the recipe says nothing."""


@dataclass(frozen=True, slots=True)
class LinkModel:
    """How fast an adapter and a car are.

    Attributes:
        batch: how many signals a request may ask for.
        single_us, batch_us: round trip of one signal, and of a full request.
        alone_us: round trip of what is asked for alone by an identifier, changes of header included; 0: as one signal.
    """

    batch: int
    single_us: int
    batch_us: int
    alone_us: int = 0

    def cost_us(self, parameters: int) -> int:
        """Round trip of a request for so many signals, between that of one and that of a full request."""
        if self.batch <= 1:
            return self.single_us
        more = max(0, self.batch_us - self.single_us) / (self.batch - 1)
        return round(self.single_us + more * (parameters - 1))

    @property
    def samples_hz(self) -> float:
        """The most samples a second in all."""
        return max(1, self.batch) * US / max(1, self.cost_us(max(1, self.batch)))


USUAL_CAN = LinkModel(6, 40_000, 55_000)
"""A car on CAN behind a usual adapter (common practice, no source)."""
SINGLES = LinkModel(1, 40_000, 40_000)
"""The same where the adapter takes one signal a request."""
K_LINE = LinkModel(1, 250_000, 250_000)
"""A K-line: 3 to 5 samples a second in all (common practice, no source)."""


def asked_hz(plan: JudgePlan, catalogue: Catalogue, captures: Collection[str] | None = None) -> dict[str, float]:
    """The rate in hertz of every measured signal that the plan rests on; what captures judge comes first.

    A recorded rate counts as it is. What is derived passes its rate on to its inputs, except to slow ones. What no rate
    is asked for is asked for three times in the time that its value holds.

    Args:
        plan: as resolved.
        catalogue: the signals.
        captures: ids of those that count; None: all.
    """
    inputs = {d.name: d.inputs for d in plan.derivations}
    rates: dict[str, float] = {}
    for capture in plan.captures:
        if captures is not None and capture.id not in captures:
            continue
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


def least_shares(plan: JudgePlan) -> dict[str, float]:
    """The share of its asked rate that each recorded signal needs; 0 for one that spoils nothing."""
    shares: dict[str, float] = {}
    for capture in plan.captures:
        for asked in capture.record:
            shares[asked.signal] = max(shares.get(asked.signal, 0.0), asked.least if asked.need else 0.0)
    return shares


def achieved_hz(
    asked: Mapping[str, float], model: LinkModel, keys: Mapping[str, int] | None = None
) -> dict[str, float]:
    """The rate of each asked signal that the link gives, by playing its schedule through for 20 s.

    Args:
        asked: signal to hertz.
        model: the link.
        keys: what each signal is asked for by: the parameter, or a number outside 00 to FF for what is asked for
            alone. Signals of one key come together. None: each is a parameter of its own. Signals without a key get 0.
    """
    table = dict(zip(asked, range(len(asked)), strict=True)) if keys is None else keys
    some = wants(asked, table, model.batch)
    alone = {w.pid for w in some if not batched(w.pid)}
    # Played with one cost for all: a request by identifier counts for as many as it takes longer.
    dearer_us = max(0, (model.alone_us or model.single_us) - model.single_us)
    rates = expected_hz(some, model.batch, model.cost_us)
    if alone and dearer_us:
        busy = sum(rates[p] for p in alone) * dearer_us / US
        rates = {p: rate / (1 + busy) for p, rate in rates.items()}
    return {n: min(rate, rates.get(table[n], 0.0)) if n in table else 0.0 for n, rate in asked.items()}


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


def expect(
    asked: Mapping[str, float], model: LinkModel, keys: Mapping[str, int], least: Mapping[str, float] | None = None
) -> list[Expected]:
    """What a link will give of `asked`.

    Args:
        asked: signal to hertz, see `asked_hz`.
        model: the link.
        keys: see `achieved_hz`.
        least: the share of its asked rate that each signal needs; 0.8 where it says nothing.
    """
    rates = achieved_hz(asked, model, keys)
    least = least or {}
    return [Expected(n, rate, rates[n], rate * least.get(n, LEAST), n in keys) for n, rate in asked.items()]


def advice(expected: list[Expected], model: LinkModel) -> str:
    """One sentence on what to change so that the link suffices; empty when it does."""
    slow = [e for e in expected if e.offered and not e.enough]
    if not slow:
        return ""
    fast = sorted((e for e in expected if e.offered), key=lambda e: -e.asked_hz)
    share = min(e.expected_hz / e.asked_hz for e in slow)
    most = max(e.asked_hz for e in fast)
    names = ", ".join(e.signal for e in fast if e.asked_hz == most)
    how = f"ask for {names} at {max(0.1, int(most * share * 10) / 10):g} Hz at most"
    drop = "" if model.batch > 1 else f", or drop some: {model.samples_hz:.0f} samples a second are all there is"
    return f"The link gives {', '.join(e.signal for e in slow)} too rarely: {how}{drop}."
