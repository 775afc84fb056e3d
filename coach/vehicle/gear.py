"""The gear as a derived signal: engine speed over road speed, nearest ratio, in a step form and an array form.

The array form stands in `gear_array.py`; both do the same arithmetic in the same order and agree to the last bit.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from coach.core.derive import OK, OUT_OF_RANGE, UNREADABLE, Cut, Derived, Feed, Held
from coach.vehicle.gear_array import gear_feed
from coach.vehicle.ratios import (
    DRIFT_KMH_S,
    ENTER,
    HALF_STEP_KMH,
    KEEP,
    LEAST_KMH,
    LEAST_RPM,
    UNKNOWN_AFTER_US,
    WIDEST_PAIR_US,
    Gears,
)

LOST = (UNREADABLE, OUT_OF_RANGE)
_NAN = float("nan")


@dataclass(frozen=True)
class GearDerivation:
    """Estimated gear from engine speed and road speed.

    Attributes:
        ratios: rpm per km/h by gear number.
        delay_us: how much later a road speed is reported than the engine speed of the same moment; 0 or more.
        least_rpm: an engine slower than this does not drive the car.
        slip: by what share a torque converter may let the engine run ahead and still be in gear; 0 for a clutch.
    """

    ratios: Mapping[int, float]
    delay_us: int = 0
    least_rpm: float = LEAST_RPM
    slip: float = 0.0
    name: str = field(default="gear", init=False)
    inputs: tuple[str, ...] = field(default=("engine_speed", "road_speed"), init=False)

    def __post_init__(self) -> None:
        if self.delay_us < 0:
            raise ValueError("the delay of road speed cannot be negative")
        if not 0 <= self.slip <= 0.5:
            raise ValueError("slip is a share between 0 and 0.5")
        Gears.of(self.ratios)

    @cached_property
    def gears(self) -> Gears:
        """The gears with their bounds."""
        return Gears.of(self.ratios)

    def stepper(self) -> GearStepper:
        """A fresh step form."""
        return GearStepper(self.gears, self.delay_us, self.least_rpm, self.slip)

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """All samples of the gear in a drive; shapes as in `Feed`."""
        return gear_feed(self.gears, self.delay_us, self.least_rpm, feeds, fresh_us, self.slip)


class GearStepper:
    """The step form of one drive: the engine samples around the last road sample, the gear told last, the state."""

    def __init__(self, gears: Gears, delay_us: int, least_rpm: float, slip: float = 0.0) -> None:
        self._gears = gears
        self._delay_us = delay_us
        self._least_rpm = least_rpm
        self._enter_up, self._keep_up = max(ENTER, slip), max(KEEP, slip)
        self._engine: deque[tuple[int, float]] = deque()
        self._told: int | None = None
        self._mismatch = False

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived | Cut | None:
        """The gear at this instant; a `Cut` at the first sample that fits no gear, nothing at further ones."""
        engine, road = held
        rpm = engine.value if engine.flag == OK else _NAN
        kmh = road.value if road.flag == OK else _NAN
        if not self._engine or self._engine[-1][0] != engine.t_us:
            self._engine.append((engine.t_us, rpm))
        # The moment at which the road speed was true; engine samples before the last one at or before it are spent.
        true_us = road.t_us - self._delay_us
        while len(self._engine) > 1 and self._engine[1][0] <= true_us:
            self._engine.popleft()
        if engine.flag in LOST or road.flag in LOST:
            self._mismatch = False
            return Derived(_NAN, UNREADABLE)
        gear = self._fit(engine.t_us, rpm, true_us, kmh)
        if gear is not None:
            self._mismatch = False
            return Derived(self._gears.number[gear], OK)
        if self._mismatch:
            return None
        self._mismatch = True
        return Cut(until_us=t_us + UNKNOWN_AFTER_US, since_us=t_us)

    def _fit(self, engine_us: int, rpm: float, true_us: int, kmh: float) -> int | None:
        """Index of the gear that these samples fit, or None; a gear entered is kept in mind."""
        if not (kmh >= LEAST_KMH and rpm >= self._least_rpm):
            return None
        slack = HALF_STEP_KMH + DRIFT_KMH_S * (abs(engine_us - true_us) / 1e6)
        low, high = (kmh - slack) * (1 - KEEP), (kmh + slack) * (1 + self._keep_up)
        aligned = self._aligned(true_us)
        if aligned is None:
            # No engine sample of that moment yet: the gear may stay, but none is entered.
            told = self._told
            return told if told is not None and self._now(told, rpm, low, high) else None
        nearest = self._enter(aligned, kmh)
        if nearest is not None and self._now(nearest, rpm, low, high):
            self._told = nearest
            return nearest
        told = self._told
        if told is not None and self._keep(told, aligned, kmh) and self._now(told, rpm, low, high):
            return told
        return None

    def _now(self, gear: int, rpm: float, low: float, high: float) -> bool:
        """Whether the engine speed of now fits `gear`, given how far road speed may have moved since."""
        ratio = self._gears.ratio[gear]
        return ratio * low <= rpm <= ratio * high

    def _aligned(self, true_us: int) -> float | None:
        """Engine speed at `true_us`; None if no pair of samples encloses it closely enough."""
        first_us, first = self._engine[0]
        if first_us == true_us:
            return first
        if first_us > true_us or len(self._engine) < 2:
            return None
        second_us, second = self._engine[1]
        if second_us - first_us > WIDEST_PAIR_US:
            return None
        return first + (second - first) * ((true_us - first_us) / (second_us - first_us))

    def _enter(self, rpm: float, kmh: float) -> int | None:
        """The nearest gear, if engine speed at the road sample's own moment is well inside it."""
        g = self._gears
        quotient = rpm / kmh
        near = bisect_left(g.middle, quotient)
        ratio = g.ratio[near]
        inside = g.enter_low[near] <= quotient <= g.enter_high[near] and (
            ratio * ((kmh - HALF_STEP_KMH) * (1 - ENTER))
            <= rpm
            <= ratio * ((kmh + HALF_STEP_KMH) * (1 + self._enter_up))
        )
        return near if inside else None

    def _keep(self, gear: int, rpm: float, kmh: float) -> bool:
        """Whether engine speed at the road sample's own moment still fits the gear told before."""
        g = self._gears
        quotient = rpm / kmh
        ratio = g.ratio[gear]
        return g.keep_low[gear] <= quotient <= g.keep_high[gear] and (
            ratio * ((kmh - HALF_STEP_KMH) * (1 - KEEP)) <= rpm <= ratio * ((kmh + HALF_STEP_KMH) * (1 + self._keep_up))
        )
