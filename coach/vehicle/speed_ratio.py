"""Engine speed over road speed as a derived signal: what a continuously variable transmission has instead of gears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from coach.core.derive import OK, UNREADABLE, Derived, Feed, Held
from coach.core.merge import merge_inputs

LEAST_KMH = 8.0
"""Below this half a km/h is more than 6 % of the ratio: it cannot be told."""
_NAN = float("nan")


@dataclass(frozen=True)
class SpeedRatio:
    """Rpm per km/h from the last engine speed and the last road speed; unreadable when too slow to tell."""

    name: str = field(default="speed_ratio", init=False)
    inputs: tuple[str, ...] = field(default=("engine_speed", "road_speed"), init=False)

    def stepper(self) -> SpeedRatio:
        """A fresh step form; it has no state."""
        return self

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived:
        """The ratio at this instant."""
        engine, road = held
        if engine.flag != OK or road.flag != OK or not road.value >= LEAST_KMH:
            return Derived(_NAN, UNREADABLE)
        return Derived(engine.value / road.value, OK)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """All samples of the ratio in a drive."""
        merged = merge_inputs(feeds, fresh_us)
        (engine, road), (engine_i, road_i) = feeds, merged.index
        rpm, kmh = engine.value[engine_i], road.value[road_i]
        good = (engine.flag[engine_i] == OK) & (road.flag[road_i] == OK) & (kmh >= LEAST_KMH)
        with np.errstate(divide="ignore", invalid="ignore"):
            value = np.where(good, rpm / kmh, _NAN)
        flag = np.where(good, OK, UNREADABLE).astype(np.uint8)
        return Feed(merged.t_us, value, flag, self.inputs, (engine.t_us[engine_i], road.t_us[road_i]))
