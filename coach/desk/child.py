"""Proves recipes and judges everything again in a process of its own: a server at rest loads nothing for it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from coach.bundle.child import ask_child, limit
from coach.errors import BadInput, CoachError
from coach.shown import METRIC, Units

SECONDS = 300
MODULE = "coach.desk.child"
FEW = 4
"""So few files are judged in one process: a pool takes longer to start."""
Say = Callable[[dict[str, Any]], None]


def prove_in_child(
    recipe: str, against: dict[str, str], *, vehicle: str | None = None, units: Units | None = None,
    language: str = "en", seconds: float = SECONDS,
) -> dict[str, Any]:  # fmt: skip
    """`proof_json` in a child process, each change with the `edits` that make it.

    Args:
        recipe: its text.
        against: `kind` `drive` (`folder`, `id`), `table` (`path`) or `bundle` (`path`, `id`).
        vehicle: text of a vehicle file; a drive or bundle brings its own.
        units: what sentences are written in; the car's if left out.

    Raises:
        CoachError: the recipe contradicts itself, or there is no such drive.
    """
    ask = {
        "do": "prove", "recipe": recipe, "against": against, "vehicle": vehicle, "language": language,
        "units": None if units is None else asdict(units),
    }  # fmt: skip
    return ask_child(ask, "recipe", seconds, module=MODULE)


def main() -> None:
    """Answers one request on standard input: one line of JSON, before it lines of progress where it takes long."""
    ask = json.loads(sys.stdin.buffer.read())
    limit(ask["seconds"], ask["memory"])

    def say(line: dict[str, Any]) -> None:
        sys.stdout.write(json.dumps(line, allow_nan=False) + "\n")
        sys.stdout.flush()

    try:
        answer = _prove(ask) if ask["do"] == "prove" else _again(ask, say)
    except CoachError as error:
        kind = type(error).__name__
        # Findings do not travel: a recipe with errors is refused before a child is asked.
        answer = {"error": {"kind": "BadInput" if kind == "RecipeErrors" else kind, "message": error.message,
                            "where": error.where}}  # fmt: skip
    except MemoryError:
        answer = {"error": {"kind": "BadInput", "message": "it needs more memory than there is", "where": None}}
    say(answer)


def _prove(ask: dict[str, Any]) -> dict[str, Any]:
    from coach.desk.applying import edits_of
    from coach.desk.proof import proof_json
    from coach.recipe import parse_recipe
    from coach.recipe.shape import read_data
    from coach.words import load_words

    recording, catalogue, vehicle = _drive(ask)
    units = METRIC if vehicle is None else vehicle.units
    if ask["units"] is not None:
        units = Units(**ask["units"])
    raw = ask["recipe"].encode()
    recipe = parse_recipe(raw, name="recipe", catalogue=catalogue)
    made = proof_json(recipe, recording, catalogue, vehicle, units=units, words=load_words(ask["language"]))
    data = read_data(raw, "recipe")[0]
    places = {c["id"]: n for n, c in enumerate(data["capture"])}
    for capture, less in made["less"].items():
        for one in less:
            edits = edits_of(data, places[capture], one["key"], one["old"], one["new"], catalogue)
            one["edits"] = [asdict(edit) for edit in edits]
    return made


def _drive(ask: dict[str, Any]) -> tuple[Any, Any, Any]:
    """Recording, catalogue and vehicle of what is proved against."""
    from coach.catalogue import default_catalogue
    from coach.vehicle import parse_vehicle

    against = ask["against"]
    vehicle = None if ask["vehicle"] is None else parse_vehicle(ask["vehicle"])
    if against["kind"] == "drive":
        from coach.store.planjson import load_catalogue
        from coach.store.reading import Reader
        from coach.store.store import DATABASE

        reader = Reader(Path(against["folder"]) / DATABASE)
        row = reader.drive(against["id"])
        own = None if row.vehicle is None else parse_vehicle(row.vehicle)
        recording = _said(reader.recording(row.id), people=row.source.get("people_recorded", True))
        return recording, load_catalogue(row.catalogue), own or vehicle
    if against["kind"] == "bundle":
        from coach.bundle.opening import open_bundle

        drives = open_bundle(against["path"]).drives
        found = next((d for d in drives if against["id"] in ("", d.id)), None)
        if found is None:
            raise BadInput("there is no such drive in this bundle", where=against["id"])
        recording = _said(found.recording(), people=found.entry.people_recorded)
        return recording, found.catalogue(), found.vehicle() or vehicle
    from coach.sources.table import read_table

    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    return read_table(Path(against["path"]), catalogue), catalogue, vehicle


def _said(recording: Any, *, people: bool) -> Any:
    """A drive played from a table has no marks of its own: nobody armed anything, and that is not held against it."""
    return recording if people else replace(recording, marks=None)


def _again(ask: dict[str, Any], say: Say) -> dict[str, Any]:
    from coach.desk.archive import Task, judge_archive, kept_results
    from coach.desk.runners import Here, Pool, cores

    recipe = None if ask["recipe"] is None else ask["recipe"].encode()
    tasks = []
    for path in ask["paths"]:
        about = Path(path).stat()
        tasks.append(Task(path, f"{about.st_size}-{about.st_mtime_ns}", recipe, None))
    bad = 0

    def progress(done: int, failed: bool) -> None:
        nonlocal bad
        bad += failed
        say({"done": done, "bad": bad})

    runner = Here() if len(tasks) <= FEW else Pool(max(1, cores() - 1))
    out = Path(ask["out"])
    summary = judge_archive(tasks, out, runner, progress)
    return {"summary": summary, "results": kept_results(out, tasks)}


if __name__ == "__main__":
    main()
