"""A drive plan as JSON: figures in km/h, metres and seconds, sentences in the driver's units."""

from __future__ import annotations

from typing import Any

from coach.plan.capture_plan import CapturePlan, InGear
from coach.plan.drive_plan import DrivePlan, RatePlan
from coach.plan.shown_plan import course, length, need, points
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words


def plan_json(
    plan: DrivePlan, catalogue: Catalogue, *, units: Units | None = None, words: Words | None = None
) -> dict[str, Any]:
    """The plan, JSON-able.

    Args:
        plan: as made.
        catalogue: for the signals' names.
        units: of sentences; the car's own where left out.
        words: of sentences.
    """
    words = words or load_words()
    units = units or (plan.vehicle.units if plan.vehicle is not None else METRIC)
    errors = sum(f.level == "error" for f in plan.findings)
    return {
        "recipe": {"title": plan.recipe.title, "revision": plan.recipe.revision, "sha256": plan.recipe.sha256},
        "vehicle": _vehicle(plan),
        "assumed": {
            "stop_ms2": plan.assumed.stop_ms2, "run_up_ms2": plan.assumed.run_up_ms2,
            "bound_kmh": plan.assumed.bound_kmh,
        },
        "minutes": plan.minutes,
        "order": list(plan.order),
        "captures": [_capture(one, plan, units, words) for one in plan.captures],
        "unknown": [{"code": code, "text": words(f"drive_plan.unknown.{code}")} for code in plan.unknown],
        "signals": [dict(row) for row in plan.signals],
        "rates": None if plan.rates is None else _rates(plan.rates, catalogue, words),
        "errors": errors,
        "warnings": len(plan.findings) - errors,
        "findings": [f.as_dict() for f in plan.findings],
    }  # fmt: skip


def _vehicle(plan: DrivePlan) -> dict[str, Any] | None:
    car = plan.vehicle
    if car is None:
        return None
    return {
        "label": car.label, "transmission": car.transmission, "fuel": car.fuel, "induction": car.induction,
        "hybrid": car.hybrid, "start_stop": car.start_stop, "idle_rpm": car.idle_rpm,
        "rev_limit_rpm": car.rev_limit_rpm, "mass_kg": car.mass_kg,
        "rpm_per_kmh": {str(g): r for g, r in sorted((car.ratios or {}).items())},
        "dial": None if car.dial is None else car.dial.factor,
    }  # fmt: skip


def _capture(one: CapturePlan, plan: DrivePlan, units: Units, words: Words) -> dict[str, Any]:
    capture, main = one.asked, one.main
    return {
        "id": capture.id, "title": capture.title, "place": capture.place, "times": capture.times,
        "kind": "sweep" if capture.sweep is not None else "collect" if capture.collect_us else "hold",
        "low_kmh": one.low_kmh, "high_kmh": one.high_kmh, "full_pedal": one.full_pedal,
        "course": list(one.course), "course_text": course(one, plan.assumed.bound_kmh, units, words),
        "top_kmh": None if main is None or capture.sweep is None else main.top_kmh,
        "room_m": None if main is None else main.total_m,
        "room_text": length(main.total_m, units) if main is not None and main.total_m is not None else "",
        "need_text": need(one, units, words),
        "why": words(f"drive_plan.why.{one.why}") if one.why else "",
        "gears": [_row(row, words) for row in one.rows],
    }  # fmt: skip


def _row(row: InGear, words: Words) -> dict[str, Any]:
    return {
        "gear": row.gear or None, "from_rpm": row.from_rpm, "to_rpm": row.to_rpm, "from_kmh": row.from_kmh,
        "to_kmh": row.to_kmh, "seconds": row.seconds, "metres": row.metres, "how": row.how,
        "how_text": words(f"drive_plan.how.{row.how}") if row.how else "", "run_up_m": row.run_up_m,
        "stop_m": row.stop_m, "total_m": row.total_m,
        "why": words(f"drive_plan.why.{row.why}") if row.why else "",
        "points": [{"rpm": rpm, "kmh": kmh} for rpm, kmh in points(row)],
    }  # fmt: skip


def _rates(rates: RatePlan, catalogue: Catalogue, words: Words) -> dict[str, Any]:
    model = rates.link.model
    return {
        "measured": rates.link.measured, "batch": model.batch, "single_ms": model.single_us / 1000,
        "batch_ms": model.batch_us / 1000, "samples_hz": model.samples_hz, "feasible": rates.feasible,
        "signals": [
            {"signal": e.signal, "name": words.title(catalogue[e.signal]), "asked_hz": e.asked_hz,
             "expected_hz": e.expected_hz, "least_hz": e.least_hz, "offered": e.offered, "enough": e.enough}
            for e in rates.signals
        ],
        "changes": None if rates.changes is None else [
            {"signal": c.signal, "from_hz": c.from_hz, "to_hz": c.to_hz} for c in rates.changes
        ],
        "sweeps": [
            {"capture": s.capture, "rise_rpm_s": s.rise_rpm_s, "need_hz": s.need_hz, "short": s.short, "text": s.text}
            for s in rates.sweeps
        ],
    }  # fmt: skip
