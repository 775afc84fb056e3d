"""How far a signal can be seen: the ends of its encoding and its plausible range, derived ones through their inputs."""

from __future__ import annotations

from dataclasses import dataclass

from coach.core.pointwise import Pointwise, core_derivations
from coach.signals import Catalogue, Signal


@dataclass(frozen=True, slots=True)
class Reach:
    """Where a signal can be seen.

    Attributes:
        low, high: no good reading is ever outside; at `high_open` and `low_open` not even on that end.
        sure_low, sure_high: up to here it is seen whatever the other inputs are.
        why: what ends it, in words, for a derived signal; else empty.
    """

    low: float
    high: float
    low_open: bool
    high_open: bool
    sure_low: float
    sure_high: float
    why: str = ""


def reach(signal: Signal, catalogue: Catalogue) -> Reach:
    """How far `signal` can be seen, by its own encoding, or by that of its inputs where it is a sum of them."""
    if signal.inputs:
        for derivation in core_derivations():
            if (
                isinstance(derivation, Pointwise)
                and derivation.name == signal.name
                and derivation.inputs == signal.inputs
                and all(name in catalogue for name in derivation.inputs)
            ):
                return _through(derivation, signal, [catalogue[name] for name in derivation.inputs])
    return _own(signal)


def _own(signal: Signal) -> Reach:
    low, high = _ends(signal)
    return Reach(
        low, high, low_open=signal.floor is not None and signal.floor >= signal.low,
        high_open=signal.ceiling is not None and signal.ceiling <= signal.high, sure_low=low, sure_high=high,
    )  # fmt: skip


def _ends(signal: Signal) -> tuple[float, float]:
    low = signal.low if signal.floor is None else max(signal.low, signal.floor)
    high = signal.high if signal.ceiling is None else min(signal.high, signal.ceiling)
    return low, high


def _through(derivation: Pointwise, signal: Signal, inputs: list[Signal]) -> Reach:
    """Through the inputs: where one ends its encoding, with all others at whatever value hides the most."""
    terms: list[tuple[float, float]] = []
    for factor, item in zip(derivation.factors, inputs, strict=True):
        low, high = sorted(factor * end / derivation.divisor for end in _ends(item))
        terms.append((low, high))
    lowest, highest = sum(t[0] for t in terms), sum(t[1] for t in terms)
    sure_low, sure_high = lowest, highest
    caps_low = caps_high = False
    why = []
    for factor, item, (low, high) in zip(derivation.factors, inputs, terms, strict=True):
        above, below = (item.ceiling, item.floor) if factor > 0 else (item.floor, item.ceiling)
        if above is not None:
            sure_high, caps_high = min(sure_high, high + (lowest - low)), True
        if below is not None:
            sure_low, caps_low = max(sure_low, low + (highest - high)), True
        end = f"ends at {item.ceiling:g}" if item.ceiling is not None else f"may be {item.high:g}"
        why.append(f"{item.name} {end} {item.unit}")
    return Reach(
        max(lowest, signal.low), min(highest, signal.high), low_open=caps_low, high_open=caps_high,
        sure_low=max(sure_low, signal.low), sure_high=min(sure_high, signal.high), why=" and ".join(why),
    )  # fmt: skip
