"""Kinds of vehicle: what a transmission, a fuel, an induction, a hybrid or start-stop refuses, offers or asks for.

All of it is common practice without a source.
"""

from __future__ import annotations

from collections.abc import Iterator

from coach.plan.at import At
from coach.plan.capture_plan import asks_full_pedal, band_of
from coach.recipe import CaptureAsked, Finding, Recipe
from coach.recipe.lines import Path
from coach.vehicle import Vehicle

BOOST = frozenset(("gauge_boost", "manifold_pressure_commanded"))
TRIMS = frozenset(("short_trim_1", "long_trim_1", "short_trim_2", "long_trim_2"))
ONE_BYTE_KPA = 255.0
"""Where a manifold pressure of one byte ends, absolute."""
TWO_BYTES = "Where the car gives it in two bytes too, say so: manifold_pressure_bytes = 2 in the vehicle file."
CHARGED = frozenset(("turbocharged", "supercharged"))


def check_kind(recipe: Recipe, vehicle: Vehicle, *, one_byte: bool = True) -> Iterator[Finding]:
    """What this kind of vehicle has to say to each capture.

    Args:
        recipe: as loaded.
        vehicle: the car.
        one_byte: manifold pressure is read in one byte, or nobody looked at the car yet.

    Returns:
        Errors: `no_gears` (CVT), `no_boost` (naturally aspirated), `no_trims` (diesel). Warnings: `hold_gear`
        (automatic, dual-clutch), `one_byte_pressure`, `engine_may_stop` (hybrid, start-stop).
    """
    at = At(recipe)
    for index, capture in enumerate(recipe.captures):
        yield from _transmission(at, index, capture, vehicle)
        yield from _boost(at, index, capture, recipe, vehicle, one_byte=one_byte)
        yield from _fuel(at, index, capture, recipe, vehicle, one_byte=one_byte)
        yield from _stops(at, index, capture, vehicle)


def named(recipe: Recipe, capture: CaptureAsked, names: frozenset[str]) -> Iterator[tuple[Path, str, bool]]:
    """Where a capture names one of these signals: path inside the capture, name, whether it cannot do without."""
    if capture.sweep is not None and capture.sweep.signal in names:
        yield ("sweep", capture.sweep.signal), capture.sweep.signal, True
    for part, items in (("start", capture.start), ("keep", capture.keep), ("limit", capture.limits)):
        for item in items:
            if item.signal in names:
                yield (part, item.signal), item.signal, True
    for name, asked in recipe.recorded(capture).items():
        if name in names:
            yield ("record", name), name, asked.need


def _transmission(at: At, index: int, capture: CaptureAsked, vehicle: Vehicle) -> Iterator[Finding]:
    gear = band_of(capture, "gear") or next((b for b in capture.start if b.signal == "gear"), None)
    if gear is None:
        return
    path = ("keep" if band_of(capture, "gear") is not None else "start", "gear")
    if vehicle.transmission == "CVT":
        yield at(
            "error", "no_gears", "a continuously variable transmission has no gears", index, path,
            _speed_ratio(vehicle, gear.low),
        )  # fmt: skip
    elif vehicle.transmission in ("automatic", "dual-clutch"):
        kick = " and a pedal just short of kick-down" if asks_full_pedal(capture) else ""
        slip = "; a converter that slips up to 12 % still counts" if vehicle.transmission == "automatic" else ""
        yield at(
            "warning", "hold_gear", f"the box may change gear by itself{slip}", index, path,
            f"Ask for manual mode{kick}, as words in ask.",
        )  # fmt: skip


def _speed_ratio(vehicle: Vehicle, gear: float | None) -> str:
    """The band of speed ratio that says the same, where a ratio of that gear is known."""
    ratio = (vehicle.ratios or {}).get(round(gear)) if gear is not None else None
    if ratio is None:
        return "Ask for speed_ratio instead: engine speed over road speed, rpm per km/h."
    return f"Ask for speed_ratio = {{ min = {ratio * 0.92:.3g}, max = {ratio * 1.08:.3g} }} instead."


def _boost(
    at: At, index: int, capture: CaptureAsked, recipe: Recipe, vehicle: Vehicle, *, one_byte: bool
) -> Iterator[Finding]:
    if vehicle.induction == "naturally aspirated":
        for path, name, need in named(recipe, capture, BOOST):
            yield at(
                "error" if need else "warning", "no_boost", f"{name}: a naturally aspirated engine has no boost",
                None if path[0] == "record" and capture.record is None else index, path,
                "Ask for manifold_pressure, or take it out.",
            )  # fmt: skip
        return
    capped = any(
        limit.high is not None and limit.signal in ("gauge_boost", "manifold_pressure") for limit in capture.limits
    )
    pressed = asks_full_pedal(capture) and "manifold_pressure" in recipe.recorded(capture)
    if one_byte and pressed and not capped and vehicle.induction in CHARGED:
        yield at(
            "warning", "one_byte_pressure",
            f"manifold_pressure of one byte ends at {ONE_BYTE_KPA:g} kPa absolute: more than about 155 kPa gauge is "
            "not seen, and no limit stops the pull before",
            None if capture.record is None else index, ("record", "manifold_pressure"),
            f"Limit gauge_boost below 145 kPa. {TWO_BYTES}",
        )  # fmt: skip


def _fuel(
    at: At, index: int, capture: CaptureAsked, recipe: Recipe, vehicle: Vehicle, *, one_byte: bool
) -> Iterator[Finding]:
    if vehicle.fuel != "diesel":
        return
    for path, name, need in named(recipe, capture, TRIMS):
        yield at(
            "error" if need else "warning", "no_trims", f"{name}: a diesel engine has no fuel trims",
            None if path[0] == "record" and capture.record is None else index, path, "Take it out.",
        )  # fmt: skip
    for path, name, _ in named(recipe, capture, frozenset(("manifold_pressure",))) if one_byte else ():
        if path[0] == "record" and asks_full_pedal(capture) and vehicle.induction not in CHARGED:
            yield at(
                "warning", "one_byte_pressure",
                f"{name} of one byte ends at {ONE_BYTE_KPA:g} kPa, and diesels go there",
                None if capture.record is None else index, path,
                TWO_BYTES,
            )  # fmt: skip


def _stops(at: At, index: int, capture: CaptureAsked, vehicle: Vehicle) -> Iterator[Finding]:
    engine, speed = band_of(capture, "engine_speed"), band_of(capture, "road_speed")
    stands = capture.place == "parked" or (speed is not None and speed.high == 0)
    runs = engine is not None and engine.low is not None and engine.low > 0
    if not (stands and runs):
        return
    if vehicle.hybrid:
        yield at(
            "warning", "engine_may_stop", "a hybrid switches its engine off at standstill", index,
            ("keep", "engine_speed"),
            "Say in ask how to keep it running: the maintenance mode of the owner's handbook, or cabin heat on full.",
        )  # fmt: skip
    elif vehicle.start_stop:
        yield at(
            "warning", "engine_may_stop", "start-stop switches the engine off at standstill", index,
            ("keep", "engine_speed"), "Say in ask to switch start-stop off with its button before the idle.",
        )  # fmt: skip
