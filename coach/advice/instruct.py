"""The instruction that a capture calls for now, by the written order.

The order: data, warm, gear, pedal, engine speed, road speed, hold on. Pure: the same view gives the same
instruction; holding back is done elsewhere.
"""

from __future__ import annotations

from dataclasses import replace

from coach.advice.lines import Lines, is_standing_capture, pedal_band, standing
from coach.advice.readout import ORDER, clock_text, order_of
from coach.advice.situation import Situation, collecting, shut
from coach.advice.state import FaceMark, Instruction
from coach.core.spec import Band, Capture, Sweep
from coach.core.view import CaptureView, ConditionView

FULL_PEDAL = 80.0
"""Percent of travel from which a pedal band is called full pedal."""
ENGINE_RUNS_RPM = 300.0
"""Below this the engine does not run (common practice, no source)."""
_ENGINE = ORDER.index("engine")
NO_DATA = ("missing", "stale", "unknown")
BAD_DATA = ("unreadable", "out_of_range")


def unmet(view: CaptureView, *, running: bool = False) -> list[ConditionView]:
    """Conditions that are not met now, one a signal; start conditions only while nothing runs; never the sweep's."""
    found: dict[str, ConditionView] = {}
    for condition in view.conditions:
        if condition.role == "sweep" or (running and condition.role == "start"):
            continue
        if condition.status != "met":
            found.setdefault(condition.signal, condition)
    return list(found.values())


def swept(view: CaptureView) -> ConditionView | None:
    """The swept signal's condition, or None for a hold."""
    return next((c for c in view.conditions if c.role == "sweep"), None)


def past_start(sweep: Sweep, value: float | None) -> bool:
    """Whether the swept signal stands beyond where the sweep starts, so that it has to go back first."""
    return value is not None and (value > sweep.start if sweep.rising else value < sweep.start)


def instruct(lines: Lines, now: Situation) -> Instruction:
    """The plain instruction for one capture: what to do next, or to hold on."""
    view = now.view
    if view.phase == "running":
        return _running(lines, now)
    if view.phase == "held" and now.capture.collect is not None and view.secured_count < now.capture.times:
        return _running(lines, now)  # a piece counts already, and the longer it gets the better
    if view.phase == "held":
        left = now.capture.times - view.secured_count
        return lines.make("again", number=str(left), kind="count", about=view.id)
    if view.phase == "closed" and view.gate is not None:
        return shut(lines, now) or _waiting(lines, now)
    return _waiting(lines, now)


def _waiting(lines: Lines, now: Situation) -> Instruction:
    view, capture = now.view, now.capture
    if now.missing:
        return _no_data(lines, now.missing[0], "caption_never")
    open_ = sorted(unmet(view), key=lambda c: order_of(lines.readouts[c.signal].signal))
    for condition in open_:
        family = lines.readouts[condition.signal].family
        # The gear is unknown whenever the clutch is open, and what never came may still be on its way.
        if condition.status in NO_DATA and family != "gear" and condition.status != "missing":
            return _no_data(lines, condition.signal, "caption")
        if condition.status in BAD_DATA:
            return _no_data(lines, condition.signal, "caption", bad=True)
    if any(c.status == "missing" for c in open_ if lines.readouts[c.signal].family != "gear"):
        return lines.make("waiting_for_data", about=view.id)
    if capture.sweep is not None:
        return _before_sweep(lines, now, capture.sweep, open_)
    if is_standing_capture(capture) and standing(view) is False:
        # An engine in a moving car does not idle: stopping comes before the engine speed.
        open_.sort(key=lambda c: order_of(lines.readouts[c.signal].signal) >= _ENGINE and c.signal != "road_speed")
    if open_:
        return _toward(lines, now, open_[0])
    return _hold(lines, now)


