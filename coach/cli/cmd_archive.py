"""`coach archive judge`: a folder of bundles and drives, judged all together."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from coach.cli.group import print_json, say

_FILE = click.Path(path_type=Path)


@click.group()
def archive() -> None:
    """Judge many bundles and drives together.

    \b
    Example:
      coach archive judge bundles/ --recipe request.toml -o judged/
    """  # noqa: D301 - click takes this character to keep lines as they are


@archive.command("judge")
@click.argument("folder", type=_FILE)
@click.option("--recipe", "recipe_file", type=_FILE, help="What to judge by; else each bundle by its own recipe.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car of drives that carry none, TOML.")
@click.option("-o", "--out", type=_FILE, required=True, help="Folder for the results; run again, it goes on there.")
@click.option("--processes", type=click.IntRange(1, 1024), help="Processes on this machine.  [default: one a core]")
@click.option("--scheduler", help="A Dask scheduler's address, as in tcp://10.0.0.5:8786: its workers judge instead.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON, and no progress.")
def judge_folder(
    folder: Path,
    recipe_file: Path | None,
    vehicle_file: Path | None,
    out: Path,
    processes: int | None,
    scheduler: str | None,
    *,
    as_json: bool,
) -> int:
    """Judge every bundle (.zip) and drive (.parquet, .csv, .csv.gz) below FOLDER.

    A file that cannot be read is listed and stops nothing. What has a result under the same recipe, vehicle and rules
    is not judged again. The results are a table (results.parquet, with the extra `archive`), a journal (results.jsonl)
    and a summary (summary.json). A scheduler's workers need this program, and must see the files under the same paths.

    \b
    Example:
      coach archive judge bundles/ -o judged/
      coach archive judge bundles/ --recipe third-revision.toml -o judged-again/ --processes 4
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.desk.archive import Runner, find_tasks, judge_archive
    from coach.desk.runners import Cluster, Pool
    from coach.recipe import parse_recipe, read_bytes
    from coach.vehicle import load_vehicle

    vehicle, catalogue = None, default_catalogue()
    if vehicle_file is not None:
        catalogue = load_vehicle(vehicle_file).catalogue(catalogue)
        vehicle = vehicle_file.read_bytes()
    recipe = None if recipe_file is None else read_bytes(recipe_file)
    if recipe is not None and recipe_file is not None:
        parse_recipe(recipe, name=recipe_file.name, catalogue=catalogue)
    tasks = find_tasks(folder, recipe, vehicle)
    runner: Runner = Pool(processes) if scheduler is None else Cluster(scheduler)
    if as_json:
        print_json(judge_archive(tasks, out, runner))
        return 0
    with click.progressbar(length=len(tasks), label="Judging", file=sys.stderr, show_pos=True) as bar:
        shown = 0

        def progress(done: int, _bad: bool) -> None:
            nonlocal shown
            bar.update(done - shown)
            shown = done

        summary = judge_archive(tasks, out, runner, progress)
    say(_text(summary, out))
    return 0


def _text(summary: dict[str, Any], out: Path) -> str:
    lines = [
        f"{summary['files']} files, {summary['bad_files']} of them could not be judged.",
        f"{summary['drives']} drives, {summary['complete']} of them with everything that was asked for.",
    ]
    for name, row in summary["captures"].items():
        why = ", ".join(f"{n} {reason}" for reason, n in _most_first(row["reasons"]))
        lines.append(f"  {name}: qualified in {row['qualified']} of {row['drives']}{f'; else {why}' if why else ''}")
    lines += [f"  {count}: {error}" for error, count in summary["errors"].items()]
    lines.append(f"Results in {out}.")
    return "\n".join(lines) + "\n"


def _most_first(counts: dict[str, int]) -> list[tuple[str, int]]:
    return sorted(counts.items(), key=lambda item: (-item[1], item[0]))
