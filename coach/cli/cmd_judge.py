"""`coach judge`: a recorded drive against a recipe."""

from __future__ import annotations

from pathlib import Path

import click

from coach.cli.group import REQUIRED, print_json, say

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("drive", type=_FILE)
@click.option("--recipe", "recipe_file", type=_FILE, required=True, help="What was asked for, TOML or JSON.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car's gears, tyre and pedal, TOML.")
@click.option("--columns", "columns_file", type=_FILE, help="What the table's columns are, TOML; mostly not needed.")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units of sentences; else the car's.")
@click.option("--json", "as_json", is_flag=True, help="Print the verdict as JSON.")
@click.option("--require", is_flag=True, help="Exit with 1 when not everything asked for qualified.")
def judge(
    drive: Path,
    recipe_file: Path,
    vehicle_file: Path | None,
    columns_file: Path | None,
    units: str | None,
    *,
    as_json: bool,
    require: bool,
) -> int:
    """Judge the recorded DRIVE (CSV, or CSV packed with gzip) against a recipe.

    Exit status: 0 when it was judged, whatever the verdict; 1 with --require when not everything qualified; 2 for
    input that cannot be used.

    \b
    Example:
      coach judge drive.csv --recipe request.toml --vehicle car.toml
      coach judge drive.csv.gz --recipe request.toml --json --require
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.recipe import load_recipe
    from coach.review.judging import judge_against
    from coach.review.verdict import all_qualified, verdict_json
    from coach.review.verdict_text import verdict_text
    from coach.shown import METRIC, units_for
    from coach.sources.columns import load_columns
    from coach.sources.table import read_table
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    recipe = load_recipe(recipe_file, catalogue)
    columns = None if columns_file is None else load_columns(columns_file)
    recording = read_table(drive, catalogue, columns=columns)
    plan, verdict = judge_against(recipe, recording, catalogue, vehicle)
    shown = units_for(units) if units is not None else METRIC if vehicle is None else vehicle.units
    result = verdict_json(recipe, recording, verdict, catalogue, units=shown, plan=plan)
    if as_json:
        print_json(result)
    else:
        say(verdict_text(result, catalogue, units=shown))
    return REQUIRED if require and not all_qualified(result) else 0