def _before_sweep(lines: Lines, now: Situation, sweep: Sweep, open_: list[ConditionView]) -> Instruction:
    # Pressing the pedal starts the pull, so in a sweep it comes after everything else is right.
    for condition in open_:
        if lines.readouts[condition.signal].family in {"temperature", "gear"}:
            return _toward(lines, now, condition)
    condition_of_sweep = swept(now.view)
    value = condition_of_sweep.value if condition_of_sweep is not None else None
    if past_start(sweep, value) and value is not None:
        readout = lines.readouts[sweep.signal]
        if readout.family == "engine":
            code = "let_revs_drop" if sweep.rising else "raise_to_start"
        else:
            code = "back_to_start"
        mark: FaceMark = "down" if sweep.rising else "up"
        number = readout.distance(abs(value - sweep.start))
        return lines.make(
            code, number=number, kind="amount", mark=mark, about=sweep.signal, unit=readout.unit, name=readout.inside
        )
    for condition in open_:
        family = lines.readouts[condition.signal].family
        if family not in {"pedal", "engine", "speed", "load"} or (family == "speed" and sweep.signal != "road_speed"):
            return _toward(lines, now, condition)
    return _go(lines, now, sweep)


def _go(lines: Lines, now: Situation, sweep: Sweep) -> Instruction:
    """Everything is right but for what the driver does to begin the sweep."""
    left = max(1, now.capture.times - now.view.secured_count)
    pedal = pedal_band(now.capture, lines.readouts)
    if lines.readouts[sweep.signal].family == "pedal":
        code = "press_when_clear" if sweep.rising else "lift_when_clear"
    elif pedal is not None and pedal.low is not None:
        code = "full_pedal" if pedal.low >= FULL_PEDAL else "press_when_clear"
    elif not sweep.rising:
        code = "lift_when_clear"
    else:
        code = "go_when_clear"
    caption = "caption_one" if left == 1 and f"face.{code}.caption_one" in lines.words else "caption"
    return lines.make(code, number=str(left), kind="count", about=now.view.id, caption=caption)


def _toward(lines: Lines, now: Situation, condition: ConditionView) -> Instruction:
    """What brings one unmet condition into its band, before anything runs."""
    readout = lines.readouts[condition.signal]
    family = readout.family
    down = is_high(condition)
    if family == "gear":
        return gear_line(lines, condition)
    if family == "temperature":
        if not down and now.standing and now.roads:
            # An idling engine warms slowly, and nothing on the road can be done meanwhile.
            return lines.amount("warm_up_driving", condition)
        return lines.amount("cool_down" if down else "warm_up", condition)
    if family == "speed":
        if down and condition.high is not None and condition.high < 1:
            return lines.amount("stand_still", condition, mark="down")
        return lines.amount("slow_down_gently" if down else "speed_up_gently", condition, mark="down" if down else "up")
    if family == "engine":
        if not down and condition.value is not None and condition.value < ENGINE_RUNS_RPM:
            return lines.make("engine_start", about=condition.signal)
        if is_standing_capture(now.capture):
            return lines.amount("idle_settle", condition)
        return lines.amount("engine_down" if down else "engine_up", condition, mark="down" if down else "up")
    if family in {"pedal", "load"}:
        off = family == "pedal" and down and condition.high is not None and condition.high < 5
        code = "pedal_off" if off else "pedal_less" if down else "pedal_more"
        return lines.amount(code, condition, mark="down" if down else "up")
    if readout.signal.quantity in {"time", "distance"} and not down:
        number = "" if condition.value is None else readout.off(condition.value, condition.low, condition.high)
        return lines.make(
            "wait_for", number=number, kind="amount", about=condition.signal, caption="caption_amount",
            name=readout.inside, unit=readout.unit,
        )  # fmt: skip
    if readout.signal.discrete or readout.signal.quantity in {"state", "count", "time", "distance"}:
        return lines.make("wait_for", about=condition.signal, name=readout.inside, unit=readout.unit)
    return lines.amount("value_down" if down else "value_up", condition, mark="down" if down else "up")


