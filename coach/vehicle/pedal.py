"""Pedal travel as a derived signal: 0 % released, 100 % floored, from the two ends learned for this car."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from coach.core.derive import OUT_OF_RANGE, UNREADABLE, Derived, Feed, Held
from coach.core.merge import merge_inputs

_NAN = float("nan")


@dataclass(frozen=True)
class PedalTravel:
    """Travel of the pedal from its raw signal: `(pedal - released) / (floored - released)`, held within 0 to 100 %.

    Attributes:
        released, floored: raw percent at the two ends; floored is the larger.
    """

    released: float
    floored: float
    name: str = field(default="pedal_travel", init=False)
    inputs: tuple[str, ...] = field(default=("pedal",), init=False)

    def __post_init__(self) -> None:
        if not self.floored > self.released:
            raise ValueError("the floored pedal must read more than the released one")

    def stepper(self) -> PedalTravel:
        """A fresh step form; it has no state."""
        return self

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived:
        """Travel at this instant."""
        pedal = held[0]
        if pedal.flag in (UNREADABLE, OUT_OF_RANGE):
            return Derived(_NAN, UNREADABLE)
        travel = (pedal.value - self.released) / (self.floored - self.released) * 100.0
        return Derived(min(max(travel, 0.0), 100.0), pedal.flag)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """All samples of travel in a drive."""
        merged = merge_inputs(feeds, fresh_us)
        pedal, at = feeds[0], merged.index[0]
        lost = np.isin(pedal.flag, (UNREADABLE, OUT_OF_RANGE))[at]
        travel = (pedal.value[at] - self.released) / (self.floored - self.released) * 100.0
        value = np.where(lost, _NAN, np.minimum(np.maximum(travel, 0.0), 100.0))
        flag = np.where(lost, UNREADABLE, pedal.flag[at]).astype(np.uint8)
        return Feed(merged.t_us, value, flag, self.inputs, (pedal.t_us[at],))
