"""Whether an earlier drive would have met a recipe, what would have stopped it, and how little less would have done."""

from __future__ import annotations

from typing import Any

from coach.desk.relax import relaxations
from coach.plan.resolve import CarDerivations
from coach.recipe import Recipe
from coach.recording import Recording
from coach.review.judging import judge_against
from coach.review.verdict import verdict_json
from coach.review.verdict_text import verdict_text
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words


def proof_json(
    recipe: Recipe, recording: Recording, catalogue: Catalogue, vehicle: CarDerivations | None = None, *,
    units: Units = METRIC, words: Words | None = None,
) -> dict[str, Any]:  # fmt: skip
    """The verdict, and for each capture that the drive does not meet the single changes that would do.

    Args:
        recipe: what is to be proved.
        recording: a drive made before, for this recipe or for none.
        catalogue: the signals.
        vehicle: gears and pedal of the car that was driven.
        units: what sentences are written in.
        words: the language.

    Returns:
        `verdict` as `coach judge` has it, and `less`: by capture a list of `key`, `old`, `new`, `share`, `text`, the
        smallest change first.

    Raises:
        RecipeErrors: the recipe contradicts itself.
    """
    plan, verdict = judge_against(recipe, recording, catalogue, vehicle)
    said = verdict_json(recipe, recording, verdict, catalogue, words=words, units=units, plan=plan)
    less = {}
    for capture, row in zip(plan.captures, said["captures"], strict=True):
        if row["qualified"] < row["asked"]:
            less[capture.id] = [
                {"key": r.key, "old": r.old, "new": r.new, "share": round(r.share, 6), "text": r.text}
                for r in relaxations(plan, capture, recording, catalogue, system=units, words=words)
            ]
    return {"verdict": said, "less": less}


def proof_text(
    proof: dict[str, Any], catalogue: Catalogue, *, units: Units = METRIC, words: Words | None = None
) -> str:
    """The same for a terminal."""
    words = words or load_words()
    lines = [verdict_text(proof["verdict"], catalogue, units=units).rstrip("\n")]
    titles = {c["id"]: c["title"] for c in proof["verdict"]["captures"]}
    for capture, changes in proof["less"].items():
        lines += ["", words("desk.proof.less" if changes else "desk.proof.none", title=titles[capture])]
        lines += [f"    {change['text']}" for change in changes]
    return "\n".join(lines) + "\n"