def is_high(condition: ConditionView) -> bool:
    """Whether the value has to come down. At the end of its encoding it is at least that."""
    if condition.status == "saturated":
        return condition.high is not None
    if condition.status in {"low", "high"}:
        return condition.status == "high"
    return condition.value is not None and condition.high is not None and condition.value > condition.high


def gear_line(lines: Lines, condition: ConditionView, *, steer: bool = False) -> Instruction:
    """Which gear to take: the number names it."""
    words = lines.words
    asked = condition.low if condition.low is not None else condition.high
    if condition.value is not None and condition.status == "high" and condition.high is not None:
        asked = condition.high
    number = "" if asked is None else f"{asked:g}"
    gear = "" if asked is None else words.ordinal(round(asked))
    known = condition.value is not None and condition.status in {"low", "high"}
    code = "take_gear" if not known else "change_down" if is_high(condition) else "change_up"
    mark: FaceMark = "none" if not known else "down" if is_high(condition) else "up"
    now = words.ordinal(round(condition.value)) if known and condition.value is not None else ""
    return lines.make(
        code, number=number, kind="gear", mark=mark, about=condition.signal, asked=gear, now=now,
        ground="steer" if steer else "calm", rank="steer" if steer else "plain",
    )  # fmt: skip


def _no_data(lines: Lines, signal: str, caption: str, *, bad: bool = False) -> Instruction:
    name = lines.readouts[signal].inside
    if bad:
        return lines.make("signal_unreadable", about=signal, name=name)
    return lines.make("signal_missing", about=signal, name=name, caption=caption)


def _running(lines: Lines, now: Situation) -> Instruction:
    view, capture = now.view, now.capture
    if capture.sweep is None:
        return _hold(lines, now)
    readout = lines.readouts[capture.sweep.signal]
    number = readout.distance(view.left) if view.left is not None else ""
    pedal = pedal_band(capture, lines.readouts)
    if view.left is not None and view.left <= 0:
        return lines.make("pull_then", about=view.id)
    if pedal is not None and pedal.low is not None:
        code = "pull_pedal"
    elif not capture.sweep.rising and readout.family != "pedal":
        code = "pull_off"
    else:
        code = "pull_on"
    return lines.make(code, number=number, kind="amount", about=view.id, unit=readout.unit)


def _hold(lines: Lines, now: Situation) -> Instruction:
    """Hold on: the time left counts to zero. Before the first instant of it, all of it is left."""
    collect = now.capture.collect
    if collect is None:
        whole, caption = now.capture.hold_us or 0, "caption"
    else:
        whole, caption = max(0, collect.total_us - (now.view.collected_us or 0)), "caption_collect"
    left = now.view.left if now.view.left is not None else whole
    code = hold_code(lines, now.capture)
    made = lines.make(code, number=clock_text(left), kind="clock", about=now.view.id)
    if collect is None:
        return made
    return replace(made, caption=collecting(lines, now, caption))


def hold_code(lines: Lines, capture: Capture) -> str:
    """Which words ask to hold on: this speed, this engine speed, the idle, or just there."""
    if is_standing_capture(capture):
        return "hold_idle"
    band = lead_band(lines, capture)
    family = lines.readouts[band.signal].family if band is not None else "other"
    return {"speed": "hold_speed", "engine": "hold_engine"}.get(family, "hold_it")


def lead_band(lines: Lines, capture: Capture) -> Band | None:
    """The condition that owns the lane of a hold: the first two-sided band, else the first band that can be steered."""
    bands = [b for b in (*capture.keep, *capture.start) if not lines.readouts[b.signal].signal.discrete]
    for band in bands:
        if band.low is not None and band.high is not None and band.low < band.high:
            return band
    steered = [b for b in bands if lines.readouts[b.signal].family not in {"temperature", "other"}]
    return next(iter(steered or bands or (*capture.keep, *capture.start)), None)
