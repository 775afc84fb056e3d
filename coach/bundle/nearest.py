"""How near a capture came that did not qualify: its best attempt in figures, without words or units.

Takes the verdict as JSON, as a check has judged it; it judges nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from coach.core.spec import Capture, JudgePlan
from coach.recording import US, Recording
from coach.review.never import never_met

FRESH_US = 2 * US
"""An engine speed older than this says nothing of the moment."""
MOST_NEVER = 4


def nearest_json(capture: Mapping[str, Any], plan: JudgePlan, recording: Recording) -> dict[str, Any] | None:
    """The best attempt that lacks something, or what kept all from beginning; None where the capture qualified.

    Args:
        capture: one of the verdict's captures.
        plan: what it was judged by.
        recording: the samples.

    Returns:
        `outcome` (missed, stopped, sparse; part: a sum of pieces; todo: never begun), `progress` (0 to 1), `did` and
        `of` (seconds, or values of `swept`), `swept`, `reason` (`code`, `signal`, `value`, `bound`, `t_s`, `upper`),
        `engine_speed` (rpm when it ended, or null), `never` (`signal`, `low`, `high`, `wander` of what was never met).
    """
    asked = next((c for c in plan.captures if c.id == capture["id"]), None)
    if capture["qualified"] >= capture["asked"] or asked is None:
        return None
    told: dict[str, Any] = {
        "outcome": "todo", "progress": 0.0, "did": None, "of": None, "swept": None, "reason": None,
        "engine_speed": None, "never": [],
    }  # fmt: skip
    if capture["collected"] is not None and capture["collected"]["pieces"]:
        did, of = capture["collected"]["total_s"], capture["collected"]["asked_s"]
        return told | {"outcome": "part", "progress": min(1.0, did / of) if of else 0.0, "did": did, "of": of}
    lacking = [a for a in capture["attempts"] if a["secured_s"] is None]
    if not lacking:
        never = [] if capture["attempts"] else never_met(plan, asked, recording)[:MOST_NEVER]
        return told | {"never": [{"signal": b.signal, "low": b.low, "high": b.high, "wander": b.wander} for b in never]}
    best = max(lacking, key=lambda a: (a["progress"], a["duration_s"], -a["start_s"]))
    told |= {"outcome": best["outcome"], "progress": best["progress"]} | _far(asked, best)
    reason = best["reason"]
    if reason is not None:
        upper = next((x.high is not None for x in asked.limits if x.signal == reason["signal"]), True)
        told["reason"] = {k: reason[k] for k in ("code", "signal", "value", "bound", "t_s")} | {"upper": upper}
        told["engine_speed"] = _engine_speed(recording, round(reason["t_s"] * US))
    return told


def _far(asked: Capture, attempt: Mapping[str, Any]) -> dict[str, Any]:
    """How far it came, in what it asks for."""
    if asked.sweep is not None:
        reached = asked.sweep.start + attempt["progress"] * (asked.sweep.to - asked.sweep.start)
        return {"did": reached, "of": asked.sweep.to, "swept": asked.sweep.signal}
    if asked.hold_us is None:
        return {}
    return {"did": attempt["progress"] * asked.hold_us / US, "of": asked.hold_us / US}


def _engine_speed(recording: Recording, t_us: int) -> float | None:
    """What it was then."""
    series = recording.series.get("engine_speed")
    if series is None:
        return None
    last = int(np.searchsorted(series.t_us, t_us, side="right")) - 1
    if last < 0 or t_us - int(series.t_us[last]) > FRESH_US or not np.isfinite(series.value[last]):
        return None
    return float(series.value[last])
