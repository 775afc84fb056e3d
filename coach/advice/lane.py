"""The lane and the rows of the leading capture: where values stand in their bands, as the page draws them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from coach.advice.instruct import lead_band, swept
from coach.advice.lines import Lines
from coach.advice.readout import Readout, clock_text
from coach.advice.state import US
from coach.core.events import Attempt
from coach.core.spec import Capture, Limit
from coach.core.view import CaptureView, ConditionView, LimitView

MOST_ROWS = 3
_NO_VALUE = ("missing", "stale", "unknown", "unreadable", "out_of_range")


def ceiling_of(capture: Capture) -> Limit | None:
    """A sweep's ceiling: its first upper limit."""
    return next((x for x in capture.limits if x.high is not None), None)


def lane(lines: Lines, capture: Capture, view: CaptureView, *, lost: bool) -> dict[str, Any] | None:
    """The lane of a capture, or None where it has no condition at all."""
    if capture.sweep is not None:
        return _sweep_lane(lines, capture, view, lost=lost)
    band = lead_band(lines, capture)
    condition = None if band is None else _condition_of(view, band.signal)
    if condition is None:
        return None
    readout = lines.readouts[condition.signal]
    low_text, high_text = readout.bounds(condition.low, condition.high)
    status = "stale" if lost else condition.status
    made = _frame("hold", readout, condition.value, condition.low, condition.high, status)
    made["spare"] = _spare(readout, condition, lost=lost)
    made["low"], made["high"] = condition.low, condition.high
    made["low_text"], made["high_text"] = low_text, high_text
    # What is collected stays collected, also between two pieces.
    counts = view.phase in {"running", "held"} or capture.collect is not None
    made["progress"] = round(view.progress if counts else 0.0, 4)
    made["goal"] = clock_text(capture.collect.total_us if capture.collect is not None else capture.hold_us or 0)
    made["ghost"] = _ghost(view)
    y = _height(condition.value, *band_ends(readout, condition.low, condition.high))
    made["head"] = None if y is None else {"x": made["progress"], "y": y}
    return made


