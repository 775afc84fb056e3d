"""`coach report`: the report on a drive, as one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coach.cli.group import say

if TYPE_CHECKING:
    from coach.review.subject import Subject

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("drive")
@click.option("-o", "--output", type=_FILE, required=True, help="The file to write.")
@click.option("--recipe", "recipe_file", type=_FILE, help="What was asked for; needed for a table.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car of a table.")
@click.option("--data", type=_FILE, help="Folder with the drives.  [default: the user's own]")
@click.option("--plain", is_flag=True, help="Leave the typeface out: 30 kB less.")
def report(
    drive: str, output: Path, recipe_file: Path | None, vehicle_file: Path | None, data: Path | None, *, plain: bool
) -> int:
    """Write the report on DRIVE: one HTML file that needs nothing else to be read or printed.

    DRIVE is the id of a stored drive (see coach drives list), a table (CSV, needs --recipe), or a bundle (zip).

    \b
    Example:
      coach report 20260504-093000 -o report.html
      coach report drive.csv --recipe request.toml --vehicle car.toml -o report.html
      coach report returned.zip -o report.html
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.cli.whole_file import write_whole
    from coach.review.report import html

    subject = subject_of(drive, recipe_file, vehicle_file, data)
    text = html(subject, embed_font=not plain)
    write_whole(output, text)
    say(f"{output}: {len(text.encode()) / 1000:.0f} kB\n")
    return 0


def subject_of(drive: str, recipe_file: Path | None, vehicle_file: Path | None, data: Path | None) -> Subject:
    """The drive that is meant: a file where there is one of that name, else a stored one.

    Raises:
        CoachError: it cannot be found or read.
    """
    path = Path(drive)
    if path.suffix.lower() == ".zip":
        return _bundled(path)
    if path.suffix.lower() in {".csv", ".gz"} or path.is_file():
        return _table(path, recipe_file, vehicle_file)
    from coach.cli.cmd_drives import reader_of
    from coach.review.subject import stored_subject

    return stored_subject(reader_of(data), drive)


def _table(path: Path, recipe_file: Path | None, vehicle_file: Path | None) -> Subject:
    from coach.catalogue import default_catalogue
    from coach.errors import BadInput
    from coach.recipe import load_recipe
    from coach.review.subject import given_subject
    from coach.sources.table import read_table
    from coach.vehicle import load_vehicle

    if recipe_file is None:
        raise BadInput("a table does not say what was asked for: name it with --recipe", where=path.name)
    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    recipe = load_recipe(recipe_file, catalogue)
    return given_subject(recipe, read_table(path, catalogue), catalogue, vehicle, name=path.name.split(".")[0])


def _bundled(path: Path) -> Subject:
    from coach.bundle.opening import open_bundle
    from coach.errors import BadInput
    from coach.review.subject import given_subject
    from coach.review.weather import Weather

    opened = open_bundle(path)
    if len(opened.drives) != 1:
        ids = ", ".join(d.id for d in opened.drives)
        raise BadInput(f"this bundle holds {len(opened.drives)} drives ({ids}); a report is on one", where=path.name)
    drive = opened.drives[0]
    said = drive.entry.facts
    air = {
        k: said[k] for k in ("pressure_kpa", "temperature_c", "humidity_pct") if isinstance(said.get(k), int | float)
    }
    return given_subject(
        drive.recipe(), drive.recording(), drive.catalogue(), drive.vehicle(), name=drive.id, plan=drive.plan(),
        identity=dict(drive.entry.identity), label=str(said.get("name", "")), note=str(said.get("note", "")),
        typed=Weather(**air),
    )  # fmt: skip
