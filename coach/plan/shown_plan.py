"""How the figures of a plan are shown to people: lengths rounded up, speeds, the one sentence about room."""

from __future__ import annotations

import math

from coach.plan.capture_plan import CapturePlan, InGear
from coach.shown import Units, show, show_band
from coach.words import Words

FOOT_M = 0.3048
"""Exact by definition."""
MILE_M = 1609.344


def length(metres: float, units: Units) -> str:
    """A length of road, rounded up: to 10 m, from 1 km on to 0.1 km; in feet and miles where speeds are in mph."""
    if units.speed == "mph":
        feet = math.ceil(metres / FOOT_M / 50 - 1e-9) * 50
        return f"{feet} ft" if feet < 2640 else f"{math.ceil(metres / MILE_M * 10 - 1e-9) / 10:.1f} mi"
    whole = math.ceil(metres / 10 - 1e-9) * 10
    return f"{whole} m" if whole < 1000 else f"{math.ceil(metres / 100 - 1e-9) / 10:.1f} km"


def speed(kmh: float, units: Units) -> str:
    """A speed in the driver's unit."""
    return str(show(kmh, "km/h", units))


def span(row: InGear, units: Units, *, held: bool) -> tuple[str, str]:
    """Both speeds of a capture in one gear; those of a hold as the readings that pass, as everywhere else."""
    if not held:
        return speed(row.from_kmh, units), speed(row.to_kmh, units)
    low, high = show_band(row.from_kmh, row.to_kmh, "km/h", units, step=1.0)
    return str(low), str(high)


def need(plan: CapturePlan, units: Units, words: Words) -> str:
    """What a sweep comes to, in one sentence: the speed it ends at and the room it needs; empty for other captures."""
    sweep, row = plan.asked.sweep, plan.main
    if sweep is None:
        return ""
    if row is None:
        why = words(f"drive_plan.why.{plan.why}") if plan.why else ""
        return words("drive_plan.need.nothing", why=why) if why else ""
    falling = "_falling" if sweep.to < sweep.start else ""
    said = {"speed": speed(row.top_kmh, units)}
    if row.total_m is None:
        return words(f"drive_plan.need.unknown{falling}", **said)
    key = "most" if row.how in ("at most", "coasting") else "whole"
    return words(f"drive_plan.need.{key}{falling}", room=length(row.total_m, units), **said)


def course(plan: CapturePlan, bound_kmh: float, units: Units, words: Words) -> str:
    """Why a capture belongs on a closed course, in one sentence; empty where it does not."""
    if not plan.course:
        return ""
    bound = speed(bound_kmh, units)
    reasons = [words(f"drive_plan.course.{code}", bound=bound) for code in plan.course if code != "asked"]
    reasons = reasons or [words("drive_plan.course.asked")]
    return words("drive_plan.course.needed", reasons=words("drive_plan.course.and").join(reasons))


def points(row: InGear, step_rpm: float = 500.0) -> list[tuple[float, float]]:
    """Engine speed and road speed along a capture in one gear: both ends and every round engine speed between."""
    if row.from_rpm is None or row.to_rpm is None:
        return []
    low, high = sorted((row.from_rpm, row.to_rpm))
    ratio = row.from_rpm / row.from_kmh if row.from_kmh else row.to_rpm / row.to_kmh
    inner = [n * step_rpm for n in range(math.ceil(low / step_rpm), math.floor(high / step_rpm) + 1)]
    rpms = sorted({low, high, *(n for n in inner if n - low > 1 and high - n > 1)})
    return [(n, n / ratio) for n in rpms]
