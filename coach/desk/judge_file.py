"""Judges one file of an archive, in any process, on any machine that sees it; never raises for what is in the file.

Loads no python-obd: a scheduler's worker may run it beside packages of other licences (docs/decisions/licence.md).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from coach.core.afterwards import Verdict
from coach.desk.archive import Task
from coach.errors import CoachError
from coach.recipe import Recipe
from coach.recording import Recording
from coach.signals import Catalogue
from coach.vehicle import Vehicle


def judge_file(task: Task) -> dict[str, Any]:
    """What came of a file: `file`, `error` (a sentence, or None) and `drives`, each with its captures."""
    path = Path(task.path)
    try:
        drives = list(_bundle(path, task)) if path.suffix.lower() == ".zip" else [_table(path, task)]
    except CoachError as error:
        return {"file": task.path, "error": error.message, "drives": []}
    except MemoryError:
        return {"file": task.path, "error": "it needs more memory than there is", "drives": []}
    except Exception as error:  # noqa: BLE001 - one bad file never stops the rest
        return {"file": task.path, "error": f"it cannot be judged ({type(error).__name__})", "drives": []}
    return {"file": task.path, "error": None, "drives": drives}


def _bundle(path: Path, task: Task) -> Iterator[dict[str, Any]]:
    from coach.bundle.judging import rejudge
    from coach.bundle.opening import open_bundle
    from coach.recipe import parse_recipe
    from coach.review.judging import judge_against

    for drive in open_bundle(path).drives:
        recording = drive.recording()
        vehicle = drive.vehicle()
        if task.recipe is None:
            recipe = drive.recipe()
            _, verdict, _ = rejudge(drive, recording)
        else:
            catalogue = drive.catalogue()
            recipe = parse_recipe(task.recipe, name="recipe", catalogue=catalogue)
            # Where nobody's words were recorded, that nobody armed a capture is not held against it.
            said = recording if drive.entry.people_recorded else replace(recording, marks=None)
            _, verdict = judge_against(recipe, said, catalogue, vehicle)
        yield _row(drive.id, _label(vehicle), recipe, recording, verdict)


def _table(path: Path, task: Task) -> dict[str, Any]:
    from coach.errors import BadInput
    from coach.review.judging import judge_against
    from coach.sources.parquet import read_parquet
    from coach.sources.table import read_table

    if task.recipe is None:
        raise BadInput("a table carries no recipe of its own; say which one it is judged by")
    recipe, vehicle, catalogue = _asked(task.recipe, task.vehicle)
    read = read_parquet if path.suffix.lower() == ".parquet" else read_table
    recording = read(path, catalogue)
    _, verdict = judge_against(recipe, recording, catalogue, vehicle)
    return _row(path.stem, _label(vehicle), recipe, recording, verdict)


@lru_cache(maxsize=4)
def _asked(recipe: bytes, vehicle: bytes | None) -> tuple[Recipe, Vehicle | None, Catalogue]:
    """Recipe, vehicle and signals: the same for every table of an archive, and a third of the work for a short one."""
    from coach.catalogue import default_catalogue
    from coach.recipe import parse_recipe
    from coach.vehicle import parse_vehicle

    car = None if vehicle is None else parse_vehicle(vehicle)
    catalogue = default_catalogue() if car is None else car.catalogue(default_catalogue())
    return parse_recipe(recipe, name="recipe", catalogue=catalogue), car, catalogue


def _label(vehicle: Vehicle | None) -> str:
    return "" if vehicle is None else vehicle.label or ""


def _row(name: str, vehicle: str, recipe: Recipe, recording: Recording, verdict: Verdict) -> dict[str, Any]:
    from coach.core.events import Collected
    from coach.review.verdict import best_of

    captures = []
    for asked in recipe.captures:
        attempts = verdict.attempts.get(asked.id, ())
        number = best_of(attempts)
        best = None if number is None else next(a for a in attempts if a.number == number)
        secured = sum(a.secured_us is not None for a in attempts)
        if asked.collect_us is not None:
            secured = int(any(isinstance(e, Collected) and e.capture == asked.id for e in verdict.events))
        reason = None if best is None else best.reason
        captures.append({
            "id": asked.id, "asked": asked.times, "qualified": secured, "attempts": len(attempts),
            "outcome": None if best is None else best.outcome.value,
            "reason": None if reason is None else reason.code.value,
            "reason_signal": None if reason is None else reason.signal,
            "best_progress": 0.0 if best is None else round(best.progress, 6),
        })  # fmt: skip
    return {
        "id": name, "vehicle": vehicle, "recipe": recipe.title, "revision": recipe.revision,
        "duration_s": recording.duration_us / 1e6, "samples": recording.samples, "captures": captures,
    }  # fmt: skip
