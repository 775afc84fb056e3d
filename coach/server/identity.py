"""Which calibration is in the car: as told and as said before a drive, kept with it, compared with earlier ones."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from coach.clock import wall_text
from coach.recipe import Recipe
from coach.review.identity import Before, identity_of, identity_warnings
from coach.server.models import Flashed
from coach.shown import METRIC, Units
from coach.sources.link.discover import Found
from coach.store import DriveRow
from coach.words import Words


def before(rows: Iterable[DriveRow], source: str) -> list[Before]:
    """Earlier drives of the car at this source, the newest first; which of them were other cars the numbers say."""
    found = []
    for row in rows:
        identity = identity_of(row.source)
        if identity is not None and row.source.get("id") == source:
            day = wall_text(row.anchor_wall_us or row.created_wall_us)
            found.append(Before(row.revision, row.title, day, identity))
    return found


def with_identity(
    facts: dict[str, Any], flashed: Flashed | None, recipe: Recipe, earlier: list[Before], words: Words,
    units: Units = METRIC,
) -> dict[str, Any]:  # fmt: skip
    """What is kept with a drive about its source, with what a person said is in the car and what is to be looked at."""
    facts = {**facts, "flashed": None if flashed is None else flashed.model_dump()}
    now = identity_of(facts)
    if now is None:
        return {k: v for k, v in facts.items() if k != "flashed"}
    warned = identity_warnings(recipe, now, earlier, units=units, words=words)
    return {**facts, "warnings": [w.json() for w in warned]}


def identity_mark(found: Found, recipe: Recipe, earlier: list[Before], words: Words, units: Units) -> dict[str, Any]:
    """The mark of the Ready screen: what the car tells, what to look at, and what was said last.

    Returns:
        A mark with `warnings` (code and text each) and `flashed`: revision and date as said before the last drive with
        this revision, for a person to confirm; else null.
    """
    now = identity_of({"kind": "link", "meta": found.identity()})
    assert now is not None
    warned = identity_warnings(recipe, now, earlier, units=units, words=words)
    said = next((b.identity for b in earlier if b.identity.revision == recipe.revision), None)
    told = [", ".join(n for unit in now.ecus for n in (unit.calibrations or unit.verifications))]
    text = words("link.told", names=told[0]) if told[0] else words("link.told_nothing")
    return {
        "id": "identity", "state": "warn" if warned else "ok",
        "text": " ".join([text, *(w.text for w in warned)]),
        "warnings": [w.json() for w in warned],
        "flashed": None if said is None else {"revision": said.revision, "date": said.flashed},
    }  # fmt: skip


__all__ = ["before", "identity_mark", "with_identity"]
