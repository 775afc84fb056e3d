"""`coach recipe check` and `coach recipe schema`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coach.cli.group import REQUIRED, print_json, say

if TYPE_CHECKING:
    from coach.recipe import Finding

_FILE = click.Path(path_type=Path)


@click.group()
def recipe() -> None:
    """Check a recipe, or print the schema of recipes.

    \b
    Example:
      coach recipe check request.toml
    """  # noqa: D301 - click takes this character to keep lines as they are


@recipe.command()
@click.argument("file", type=_FILE)
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car it is meant for: can it show what is asked?")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--require", is_flag=True, help="Exit with 1 when there are errors.")
def check(file: Path, vehicle_file: Path | None, *, as_json: bool, require: bool) -> int:
    """Prove that the recipe in FILE can be met, as far as that shows before anyone drives.

    Exit status: 0 when it was checked, whatever was found; 1 with --require when there are errors; 2 when the file is
    no recipe.

    \b
    Example:
      coach recipe check request.toml --vehicle car.toml
      coach recipe check request.toml --json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.plan import check_plan
    from coach.recipe import RecipeErrors, examine, read_bytes
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    found, findings = examine(read_bytes(file), name=file.name, catalogue=catalogue)
    if found is not None and vehicle is not None:
        findings = [*findings, *check_plan(found, catalogue, vehicle)]
    errors = sum(f.level == "error" for f in findings)
    if as_json:
        about = None
        if found is not None:
            about = {"title": found.title, "revision": found.revision, "sha256": found.sha256}
        print_json({
            "recipe": about, "errors": errors, "warnings": len(findings) - errors,
            "findings": [f.as_dict() for f in findings],
        })  # fmt: skip
    else:
        _print(findings, errors)
    if found is None:
        raise RecipeErrors(file.name, [f for f in findings if f.level == "error"])
    return REQUIRED if require and errors else 0


def _print(findings: list[Finding], errors: int) -> None:
    for finding in findings:
        say(f"{finding.level}: {finding}\n")
    warnings = len(findings) - errors
    if not findings:
        say("Nothing to object to.\n")
    else:
        say(f"{_count(errors, 'error')}, {_count(warnings, 'warning')}.\n")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


@recipe.command()
def schema() -> int:
    """Print the JSON Schema of recipes, for editors and other programs.

    \b
    Example:
      coach recipe schema > recipe.schema.json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.recipe import recipe_schema

    print_json(recipe_schema())
    return 0
