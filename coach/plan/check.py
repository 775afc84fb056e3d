"""The check that needs the car or the source: can what the recipe names be seen at all?"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from coach.plan.resolve import CarDerivations, choose
from coach.recipe import CaptureAsked, Finding, Recipe
from coach.recipe.findings import path_words
from coach.recipe.lines import Path, line_of
from coach.signals import Catalogue

_HOW = {
    "gear": "give the ratios in the vehicle file, or learn them from a drive",
    "pedal_travel": "learn the two ends of the pedal, or give them in the vehicle file",
}


def check_plan(
    recipe: Recipe,
    catalogue: Catalogue,
    vehicle: CarDerivations | None = None,
    *,
    measured: Collection[str] | None = None,
) -> list[Finding]:
    """What keeps this car or source from meeting the recipe, in the order of the file.

    Args:
        recipe: as loaded.
        catalogue: the signals.
        vehicle: hands over derivations, or None.
        measured: the signals that the source carries; None when that is not known.

    Returns:
        Errors: a derived signal that nothing derives (`not_derived`), a signal that a condition needs and the source
        does not carry (`not_offered`). Warnings: one whose record says `need = false`.
    """
    findings: list[Finding] = []
    ids = {"capture": [{"id": c.id} for c in recipe.captures]}
    said: set[tuple[int, str]] = set()
    for index, capture in enumerate(recipe.captures):
        for inner, name, needed in _named(recipe, capture):
            if (index, name) in said:
                continue
            said.add((index, name))
            problem = _problem(name, recipe, capture, catalogue, vehicle, measured)
            if problem is None:
                continue
            code, message = problem
            path: Path = ("capture", index, *inner) if inner[0] != "record" or capture.record is not None else inner
            finding = Finding(
                "error" if needed else "warning",
                code,
                message,
                path_words(path, ids),
                line_of(recipe.lines, path),
                path,
            )
            if finding not in findings:
                findings.append(finding)
    return findings


def _named(recipe: Recipe, capture: CaptureAsked) -> Iterator[tuple[Path, str, bool]]:
    """Path, signal, and whether the capture cannot qualify without it."""
    if capture.sweep is not None:
        yield ("sweep", capture.sweep.signal), capture.sweep.signal, True
    for part, items in (("start", capture.start), ("keep", capture.keep), ("limit", capture.limits)):
        for item in items:
            yield (part, item.signal), item.signal, True
    for name, asked in recipe.recorded(capture).items():
        yield ("record", name), name, asked.need


def _problem(
    name: str, recipe: Recipe, capture: CaptureAsked, catalogue: Catalogue, vehicle: CarDerivations | None,
    measured: Collection[str] | None,
) -> tuple[str, str] | None:  # fmt: skip
    if measured is not None and name in measured:
        return None
    way = choose(name, recipe.recorded(capture), vehicle, measured)
    if way is None:
        if catalogue[name].inputs:
            how = _HOW.get(name, "nothing derives it")
            return "not_derived", f"{name} cannot be told: {how}"
        return None if measured is None else ("not_offered", f"the source does not carry {name}")
    missing = [] if measured is None else [item for item in way.inputs if item not in measured]
    if missing:
        return "not_offered", f"{name} needs {' and '.join(missing)}, which the source does not carry"
    return None
