"""`coach bundle make`, `check` and `schema`: what goes back to the calibrator."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from coach.cli.folders import data_folder
from coach.cli.group import REQUIRED, print_json, say

_FILE = click.Path(path_type=Path)


@click.group()
def bundle() -> None:
    """Make the file that goes back to the calibrator, or check one that came.

    \b
    Example:
      coach bundle make 20260504-093000 -o second-revision.zip
      coach bundle check second-revision.zip
    """  # noqa: D301 - click takes this character to keep lines as they are


@bundle.command()
@click.argument("drives", nargs=-1, metavar="[DRIVE]...")
@click.option("-o", "--out", type=_FILE, help="The file to make.  [default: DRIVE.zip]")
@click.option("--data", type=_FILE, help="Folder that the drives are in.  [default: the user's own]")
@click.option("--whole", is_flag=True, help="Every signal from end to end, as tables too, not only what was judged.")
@click.option("--full-vin", is_flag=True, help="The vehicle's number as it is; else only its last four places.")
@click.option("--json", "as_json", is_flag=True, help="Print what is inside as JSON.")
def make(
    drives: tuple[str, ...], out: Path | None, data: Path | None, *, whole: bool, full_vin: bool, as_json: bool
) -> int:
    """Make a bundle of recorded drives. Without a DRIVE the last one is taken.

    It is signed with the key of this installation, and lists what is inside. There is no position in it.

    \b
    Example:
      coach bundle make
      coach bundle make 20260504-093000 20260504-151200 -o second-revision.zip --whole
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.make import make_bundle
    from coach.bundle.wanted import Wanted
    from coach.errors import NotFound
    from coach.store.reading import Reader
    from coach.store.store import DATABASE

    folder = data_folder(data)
    if not drives:
        kept = [row for row in Reader(folder / DATABASE).drives() if row.phase == "ended"]
        if not kept:
            raise NotFound("there is no finished drive here yet", where=str(folder))
        drives = (kept[0].id,)
    path = out or Path(f"{drives[0]}.zip")
    made = make_bundle(folder, drives, path, Wanted(whole=whole, full_vin=full_vin))
    if as_json:
        print_json({"file": str(path), **made})
        return 0
    say(f"{path}: {_size(made['size'])}, signed with the key {made['fingerprint']}\n")
    for one in made["contents"]:
        say(_contents(one, whole=whole, full_vin=full_vin))
    say("No position: none is recorded.\n")
    return 0


def _contents(one: dict[str, Any], *, whole: bool, full_vin: bool) -> str:
    minutes = max(1, round(one["duration_s"] / 60))
    around = f"{one['before_s']:g} s before and {one['after_s']:g} s after"
    lines = [
        f"{one['id']}, {one['title']}, revision {one['revision']}",
        f"  {_count(one['windows'], 'window')} that qualified, with {around}",
        f"  {_count(one['missed'], 'attempt')} that did not, with the reason for each",
        f"  {_count(one['judged_signals'], 'judged signal')} over the whole drive, {minutes} min, to judge it again",
    ]
    if whole:
        lines.append(f"  {_count(one['other_signals'], 'other signal')}, and the whole drive as tables")
    if one["vin_known"]:
        lines.append(f"  Vehicle number: {one['vin']}{' (whole)' if full_vin else ''}")
    if one["facts"]:
        lines.append(f"  {_count(one['facts'], 'declared fact')}{', your note among them' if one['note'] else ''}")
    return "".join(f"{line}\n" for line in [*lines, "  Recipe, vehicle, rates, agreements, report"])


@bundle.command()
@click.argument("file", type=_FILE)
@click.option("--from", "signer", metavar="NAME", help="It must be signed with the key that is pinned for NAME.")
@click.option("--recipe", "recipe_file", type=_FILE, help="The recipe that you sent: it must be the one inside.")
@click.option("--data", type=_FILE, help="Folder that the pinned keys are in.  [default: the user's own]")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def check(file: Path, signer: str | None, recipe_file: Path | None, data: Path | None, *, as_json: bool) -> int:
    """Check the bundle in FILE: hashes, signature, and the verdicts judged again from the samples inside.

    Nothing is unpacked. Exit status: 0 when it is as it was made; 1 when something was changed or the verdict is
    another; 2 when it is no bundle that can be opened.

    \b
    Example:
      coach bundle check second-revision.zip
      coach bundle check second-revision.zip --from "Red hatchback" --recipe request.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.child import check_in_child
    from coach.bundle.keys import pins
    from coach.recipe import read_bytes

    recipe = None if recipe_file is None else read_bytes(recipe_file)
    result = check_in_child(file, pins(data_folder(data)), signer=signer, recipe=recipe)
    if as_json:
        print_json(result)
    else:
        say(check_text(result))
    return 0 if result["ok"] else REQUIRED


def check_text(result: dict[str, Any]) -> str:
    """What a check found, for a terminal."""
    lines = [result["sentence"]]
    signed = result["signed_by"]
    if signed is not None and signed["good"]:
        lines.append(f"Signed by {signed['name'] or 'the key ' + signed['fingerprint']}.")
    for one in result["drives"]:
        when = f", {one['started'][:16].replace('T', ' ')} UTC" if one["started"] else ""
        lines.append(f"{one['id']}: {one['title']}, revision {one['revision']}{when}")
        lines += [
            f"  {'+' if c['qualified'] >= c['asked'] else '-'} {c['title']} ({c['id']}):"
            f" {c['qualified']} of {c['asked']}"
            for c in one["captures"]
        ]  # fmt: skip
    lines += [f"Problem: {_where(one)}{one['message']}" for one in result["problems"]]
    if result["more"]:
        lines.append(f"Problem: and {result['more']} more.")
    lines += [f"Note: {_where(one)}{one['message']}" for one in result["warnings"]]
    return "".join(f"{line}\n" for line in lines)


def _where(one: dict[str, Any]) -> str:
    return f"{one['where']}: " if one["where"] else ""


@bundle.command()
def schema() -> int:
    """Print the JSON Schema of a bundle's manifest, for other programs.

    \b
    Example:
      coach bundle schema > manifest.schema.json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.manifest import manifest_schema

    print_json(manifest_schema())
    return 0


def _size(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
