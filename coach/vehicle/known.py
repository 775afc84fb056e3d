"""What a vehicle file says, as short facts, and which missing values keep something from being said."""

from __future__ import annotations

from coach.vehicle.model import Vehicle

MATTERS = (
    "label", "transmission", "fuel", "induction", "start_stop", "idle_rpm", "rev_limit_rpm", "ratios", "mass_kg",
    "road_load", "full_load_kw", "range_km", "released_pct", "dial", "offers",
)  # fmt: skip
"""Fields of a vehicle whose absence keeps something from being said, in the order of the file."""


def missing_of(car: Vehicle) -> list[str]:
    """Fields that are not known and matter."""
    missing = [name for name in MATTERS if getattr(car, name) is None]
    # A hybrid is known to stop its engine; a CVT has no ratios to miss.
    if car.hybrid is not None and "start_stop" in missing:
        missing.remove("start_stop")
    if car.transmission == "CVT" and "ratios" in missing:
        missing.remove("ratios")
    return missing


def known_of(car: Vehicle) -> dict[str, str]:
    """What is known, as text by key."""
    facts: dict[str, object] = {
        "label": car.label, "transmission": car.transmission, "fuel": car.fuel, "induction": car.induction,
        "hybrid": _yes(car.hybrid), "start_stop": _yes(car.start_stop),
        "idle_speed": _number(car.idle_rpm, "rpm"), "rev_limit": _number(car.rev_limit_rpm, "rpm"),
        "mass": _number(car.mass_kg, "kg"), "range": _number(car.range_km, "km"),
        "speed_delay": _number(car.delay_us / 1000, "ms") if car.delay_us else None,
        "circumference": None if car.circumference_m is None else f"{car.circumference_m * 1000:.0f} mm",
    }  # fmt: skip
    for gear, ratio in sorted((car.ratios or {}).items()):
        facts[f"gear {gear}"] = f"{ratio:.2f} rpm per km/h, {car.kmh(gear, 1000):.1f} km/h at 1000 rpm"
    if car.road_load is not None:
        load = car.road_load
        facts["road_load"] = f"{load.at(50):.0f} N at 50 km/h, {load.at(100):.0f} N at 100 km/h"
    if car.full_load_kw is not None:
        rpm, kw = max(car.full_load_kw, key=lambda point: point[1])
        low, high = car.full_load_kw[0][0], car.full_load_kw[-1][0]
        facts["full_load"] = f"{low:.0f} to {high:.0f} rpm, at most {kw:.0f} kW at {rpm:.0f} rpm"
    if car.released_pct is not None and car.floored_pct is not None:
        facts["pedal"] = f"{car.released_pct:g} to {car.floored_pct:g} %"
    if car.dial is not None:
        facts["dial"] = f"shows {car.dial.shows(100):.0f} at 100 km/h"
    facts["fixed_barometric"] = _number(car.fixed_baro_kpa, "kPa")
    facts["offers"] = None if car.offers is None else f"{len(car.offers)} signals"
    return {key: str(value) for key, value in facts.items() if value is not None}


def _number(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}"


def _yes(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"
