"""Hand-made views for the adviser: captures, conditions and limits as the judge would show them."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from coach.advice import Adviser
from coach.advice.lines import Lines
from coach.advice.readout import Readouts
from coach.catalogue import default_catalogue
from coach.core.events import Attempt, Code, Outcome, Reason
from coach.core.spec import Asked, Band, Capture, JudgePlan, Limit, Sweep
from coach.core.view import CaptureView, ConditionView, JudgeView, LimitView
from coach.shown import METRIC, Units
from coach.words import load_words

S = 1_000_000

PART_LOAD = Capture(
    "part-load", hold_us=180 * S, grace_us=S,
    keep=(Band("road_speed", 72, 88), Band("gear", 5, 5), Band("coolant_temp", 80)),
    record=(Asked("road_speed", 4, 1_250_000), Asked("barometric_pressure", 0.2, 25 * S)),
)  # fmt: skip
ROLL_ON = Capture(
    "roll-on", sweep=Sweep("engine_speed", 2200, 4600, 120), times=2, rest_us=180 * S, arming=True,
    start=(Band("coolant_temp", 80),), keep=(Band("pedal_travel", 90), Band("gear", 3, 3)),
    limits=(Limit("gauge_boost", high=95), Limit("coolant_temp", high=108, scope="drive")),
)  # fmt: skip
IDLE = Capture(
    "settled-idle", hold_us=90 * S, arming=True,
    keep=(Band("road_speed", None, 0), Band("engine_speed", 650, 1000), Band("coolant_temp", 80)),
)  # fmt: skip
PLACES = {"part-load": "road", "roll-on": "closed course", "settled-idle": "parked"}
TITLES = {"part-load": "Steady part load", "roll-on": "Full pedal in third", "settled-idle": "Warm idle"}


def recipe(*captures: Capture) -> SimpleNamespace:
    """What the adviser reads of a recipe."""
    return SimpleNamespace(
        captures=tuple(
            SimpleNamespace(id=c.id, title=TITLES.get(c.id, c.id.capitalize()), place=PLACES.get(c.id, "road"))
            for c in captures
        )
    )


def make_lines(units: Units = METRIC) -> Lines:
    words = load_words()
    return Lines(words, Readouts(default_catalogue(), words, units))


def adviser(*captures: Capture, units: Units = METRIC) -> Adviser:
    return Adviser(recipe(*captures), JudgePlan(captures), default_catalogue(), load_words(), units)


def status_of(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return "missing"
    if low is not None and value < low:
        return "low"
    return "high" if high is not None and value > high else "met"


def conditions(capture: Capture, values: dict[str, float | None], t_us: int) -> tuple[ConditionView, ...]:
    """Every condition of a capture with these values, each sampled at `t_us`."""
    made = []
    for role, bands in (("start", capture.start), ("keep", capture.keep)):
        for b in bands:
            value = values.get(b.signal)
            stamp = None if value is None else t_us
            made.append(
                ConditionView(role, b.signal, b.low, b.high, b.wander, value, stamp, status_of(value, b.low, b.high))
            )
    if capture.sweep is not None:
        s = capture.sweep
        value = values.get(s.signal)
        low, high = min(s.start, s.to), max(s.start, s.to)
        made.append(ConditionView("sweep", s.signal, low, high, None, value, t_us, status_of(value, low, high)))
    return tuple(made)


def limits(capture: Capture, values: dict[str, float | None], t_us: int, *ahead: str) -> tuple[LimitView, ...]:
    made = []
    for x in capture.limits:
        value = values.get(x.signal)
        beyond = value is not None and (value > x.bound if x.high is not None else value < x.bound)
        status = "unseen" if value is None else "beyond" if beyond else "inside"
        made.append(LimitView(x.signal, x.bound, x.high is not None, value, t_us, status, x.signal in ahead))
    return tuple(made)


def look(
    capture: Capture, values: dict[str, float | None], t_us: int = 0, *, phase: str = "waiting",
    ahead: tuple[str, ...] = (), outside: dict[str, int] | None = None, **more: object,
) -> CaptureView:  # fmt: skip
    """The view of one capture; `outside` gives open excursions."""
    seen = conditions(capture, values, t_us)
    if outside:
        seen = tuple(
            replace(c, outside_us=outside[c.signal]) if c.role == "keep" and c.signal in outside else c for c in seen
        )
    fields: dict[str, object] = {
        "id": capture.id, "phase": phase, "gate": None, "gate_us": None, "number": 0 if phase == "running" else None,
        "start_us": 0 if phase == "running" else None, "secured_us": None, "progress": 0.0, "left": None,
        "furthest": None, "secured_count": 0, "attempts": 0, "last": None, "best": None, "conditions": seen,
        "limits": limits(capture, values, t_us, *ahead), "missing": (),
    }  # fmt: skip
    return CaptureView(**(fields | more))  # type: ignore[arg-type]


def judge_view(*captures: CaptureView, t_us: int = 0) -> JudgeView:
    return JudgeView(t_us, captures)


def attempt(
    capture: Capture = PART_LOAD, outcome: Outcome = Outcome.MISSED, code: Code | None = Code.HIGH, *,
    signal: str | None = "road_speed", value: float | None = 91.0, bound: float | None = 88.0, t_us: int = 161 * S,
    **more: object,
) -> Attempt:  # fmt: skip
    reason = None if code is None else Reason(code, t_us, signal, value, bound)
    fields: dict[str, object] = {
        "capture": capture.id, "number": 0, "outcome": outcome, "start_us": 0, "end_us": t_us, "secured_us": None,
        "reason": reason, "progress": t_us / (180 * S),
    }  # fmt: skip
    return Attempt(**(fields | more))  # type: ignore[arg-type]
