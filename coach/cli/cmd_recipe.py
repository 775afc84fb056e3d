"""`coach recipe`: begin, edit, check, compare, prove, sign and send a recipe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coach.cli.cmd_write import edit, new
from coach.cli.group import REQUIRED, print_json, say

if TYPE_CHECKING:
    from coach.recipe import Finding

_FILE = click.Path(path_type=Path)


@click.group()
def recipe() -> None:
    """Begin, edit, check, compare, prove, sign and send a recipe.

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
    from coach.plan.drive_plan import plan_drive
    from coach.recipe import RecipeErrors, examine, read_bytes
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    found, findings = examine(read_bytes(file), name=file.name, catalogue=catalogue)
    if found is not None and vehicle is not None:
        findings = list(plan_drive(found, catalogue, vehicle).findings)
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
        if finding.change:
            say(f"  {finding.change}\n")
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


@recipe.command()
@click.argument("old", type=_FILE)
@click.argument("new", type=_FILE)
@click.option("--units", type=click.Choice(["metric", "imperial"]), default="metric", help="Units of the sentences.")
@click.option("--json", "as_json", is_flag=True, help="Print the changes as JSON.")
@click.option("--require", is_flag=True, help="Exit with 1 when something changed.")
def diff(old: Path, new: Path, units: str, *, as_json: bool, require: bool) -> int:
    """Say what changed from the recipe OLD to the recipe NEW, a sentence a change.

    What is asked is compared, not how it is written: comments, order of keys and units are no change.

    \b
    Example:
      coach recipe diff second-revision.toml third-revision.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.desk.changes import changes
    from coach.recipe import load_recipe

    catalogue = default_catalogue()
    found = changes(load_recipe(old, catalogue), load_recipe(new, catalogue), catalogue, system=units)
    if as_json:
        print_json({"changes": [change.as_dict() for change in found]})
    else:
        say("".join(f"{change.text}.\n" for change in found) or "They ask for the same.\n")
    return REQUIRED if require and found else 0


@recipe.command()
@click.argument("file", type=_FILE)
@click.argument("drive", type=_FILE)
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car's gears, tyre and pedal, TOML.")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units of sentences; else the car's.")
@click.option("--json", "as_json", is_flag=True, help="Print verdict and changes as JSON.")
@click.option("--require", is_flag=True, help="Exit with 1 when the drive would not have met it.")
def prove(
    file: Path, drive: Path, vehicle_file: Path | None, units: str | None, *, as_json: bool, require: bool
) -> int:
    """Say whether the earlier DRIVE (a table) would have met the recipe in FILE, and how little less would have done.

    \b
    Example:
      coach recipe prove third-revision.toml drive.csv --vehicle car.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.desk.proof import proof_json, proof_text
    from coach.recipe import load_recipe
    from coach.review.verdict import all_qualified
    from coach.shown import METRIC, units_for
    from coach.sources.table import read_table
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    asked = load_recipe(file, catalogue)
    shown = units_for(units) if units is not None else METRIC if vehicle is None else vehicle.units
    made = proof_json(asked, read_table(drive, catalogue), catalogue, vehicle, units=shown)
    if as_json:
        print_json(made)
    else:
        say(proof_text(made, catalogue, units=shown))
    return REQUIRED if require and not all_qualified(made["verdict"]) else 0


@recipe.command("sign")
@click.argument("file", type=_FILE)
@click.option("-o", "--out", type=_FILE, help="Where to write it.  [default: over FILE]")
@click.option("--data", type=_FILE, help="Folder with this installation's key.  [default: the user's own]")
def sign_recipe(file: Path, out: Path | None, data: Path | None) -> int:
    """Sign the recipe in FILE with the key of this installation, in its last line.

    Whoever has pinned the key (`coach key pin`) is told that the recipe is from you, and that nobody changed it.

    \b
    Example:
      coach recipe sign third-revision.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.cli.folders import data_folder
    from coach.desk.signing import signature_of, signed
    from coach.recipe import parse_recipe, read_bytes
    from coach.store.files import write_durable

    raw = read_bytes(file)
    parse_recipe(raw, name=file.name)
    made = signed(raw, data_folder(data))
    target = out or file

    def write(handle: Any) -> None:
        handle.write(made)

    write_durable(target, write)
    signature = signature_of(made)
    assert signature is not None
    say(f"{target}: signed with the key {signature.fingerprint}\n")
    return 0


@recipe.command("link")
@click.argument("file", type=_FILE)
@click.option("--page", default="http://localhost:8765/", show_default=True, help="Address of the owner's own page.")
@click.option("--svg", type=_FILE, help="Write the link as a QR code too, as SVG.")
def link_recipe(file: Path, page: str, svg: Path | None) -> int:
    """Print a link that carries the whole recipe in FILE behind its #, where no server is sent it.

    \b
    Example:
      coach recipe link third-revision.toml --svg code.svg
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.desk.share import code, link
    from coach.recipe import parse_recipe, read_bytes

    raw = read_bytes(file)
    parse_recipe(raw, name=file.name)
    url = link(raw, page)
    if svg is not None:
        code(url).save(str(svg), kind="svg", scale=4, border=4)
    say(f"{url}\n")
    return 0


recipe.add_command(new)
recipe.add_command(edit)
