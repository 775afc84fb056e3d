"""What a car offers against what a recipe wants: missing signals, and stand-ins, named and never taken silently."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from coach.plan.at import At
from coach.plan.resolve import choose
from coach.recipe import Finding, Recipe
from coach.signals import Catalogue
from coach.vehicle import Vehicle
from coach.vehicle.stand_in import FixedBarometric
from coach.words import Words


@dataclass(frozen=True, slots=True)
class StandIn:
    """A signal that could stand in for another, and what that costs; taken only when the recipe is changed."""

    signal: str
    cost: str


STAND_INS: Mapping[str, tuple[StandIn, ...]] = {
    "throttle": (
        StandIn("commanded_throttle", "it shows what the engine control asks of the plate, not where it is"),
        StandIn("pedal_travel", "the engine control may close the plate under a floored pedal: that would not show"),
        StandIn("pedal", "the plate may close unseen, and a raw pedal rests above 0 and ends below 100 %"),
    ),
    "pedal_travel": (
        StandIn("relative_pedal", "it ends below 100 % on most cars"),
        StandIn("pedal", "it rests above 0 and ends near 85 % on real cars: fit the bands to this one"),
    ),
    "pedal": (StandIn("pedal_e", "the second sensor, often half of the first"),
              StandIn("relative_pedal", "it ends below 100 % on most cars")),
    "gauge_boost": (
        StandIn("manifold_pressure", "with one reading of the air, fixed_barometric in the vehicle file: wrong by 1 "
                "kPa for 85 m of height and by the day's weather"),
    ),
    "barometric_pressure": (
        StandIn("", "one reading with the engine off, fixed_barometric in the vehicle file: wrong by 1 kPa for 85 m of "
                "height"),
    ),
    "mass_airflow": (StandIn("manifold_pressure", "airflow from pressure and temperature needs the engine's filling"),),
    "oil_temp": (StandIn("coolant_temp", "oil lags coolant: ask for ten minutes of running as well"),),
    "calculated_load": (StandIn("manifold_pressure", "it is a pressure, not a share"),),
    "absolute_load": (StandIn("manifold_pressure", "it is a pressure, not a share"),),
    "road_speed": (),
    # Commanded lambda says what is aimed at: it never stands in for lambda that was measured.
    "lambda": (),
    "lambda_1": (),
}  # fmt: skip


def stand_ins(name: str, offered: Collection[str]) -> tuple[StandIn, ...]:
    """What could stand in for a missing signal, of what is offered; the best first."""
    return tuple(one for one in STAND_INS.get(name, ()) if not one.signal or one.signal in offered)


def signal_table(
    recipe: Recipe, catalogue: Catalogue, vehicle: Vehicle | None, offered: Collection[str] | None, words: Words
) -> list[dict[str, Any]]:
    """Every signal that the recipe wants: how it comes, or what could stand in, JSON-able.

    Args:
        recipe: as loaded.
        catalogue: the signals.
        vehicle: derives some of them, or None.
        offered: what the car carries, or None when nobody knows.
        words: the language of the signals' names.

    Returns:
        For each signal `{signal, name, how, inputs, stand_ins: [{signal, cost}]}`; how is `offered`, `derived`,
        `stand-in` (a declared one is used), `missing` or `unknown`.
    """
    rows = []
    wanted = dict.fromkeys(n for c in recipe.captures for n in (*c.signals(), *recipe.recorded(c)))
    for name in wanted:
        recorded = {n for c in recipe.captures for n in recipe.recorded(c)}
        way = choose(name, recorded, vehicle, offered)
        inputs = list(way.inputs) if way is not None else []
        if offered is not None and name in offered:
            how = "offered"
        elif way is not None:
            there = offered is None or all(i in offered for i in inputs)
            how = ("stand-in" if isinstance(way, FixedBarometric) else "derived") if there else "missing"
        elif catalogue[name].inputs or offered is not None:
            how = "missing"
        else:
            how = "unknown"
        missing = [i for i in inputs if offered is not None and i not in offered] if how == "missing" else []
        could = [one for n in (name, *missing) for one in stand_ins(n, offered or ())] if how == "missing" else []
        rows.append({
            "signal": name, "name": words.title(catalogue[name]), "how": how, "inputs": inputs,
            "stand_ins": [{"signal": one.signal, "cost": one.cost} for one in could],
        })  # fmt: skip
    return rows


def with_stand_ins(finding: Finding, offered: Collection[str]) -> str:
    """What to change about a missing signal, with the stand-ins that this car has; empty where it has none."""
    name = str(finding.path[-1])
    could = stand_ins(name, offered)
    if not could:
        return ""
    said = ", or ".join(f"{one.signal or 'one fixed reading'} ({one.cost})" for one in could[:2])
    return f"Could stand in, at a cost: {said}. It is not taken by itself: write it into the recipe."


def check_stand_ins(recipe: Recipe, vehicle: Vehicle, offered: Collection[str] | None) -> Iterator[Finding]:
    """A warning for each stand-in that a person declared and that is used, and for a raw pedal that ends too early.

    Returns:
        Warning `stand_in`; error `pedal_out_of_reach`.
    """
    at = At(recipe)
    for index, capture in enumerate(recipe.captures):
        names = dict.fromkeys((*capture.signals(), *recipe.recorded(capture)))
        for name in names:
            way = choose(name, recipe.recorded(capture), vehicle, offered)
            if isinstance(way, FixedBarometric):
                yield at(
                    "warning", "stand_in",
                    f"{name} stands on one barometric reading of {way.baro_kpa:g} kPa: wrong by 1 kPa for 85 m of "
                    "height and by the day's weather",
                    index, _path(capture, name), "Read it again on the day, where the drive is made.",
                )  # fmt: skip
        for part, bands in (("start", capture.start), ("keep", capture.keep)):
            for band in bands:
                if band.signal == "pedal" and band.low is not None and vehicle.floored_pct is not None:
                    ends = vehicle.floored_pct
                    if band.low > ends:
                        yield at(
                            "error", "pedal_out_of_reach", f"the raw pedal of this car ends at {ends:g} %", index,
                            (part, "pedal"), "Ask for pedal_travel, which is 100 % there.",
                        )  # fmt: skip


def _path(capture: object, name: str) -> tuple[str, ...]:
    for part, attribute in (("keep", "keep"), ("start", "start"), ("limit", "limits")):
        if any(item.signal == name for item in getattr(capture, attribute)):
            return part, name
    return "record", name


def check_reached(recipe: Recipe, catalogue: Catalogue, highest: Mapping[str, float]) -> Iterator[Finding]:
    """A warning `not_seen_so_high` where an earlier drive of this car never came up to what is asked for.

    Args:
        recipe: as loaded.
        catalogue: the signals.
        highest: the highest value of each signal in the earlier drives.
    """
    at = At(recipe)
    for index, capture in enumerate(recipe.captures):
        for part, bands in (("start", capture.start), ("keep", capture.keep)):
            for band in bands:
                seen = highest.get(band.signal)
                if catalogue[band.signal].quantity != "percent" or seen is None or band.low is None:
                    continue
                if seen < band.low:
                    yield at(
                        "warning", "not_seen_so_high",
                        f"{band.signal} never came above {seen:.4g} % in the earlier drive", index, (part, band.signal),
                        "Learn the pedal's two ends and ask for pedal_travel." if band.signal.startswith("pedal")
                        else "Ask for less, or see in a drive that it goes so far.",
                    )  # fmt: skip
