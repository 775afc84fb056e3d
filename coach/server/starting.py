"""What a drive is started with: what the server was given, what was said before the first sample, and the vehicle."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coach.facts import fact_marks
from coach.recipe import Recipe
from coach.recording import Mark
from coach.server.carlink import GivenLink
from coach.server.cars import Car, with_learned
from coach.server.garage import Entry
from coach.shown import Units
from coach.sources.base import Source
from coach.vehicle import Vehicle, parse_vehicle

ROLE = "role"
"""Text of a mark that skips a capture only because of who holds the phone."""


@dataclass(frozen=True)
class Given:
    """What was named when the server was started: recipes, tables, adapters, and the vehicle of those."""

    recipes: tuple[Path, ...] = ()
    tables: tuple[Path, ...] = ()
    vehicle: bytes | None = None
    links: tuple[GivenLink, ...] = ()


def first_marks(recipe: Recipe, role: str | None, acknowledged: Iterable[str]) -> tuple[Mark, ...]:
    """What was said before the first sample: the notes agreed to, and who holds the phone.

    With a driver who is parked, everything but the captures made standing is skipped: it waits for a passenger.
    """
    marks = [Mark(0, "acknowledge", None, code) for code in acknowledged]
    if role is not None:
        marks.append(Mark(0, "role", None, role))
    if role == "driver":
        marks += [Mark(0, "skip", c.id, ROLE) for c in recipe.captures if c.place != "parked"]
    return tuple(marks)


def car_marks(car: Car, confirmed: int | None) -> tuple[Mark, ...]:
    """What is known of the car as a drive's marks; `confirmed` is the revision that a person confirmed it for."""
    learned = () if car.dial is None else (Mark(0, "dial", None, car.dial.mark()),)
    return fact_marks(car.facts, confirmed if car.facts else None) + learned


def vehicle_of(
    text: str | None, entry: Entry, car: Car, units: Units | None = None
) -> tuple[Vehicle | None, bytes | None, str | None]:
    """The vehicle of a drive: the one handed in, else the source's own; with what was learned of it."""
    given: bytes | None
    if text is not None:
        given, name = text.encode(), "vehicle.toml"
        parse_vehicle(given, name=name)  # what is wrong with it is said of it as it was handed in
    else:
        given, name = entry.vehicle, f"{entry.title}: vehicle"
    body = with_learned(given, car, units)
    if body is None:
        return None, None, None
    return parse_vehicle(body, name=name), body, name


def source_facts(entry: Entry, source: Source, speed: float | None, *, people: bool) -> dict[str, Any]:
    """What is kept with a drive about where its samples come from."""
    return {
        "kind": source.kind, "id": entry.id, "title": entry.title, "speed": speed, "people_recorded": people,
        "meta": dict(source.meta),
    }  # fmt: skip
