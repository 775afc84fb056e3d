"""What stands in for a signal that a car does not offer, once a person has declared it; never taken by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from coach.core.derive import OUT_OF_RANGE, UNREADABLE, Derived, Feed, Held
from coach.core.merge import merge_inputs

_NAN = float("nan")
_LOST = (UNREADABLE, OUT_OF_RANGE)


@dataclass(frozen=True)
class FixedBarometric:
    """Gauge boost as manifold pressure less one barometric reading, for a car that reports none.

    Attributes:
        baro_kpa: the reading, absolute.
    """

    baro_kpa: float
    name: str = field(default="gauge_boost", init=False)
    inputs: tuple[str, ...] = field(default=("manifold_pressure",), init=False)

    def stepper(self) -> FixedBarometric:
        """A fresh step form; it has no state."""
        return self

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived:
        """Gauge boost at this instant; the end of the pressure's encoding stays one."""
        pressure = held[0]
        if pressure.flag in _LOST:
            return Derived(_NAN, UNREADABLE)
        return Derived(pressure.value - self.baro_kpa, pressure.flag)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """All samples of a drive."""
        merged = merge_inputs(feeds, fresh_us)
        pressure, at = feeds[0], merged.index[0]
        lost = np.isin(pressure.flag, _LOST)[at]
        value = np.where(lost, _NAN, pressure.value[at] - self.baro_kpa)
        flag = np.where(lost, UNREADABLE, pressure.flag[at]).astype(np.uint8)
        return Feed(merged.t_us, value, flag, self.inputs, (pressure.t_us[at],))
