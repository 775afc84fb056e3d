"""The numbers by which a gear is told, and the two questions asked of one sample: does a gear fit, does it still fit.

Both forms of the gear derivation take their bounds from here, so that they cannot differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

KEEP = 0.08
"""A gear that was told stays while the ratio is within this share of it."""

ENTER = 0.06
"""A gear is told anew only within this smaller share of its ratio."""

MARGIN = 0.02
"""A boundary between two gears (the geometric midpoint) must be passed by this share to change gear."""

HALF_STEP_KMH = 0.5
"""Road speed comes in whole km/h: the true one is within half of one."""

DRIFT_KMH_S = 30.0
"""How fast road speed can have changed since its last sample (0.85 g): what an engine sample in between is held to."""

LEAST_KMH = 3.0
"""Below this the car stands or creeps on the clutch: the gear is unknown."""

LEAST_RPM = 500.0
"""Below this the engine does not drive the car: the gear is unknown. A known idle speed raises it to just above."""

UNKNOWN_AFTER_US = 400_000
"""A gear that was told holds this long against samples that do not fit it, counted from the first of them."""

WIDEST_PAIR_US = 2_000_000
"""Engine speed is interpolated between two samples no farther apart than this."""


@dataclass(frozen=True, slots=True)
class Gears:
    """The gears of a car, sorted by falling gear number (rising ratio), with the bounds that tell them apart.

    Attributes:
        number: gear numbers, as floats, the form in which a sample carries them.
        ratio: engine speed over road speed, rpm per km/h.
        middle: geometric midpoints between neighbours, one fewer than gears.
        enter_low, enter_high: where between its neighbours a gear is entered.
        keep_low, keep_high: where between its neighbours it is kept.
    """

    number: tuple[float, ...]
    ratio: tuple[float, ...]
    middle: tuple[float, ...]
    enter_low: tuple[float, ...]
    enter_high: tuple[float, ...]
    keep_low: tuple[float, ...]
    keep_high: tuple[float, ...]

    @classmethod
    def of(cls, ratios: Mapping[int, float]) -> Gears:
        """The bounds for `ratios`, rpm per km/h by gear number.

        Raises:
            ValueError: no gear at all, a ratio that is not a positive number, or two gears with the same ratio.
        """
        if not ratios:
            raise ValueError("a gear needs at least one ratio")
        rows = sorted((float(ratio), float(number)) for number, ratio in ratios.items())
        ratio = tuple(r for r, _ in rows)
        if not all(math.isfinite(r) and r > 0 for r in ratio):
            raise ValueError("every ratio must be a positive number")
        if len(set(ratio)) != len(ratio):
            raise ValueError("two gears have the same ratio")
        middle = tuple(math.sqrt(a * b) for a, b in pairwise(ratio))
        low = (0.0, *middle)
        high = (*middle, math.inf)
        return cls(
            number=tuple(n for _, n in rows),
            ratio=ratio,
            middle=middle,
            enter_low=tuple(b * (1 + MARGIN) for b in low),
            enter_high=tuple(b / (1 + MARGIN) for b in high),
            keep_low=tuple(b / (1 + MARGIN) for b in low),
            keep_high=tuple(b * (1 + MARGIN) for b in high),
        )