def warm_lane(lines: Lines, condition: ConditionView, first: float, spare: str) -> dict[str, Any] | None:
    """The lane of a warm-up: across runs the temperature, from where it was first seen to where it must be."""
    low = condition.low
    if low is None or condition.value is None:
        return None
    readout = lines.readouts[condition.signal]
    start = min(first // 10 * 10, low - 20)
    done = min(1.0, max(0.0, (condition.value - start) / (low - start)))
    made = _frame("warm", readout, condition.value, low, condition.high, condition.status)
    made["spare"] = spare
    made["low_text"] = readout.value(start)
    made["progress"] = round(done, 4)
    made["goal"] = readout.bounds(low, None)[0]
    made["swept"] = condition.signal
    made["head"] = {"x": made["progress"], "y": 0.5}
    return made


def _sweep_lane(lines: Lines, capture: Capture, view: CaptureView, *, lost: bool) -> dict[str, Any] | None:
    sweep = capture.sweep
    condition = swept(view)
    if sweep is None or condition is None:
        return None
    readout = lines.readouts[sweep.signal]
    across = 0.0
    if condition.value is not None:
        across = min(1.0, max(0.0, (condition.value - sweep.start) / (sweep.to - sweep.start)))
    ceiling = ceiling_of(capture)
    limit = None if ceiling is None else next((x for x in view.limits if x.signal == ceiling.signal and x.upper), None)
    if limit is not None:
        up = lines.readouts[limit.signal]
        made = _limit_frame(lines, up, limit, lost=lost)
    else:
        made = _frame("sweep", readout, condition.value, None, None, "stale" if lost else condition.status)
        made["head"] = {"x": 0.0, "y": 0.5}
    made["low_text"] = readout.value(sweep.start, sweep.start, sweep.start)
    made["progress"] = round(view.progress if view.phase in {"running", "held"} else 0.0, 4)
    made["goal"] = f"{readout.value(sweep.to, sweep.to, sweep.to)} {readout.unit}".strip()
    made["swept"] = sweep.signal
    made["ghost"] = _ghost(view)
    if made["head"] is not None:
        # Before it begins the head stands left of the post, however far the engine already turns.
        made["head"]["x"] = round(across, 4) if view.phase in {"running", "held", "armed"} else 0.0
    return made


def _limit_frame(lines: Lines, readout: Readout, limit: LimitView, *, lost: bool) -> dict[str, Any]:
    status = {"inside": "met", "beyond": "high", "unseen": "unknown"}[limit.status]
    bound_text = readout.bounds(None, limit.bound)[1] or ""
    made = _frame("sweep", readout, limit.value, None, limit.bound, "stale" if lost else status)
    if limit.value is None or lost or limit.status == "unseen":
        made["spare"] = lines.words("row.no_data")
    else:
        made["spare"] = readout.spare(limit.value, None, limit.bound)
    made["high"] = limit.bound
    made["ceiling"] = limit.bound
    made["ceiling_text"] = lines.words("row.limit", bound=bound_text)
    y = _height(limit.value, *ceiling_ends(readout, limit.bound))
    made["head"] = None if y is None else {"x": 0.0, "y": y}
    return made


def ceiling_ends(readout: Readout, bound: float) -> tuple[float, float]:
    """What the lane's height spans under a ceiling: from nothing (or the least there is) up to the limit."""
    low = readout.signal.low
    return (0.0 if low < 0 < bound else low), bound


def _frame(
    kind: str, readout: Readout, value: float | None, low: float | None, high: float | None, status: str
) -> dict[str, Any]:
    return {
        "kind": kind, "signal": readout.signal.name, "name": readout.name, "unit": readout.unit,
        "value": readout.value(value, low, high), "status": status, "spare": "", "low": None, "high": None,
        "low_text": None, "high_text": None, "progress": 0.0, "goal": None, "ceiling": None, "ceiling_text": None,
        "swept": None, "ghost": None, "head": None,
    }  # fmt: skip


def _ghost(view: CaptureView) -> float | None:
    """How far the best failed attempt came, as long as it is not beaten."""
    best: Attempt | None = view.best
    if best is None or best.progress <= 0 or view.secured_count:
        return None
    return None if view.phase == "running" and view.progress > best.progress else round(best.progress, 4)


def band_ends(readout: Readout, low: float | None, high: float | None) -> tuple[float, float]:
    """What the lane's height spans: the band, or a quarter of the plausible range where one side is open."""
    reach = (readout.signal.high - readout.signal.low) / 4
    if low is not None and high is not None and high > low:
        return low, high
    if low is not None:
        return low, low + reach
    if high is not None:
        return high - reach, high
    return readout.signal.low, readout.signal.high


def _height(value: float | None, low: float, high: float) -> float | None:
    return None if value is None or high <= low else round((value - low) / (high - low), 4)


def _condition_of(view: CaptureView, signal: str) -> ConditionView | None:
    return next((c for c in view.conditions if c.signal == signal and c.role != "sweep"), None)


def _spare(readout: Readout, condition: ConditionView, *, lost: bool) -> str:
    words = readout.words
    if lost:
        return words("row.no_data")
    if condition.status == "unknown":
        return words("row.not_known")
    if condition.status in {"missing", "stale"} or condition.value is None:
        return words("row.no_data")
    if condition.status in {"unreadable", "out_of_range"}:
        return words("row.unreadable")
    if condition.status == "wander":
        return words("row.unsteady")
    if condition.status == "saturated":
        return words("row.off_scale")
    return readout.spare(condition.value, condition.low, condition.high)


def _row_conditions(lines: Lines, capture: Capture, view: CaptureView) -> Iterator[ConditionView]:
    """Conditions but for the lane's own, one a signal: what is kept first, in the recipe's order."""
    lead = None if capture.sweep is not None else lead_band(lines, capture)
    seen = {lead.signal} if lead is not None else set()
    for role in ("keep", "start"):
        for condition in view.conditions:
            if condition.role == role and condition.signal not in seen:
                seen.add(condition.signal)
                yield condition


def rows(
    lines: Lines, capture: Capture, view: CaptureView, t_us: int, *, lost: bool
) -> tuple[list[dict[str, Any]], str | None]:
    """At most three rows and what is said of the rest; one of the rest that fails takes the last row."""
    every = list(_row_conditions(lines, capture, view))
    shown, rest = every[:MOST_ROWS], every[MOST_ROWS:]
    if view.phase == "running":
        # A start condition has had its say once the attempt runs.
        failing = [c for c in rest if c.status != "met" and c.role == "keep"]
    else:
        failing = [c for c in rest if c.status != "met"]
    if failing and rest:
        rest = [c for c in rest if c is not failing[0]] + [shown[-1]]
        shown = [*shown[:-1], failing[0]]
    more = None
    if rest:
        wrong = sum(c.status != "met" for c in rest)
        verdict = lines.words("row.more_wrong", wrong=wrong) if wrong else lines.words("row.more_right")
        more = lines.words("row.more", count=len(rest), verdict=verdict)
    return [_row(lines, c, t_us, lost=lost) for c in shown], more


def _row(lines: Lines, condition: ConditionView, t_us: int, *, lost: bool) -> dict[str, Any]:
    readout = lines.readouts[condition.signal]
    known = condition.value is not None and not lost and condition.status not in _NO_VALUE
    low, high, at = _track(readout, condition)
    value = condition.value if known else None
    return {
        "signal": condition.signal, "name": readout.name, "unit": readout.unit if known else "",
        "value": readout.value(value, condition.low, condition.high),
        "asked": readout.asked(condition.low, condition.high, condition.wander),
        "spare": _spare(readout, condition, lost=lost), "status": "stale" if lost else condition.status,
        "low": low, "high": high, "at": at if known else None,
        "age_s": None if condition.t_us is None else round(max(0, t_us - condition.t_us) / US, 1),
    }  # fmt: skip


def _track(readout: Readout, condition: ConditionView) -> tuple[float, float, float | None]:
    """The allowed stretch of a row's rule and the place of the value on it, all 0 to 1."""
    low, high = condition.low, condition.high
    reach = (readout.signal.high - readout.signal.low) / 4
    if low is not None and high is not None and high > low:
        left, whole, start, end = 2 * low - high, 3 * (high - low), 1 / 3, 2 / 3
    elif low is not None and high is not None:  # one value, a gear: half a step to each side is its stretch
        left, whole, start, end = low - 1.0, 2.0, 0.25, 0.75
    elif low is not None:
        left, whole, start, end = low - 0.4 * reach, reach, 0.4, 1.0
    elif high is not None:
        left, whole, start, end = high - 0.6 * reach, reach, 0.0, 0.6
    else:
        left, whole, start, end = readout.signal.low, 4 * reach, 0.0, 1.0
    at = None
    if condition.value is not None and whole > 0:
        at = round(min(1.0, max(0.0, (condition.value - left) / whole)), 3)
    return round(start, 3), round(end, 3), at
