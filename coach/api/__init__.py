"""What other programs may use: few typed functions, paths or objects in and plain data out. Stable within format 1.

Every function raises `coach.errors.CoachError` with one sentence for what a person can cause, and nothing else.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coach.recipe import Recipe
from coach.recording import Recording
from coach.vehicle import Vehicle

if TYPE_CHECKING:
    from coach.bundle.opening import Opened
    from coach.signals import Catalogue

File = str | os.PathLike[str]

__all__ = [
    "changes", "check_bundle", "check_recipe", "judge", "load_recipe", "load_vehicle", "open_bundle", "parse_recipe",
    "prove", "read_drive", "schemas",
]  # fmt: skip


def load_recipe(file: File, vehicle: Vehicle | File | None = None) -> Recipe:
    """A recipe from a file, TOML or JSON; with a vehicle it may name that car's own signals. Raises RecipeError."""
    from coach.recipe import load_recipe as load

    return load(Path(file), _catalogue(_vehicle(vehicle)))


def parse_recipe(text: str | bytes, vehicle: Vehicle | File | None = None, *, name: str = "recipe") -> Recipe:
    """A recipe from its text; `name` is what errors call it. Raises RecipeError."""
    from coach.recipe import parse_recipe as parse

    return parse(text, name=name, catalogue=_catalogue(_vehicle(vehicle)))


def load_vehicle(file: File) -> Vehicle:
    """A vehicle from its TOML file. Raises VehicleError with the line and what would be right."""
    from coach.vehicle import load_vehicle as load

    return load(Path(file))


def read_drive(file: File, vehicle: Vehicle | File | None = None) -> Recording:
    """A recorded drive from a table: CSV, CSV packed with gzip, or Parquet. Raises TableError."""
    path, catalogue = Path(file), _catalogue(_vehicle(vehicle))
    if path.suffix.lower() == ".parquet":
        from coach.sources.parquet import read_parquet

        return read_parquet(path, catalogue)
    from coach.sources.table import read_table

    return read_table(path, catalogue)


def check_recipe(recipe: Recipe | File, vehicle: Vehicle | File | None = None) -> list[dict[str, Any]]:
    """What the check has to say: `level`, `code`, `message`, `where`, `line`, `change`; empty when nothing.

    Args:
        recipe: the recipe, or its file.
        vehicle: the car that it is meant for, or its file; then also whether that car can show what is asked.
    """
    from coach.plan import check_plan
    from coach.recipe import check_recipe as check

    car = _vehicle(vehicle)
    asked, catalogue = _recipe(recipe, car), _catalogue(car)
    findings = check(asked, catalogue)
    if car is not None:
        findings = [*findings, *check_plan(asked, catalogue, car)]
    return [finding.as_dict() for finding in findings]


def judge(
    drive: Recording | File, recipe: Recipe | File, vehicle: Vehicle | File | None = None, *, units: str = "metric"
) -> dict[str, Any]:
    """The verdict on a drive, as `coach judge --json` prints it (docs/reference/verdict.md).

    Args:
        drive: the recorded drive, or its file.
        recipe: what was asked for, or its file.
        vehicle: gears, tyre and pedal of the car that was driven, or its file.
        units: `metric` or `imperial`, for sentences; numbers are always in the catalogue's units.
    """
    from coach.review.judging import judge_against
    from coach.review.verdict import verdict_json
    from coach.shown import units_for

    car = _vehicle(vehicle)
    asked, recording, catalogue = _recipe(recipe, car), _drive(drive, car), _catalogue(car)
    plan, verdict = judge_against(asked, recording, catalogue, car)
    return verdict_json(asked, recording, verdict, catalogue, units=units_for(units), plan=plan)


def prove(
    recipe: Recipe | File, drive: Recording | File, vehicle: Vehicle | File | None = None, *, units: str = "metric"
) -> dict[str, Any]:
    """Whether an earlier drive would have met a recipe: `verdict`, and by capture in `less` which change would do."""
    from coach.desk.proof import proof_json
    from coach.shown import units_for

    car = _vehicle(vehicle)
    return proof_json(_recipe(recipe, car), _drive(drive, car), _catalogue(car), car, units=units_for(units))


def changes(
    old: Recipe | File, new: Recipe | File, vehicle: Vehicle | File | None = None, *, units: str = "metric"
) -> list[dict[str, Any]]:
    """What changed from one recipe to another: `text`, `key`, `capture`; empty when they ask for the same."""
    from coach.desk.changes import changes as between

    car = _vehicle(vehicle)
    found = between(_recipe(old, car), _recipe(new, car), _catalogue(car), system=units)
    return [change.as_dict() for change in found]


def open_bundle(file: File) -> Opened:
    """A bundle, its samples read only when asked for. Raises BundleError for a file that is none."""
    from coach.bundle.opening import open_bundle as open_it

    return open_it(Path(file))


def check_bundle(file: File, pinned: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    """Whether a bundle is whole, who signed it, and whether its verdicts come out again from the samples inside.

    Args:
        file: the bundle.
        pinned: names and public keys (64 hexadecimal digits) that are trusted.
    """
    from coach.bundle.check import check_bundle as check
    from coach.bundle.keys import Pin

    return check(Path(file), [Pin(name, key) for name, key in pinned])


def schemas() -> dict[str, dict[str, Any]]:
    """The JSON Schemas of the formats: `recipe`, `vehicle`, `bundle` (its manifest) and `verdict`."""
    from coach.bundle.manifest import manifest_schema
    from coach.recipe import recipe_schema
    from coach.review.verdict_schema import verdict_schema
    from coach.vehicle import vehicle_schema

    return {
        "recipe": recipe_schema(),
        "vehicle": vehicle_schema(),
        "bundle": manifest_schema(),
        "verdict": verdict_schema(),
    }


def _catalogue(vehicle: Vehicle | None) -> Catalogue:
    from coach.catalogue import default_catalogue

    base = default_catalogue()
    return base if vehicle is None else vehicle.catalogue(base)


def _recipe(recipe: Recipe | File, vehicle: Vehicle | None) -> Recipe:
    return recipe if isinstance(recipe, Recipe) else load_recipe(recipe, vehicle)


def _vehicle(vehicle: Vehicle | File | None) -> Vehicle | None:
    return vehicle if vehicle is None or isinstance(vehicle, Vehicle) else load_vehicle(vehicle)


def _drive(drive: Recording | File, vehicle: Vehicle | None) -> Recording:
    return drive if isinstance(drive, Recording) else read_drive(drive, vehicle)
