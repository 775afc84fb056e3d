"""Captures and the open alarm as the page draws them: what is done, what runs, what was passed."""

from __future__ import annotations

from typing import Any

from coach.advice.lines import Lines
from coach.advice.moments import ActiveAlarm, alarm_line, alarm_text
from coach.advice.readout import clock_text
from coach.core.events import Outcome
from coach.core.spec import Capture
from coach.core.view import CaptureView


def kind_of(capture: Capture) -> str:
    """`sweep`, `hold` or `collect`."""
    return "sweep" if capture.sweep is not None else "hold" if capture.collect is None else "collect"


def capture_state(capture: Capture, title: str, place: str, view: CaptureView, t_us: int) -> dict[str, Any]:
    """One of the `captures` of the live state at `t_us` of the drive."""
    last = view.last
    if view.secured_count >= capture.times:
        outcome = "secured"
    elif view.phase == "running":
        outcome = "running"
    elif view.gate == "skipped":
        outcome = "skipped"
    elif last is not None and not last.small and last.outcome is not Outcome.SECURED:
        outcome = str(last.outcome)
    else:
        outcome = "todo"
    return {
        "id": view.id, "title": title, "kind": kind_of(capture), "place": place, "outcome": outcome,
        "asked": capture.times, "done": min(view.secured_count, capture.times), "gate": view.gate, "phase": view.phase,
        "gate_left": None if view.gate_us is None else clock_text(view.gate_us - t_us),
    }  # fmt: skip


def alarm_state(lines: Lines, active: ActiveAlarm | None) -> dict[str, Any] | None:
    """The `alarm` of the live state; None when none is open."""
    if active is None:
        return None
    return {
        "signal": active.alarm.signal, "capture": active.alarm.capture, "unseen": active.alarm.unseen,
        "inside": active.inside_us is not None, "line": alarm_line(lines, active).line,
        "text": alarm_text(lines, active),
    }  # fmt: skip
