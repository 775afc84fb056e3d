"""Corrections while an attempt runs: what is outside now and costs grace, and what is about to leave the band."""

from __future__ import annotations

from collections import deque

from coach.advice.instruct import gear_line, hold_code, is_high, lead_band
from coach.advice.lines import Lines, is_standing_capture
from coach.advice.readout import clock_text, order_of
from coach.advice.state import FaceMark, Instruction
from coach.core.spec import Capture
from coach.core.view import CaptureView, ConditionView

_EDGE = 0.125
"""The outer eighth of a band counts as near its edge."""
_LOOK_BACK_US = 2_000_000
_CODES = {
    ("speed", True): "steer_speed_down", ("speed", False): "steer_speed_up",
    ("engine", True): "steer_engine_down", ("engine", False): "steer_engine_up",
    ("pedal", True): "steer_pedal_less", ("pedal", False): "steer_pedal_more",
    ("load", True): "steer_pedal_less", ("load", False): "steer_pedal_more",
    ("temperature", True): "steer_cool", ("temperature", False): "steer_warm",
    ("other", True): "steer_value_down", ("other", False): "steer_value_up",
}  # fmt: skip


def steer(lines: Lines, capture: Capture, view: CaptureView) -> Instruction | None:
    """The correction for the worst placed excursion of a running attempt, by the written order, or None."""
    if view.phase != "running":
        return None
    out = [c for c in view.conditions if c.role == "keep" and c.outside_us is not None and c.status != "met"]
    out.sort(key=lambda c: order_of(lines.readouts[c.signal].signal))
    for condition in out:
        family = lines.readouts[condition.signal].family
        if condition.status == "wander":
            return lines.make(
                "steer_steady", about=condition.signal, ground="steer", rank="steer",
                name=lines.readouts[condition.signal].inside,
            )  # fmt: skip
        if condition.status not in {"low", "high", "saturated"}:
            continue  # nobody can steer what cannot be read
        if family == "gear":
            return gear_line(lines, condition, steer=True)
        down = is_high(condition)
        code = _CODES[family, down]
        if family == "engine" and is_standing_capture(capture):
            code = "steer_idle" if down else "steer_idle_low"
        mark: FaceMark = "down" if down else "up"
        return lines.amount(code, condition, ground="steer", mark=mark, rank="steer")
    return None


class Nudge:
    """Notices that the lead value nears an edge of its band and is still moving out."""

    def __init__(self) -> None:
        self._past: deque[tuple[int, float]] = deque(maxlen=400)
        self._key: tuple[str, str] | None = None

    def look(self, lines: Lines, capture: Capture, view: CaptureView) -> Instruction | None:
        """`A touch slower` while holding, or None."""
        if view.phase != "running" or capture.sweep is not None or is_standing_capture(capture):
            self._past.clear()
            return None
        band = lead_band(lines, capture)
        condition = None if band is None else _condition(view, band.signal)
        if condition is None or condition.value is None or condition.t_us is None or condition.status != "met":
            return None
        key = (view.id, condition.signal)
        if key != self._key:
            self._past.clear()
            self._key = key
        if not self._past or self._past[-1][0] < condition.t_us:
            self._past.append((condition.t_us, condition.value))
        while len(self._past) > 1 and self._past[1][0] <= condition.t_us - _LOOK_BACK_US:
            self._past.popleft()
        direction = self._direction(condition)
        if direction is None:
            return None
        family = lines.readouts[condition.signal].family
        words = ("nudge_slower", "nudge_faster") if family in {"speed", "engine"} else ("nudge_less", "nudge_more")
        left = view.left if view.left is not None else 0
        return lines.make(
            words[0] if direction == "down" else words[1], number=clock_text(left), kind="clock",
            about=(view.id, hold_code(lines, capture)),
        )  # fmt: skip

    def _direction(self, condition: ConditionView) -> FaceMark | None:
        low, high, value = condition.low, condition.high, condition.value
        if low is None or high is None or value is None:
            return None
        margin = (high - low) * _EDGE
        moved = value - self._past[0][1]
        # A whole step of a coarse signal, or a sixteenth of the band: less is noise.
        if abs(moved) < margin / 2:
            return None
        if moved > 0 and high - value <= margin:
            return "down"
        if moved < 0 and value - low <= margin:
            return "up"
        return None


def _condition(view: CaptureView, signal: str) -> ConditionView | None:
    return next((c for c in view.conditions if c.signal == signal and c.role != "sweep"), None)
