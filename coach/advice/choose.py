"""Which capture leads: a running one first, else the one nearest to being met, in the recipe's order; and it stays."""

from __future__ import annotations

from coach.advice.instruct import past_start, swept, unmet
from coach.advice.lines import is_standing_capture, standing
from coach.core.spec import Capture
from coach.core.view import CaptureView, ConditionView, JudgeView

WARMING = ("coolant_temp", "oil_temp")
SETTLE_US = 1_500_000
"""A hold must have run for so long before it takes the lead from another capture: speeds pass through many bands."""
PATIENCE_US = ((2, 3_000_000), (1, 8_000_000))
"""Fewer unmet conditions by so many, for so long: then another capture takes the lead."""
COLD = 4
"""An idle counts as so many conditions further while the engine is cold and something is left for the road: a drive
warms it, idling hardly does, and the idle itself would have to wait anyway (common practice, no source)."""
MOVING = 3
"""A capture made at standstill counts as so many conditions further while the car moves: nobody stops for its sake."""
_PASSING = ("rest", "inside")
"""Gates that open by themselves: whoever waits there keeps the lead."""
_GATES = ("rest", "inside", "confirm", "arm", "paused", "limit", "needs", "skipped")
"""Where every capture left is shut, the gate that people can do most about comes first."""


class Chooser:
    """Keeps the lead from one update to the next."""

    def __init__(self, captures: tuple[Capture, ...]) -> None:
        self._captures = {c.id: c for c in captures}
        self._index = {c.id: i for i, c in enumerate(captures)}
        self._lead: str | None = None
        self._ran_since: dict[str, int] = {}
        self._rival: tuple[str, int] | None = None
        self._rival_since = 0
        self._roads = False

    @property
    def lead(self) -> str | None:
        """The capture that led at the last choice."""
        return self._lead

    def open_captures(self, view: JudgeView) -> list[CaptureView]:
        """Captures that are still to be done."""
        return [
            c for c in view.captures if c.secured_count < self._captures[c.id].times and c.gate != "skipped"
        ]  # fmt: skip

    def choose(self, view: JudgeView, now_us: int) -> CaptureView | None:
        """The capture that leads now, or None when nothing is left."""
        left = self.open_captures(view)
        running = [c for c in left if c.phase == "running"]
        self._ran_since = {c.id: self._ran_since.get(c.id, now_us) for c in running}
        current = next((c for c in left if c.id == self._lead), None)
        chosen = self._choose(left, running, current, now_us)
        self._lead = None if chosen is None else chosen.id
        return chosen

    def _choose(
        self, left: list[CaptureView], running: list[CaptureView], current: CaptureView | None, now_us: int
    ) -> CaptureView | None:
        if current is not None and current.phase == "running":
            self._rival = None
            return current
        ready = [c for c in running if current is None or self._may_take(c, now_us)]
        if ready:
            self._rival = None
            return max(ready, key=lambda c: (c.progress, -self._index[c.id]))
        free = [c for c in left if c.gate is None or (c is current and c.gate in _PASSING)]
        self._roads = any(not is_standing_capture(self._captures[c.id]) for c in free)
        if not free:
            return min(left, key=lambda c: (_GATES.index(c.gate or "skipped"), self._index[c.id]), default=None)
        nearest = min(free, key=lambda c: (self._distance(c), self._index[c.id]))
        if current is None or current not in free:
            self._rival = None
            return nearest
        return nearest if self._outlasts(nearest, current, now_us) else current

    def _may_take(self, view: CaptureView, now_us: int) -> bool:
        sweep = self._captures[view.id].sweep is not None
        return sweep or now_us - self._ran_since[view.id] >= SETTLE_US

    def _outlasts(self, nearest: CaptureView, current: CaptureView, now_us: int) -> bool:
        """Whether `nearest` has been nearer than `current` for long enough."""
        gain = min(2, self._distance(current) - self._distance(nearest))
        if gain <= 0:
            self._rival = None
            return False
        if self._rival != (nearest.id, gain):
            # Growing from one to two conditions nearer, or back, starts the wait again.
            self._rival, self._rival_since = (nearest.id, gain), now_us
        return now_us - self._rival_since >= dict(PATIENCE_US)[gain]

    def _distance(self, view: CaptureView) -> int:
        """How many conditions are not met; a sweep also has to stand on its near side, an idle at standstill."""
        capture = self._captures[view.id]
        condition = swept(view)
        past = capture.sweep is not None and condition is not None and past_start(capture.sweep, condition.value)
        moving = is_standing_capture(capture) and standing(view) is False
        cold = self._roads and is_standing_capture(capture) and any(map(_is_cold, unmet(view)))
        return len(unmet(view)) + past + MOVING * moving + COLD * cold


def _is_cold(condition: ConditionView) -> bool:
    return condition.status == "low" and condition.signal in WARMING
