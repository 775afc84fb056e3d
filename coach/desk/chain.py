"""A customer's revisions in a row, each capture with the one mark that it came to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Literal

from coach.desk.standing import Asked, Received
from coach.errors import CoachError
from coach.recipe import parse_recipe

Mark = Literal["secured", "running", "missed", "todo"]


def chain(asked: Sequence[Asked], received: Sequence[Received], recipe: Callable[[str], bytes]) -> list[dict[str, Any]]:
    """Revisions, the first one first.

    Args:
        asked: what was asked of a customer.
        received: what came of it.
        recipe: hands over a recipe that was asked for, by its SHA-256.

    Returns:
        For each revision `revision`, `sent` (false: begun only), `sha256` (null where only a bundle tells of it),
        `captures` with `id`, `title`, `asked`, `qualified` and `mark`: secured, running (some of it), missed (driven,
        none of it), todo (nothing came).
    """
    rows: dict[int, dict[str, Any]] = {}
    for a in sorted(asked, key=lambda a: a.wall_us):
        row = rows.setdefault(a.revision, {"revision": a.revision, "sent": False, "captures": {}})
        row |= {"sha256": a.sha256, "title": a.title, "sent": row["sent"] or a.sent}
        row["captures"] = _asked(recipe(a.sha256))
    counted: set[tuple[str | None, str]] = set()
    for r in received:
        for d in r.found["drives"]:
            if (r.signer, d["id"]) in counted:
                continue
            counted.add((r.signer, d["id"]))
            row = rows.setdefault(
                d["revision"], {"revision": d["revision"], "sha256": None, "title": d["title"], "captures": {}}
            )
            row["sent"] = True
            for c in d["captures"]:
                one = row["captures"].setdefault(c["id"], _capture(c["id"], c["title"], c["asked"]))
                one["driven"] = True
                # A verdict that the samples do not bear out counts for nothing.
                one["qualified"] += c["qualified"] if d["same_verdict"] else 0
    made = [rows[n] for n in sorted(rows)]
    for row in made:
        row["captures"] = [c | {"mark": _mark(c)} for c in row["captures"].values()]
    return made


def _capture(name: str, title: str, asked: int) -> dict[str, Any]:
    return {"id": name, "title": title, "asked": asked, "qualified": 0, "driven": False}


def _asked(recipe: bytes) -> dict[str, dict[str, Any]]:
    try:
        captures = parse_recipe(recipe, name="recipe").captures
    except CoachError:
        # Written for a car with signals of its own: the bundle tells its captures.
        return {}
    return {c.id: _capture(c.id, c.title, c.times) for c in captures}


def _mark(capture: dict[str, Any]) -> Mark:
    if capture["qualified"] >= capture["asked"]:
        return "secured"
    if capture["qualified"]:
        return "running"
    return "missed" if capture["driven"] else "todo"
