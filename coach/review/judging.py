"""Judges a recording against a recipe, with everything that the judge itself cannot notice told as notes."""

from __future__ import annotations

from dataclasses import replace

from coach.core.afterwards import Verdict, judge_recording
from coach.core.spec import JudgePlan
from coach.plan import check_plan, resolve
from coach.plan.resolve import CarDerivations
from coach.recipe import Recipe
from coach.recording import Note, Recording
from coach.signals import Catalogue
from coach.vehicle import Vehicle
from coach.vehicle.slip import converter_slip


def judge_against(
    recipe: Recipe, recording: Recording, catalogue: Catalogue, vehicle: CarDerivations | None = None
) -> tuple[JudgePlan, Verdict]:
    """The plan and the verdict for a recorded drive.

    Args:
        recipe: what was asked for.
        recording: the drive.
        catalogue: the signals.
        vehicle: hands over gear and pedal travel; without it a recipe that names them cannot be met.

    Returns:
        The plan, and the verdict with notes on what this drive can never show and on what nobody recorded.

    Raises:
        RecipeErrors: the recipe contradicts itself so that nothing can be judged.
    """
    measured = [name for name, series in recording.series.items() if len(series)]
    people = recording.marks is not None
    plan = resolve(recipe, catalogue, vehicle, measured=measured, people_recorded=people)
    findings = check_plan(recipe, catalogue, vehicle, measured=measured)
    notes = [Note(f.code, str(replace(f, line=None))) for f in findings]
    notes += [] if people else unrecorded(recipe)
    notes += _slipped(plan, recording, vehicle)
    verdict = judge_recording(plan, recording)
    return plan, replace(verdict, notes=(*notes, *verdict.notes))


def _slipped(plan: JudgePlan, recording: Recording, vehicle: CarDerivations | None) -> list[Note]:
    """An automatic's converter slip, where a gear is told in spite of it."""
    if not isinstance(vehicle, Vehicle) or not any(way.name == "gear" for way in plan.derivations):
        return []
    slip = converter_slip(recording, vehicle)
    if slip is None:
        return []
    most, share = slip
    text = (
        f"the torque converter slipped by up to {most * 100:.0f} %, noticeably in {share * 100:.0f} % of the time in "
        "gear: up to 12 % counts as in gear"
    )
    return [Note("converter_slip", text, "gear")]


def unrecorded(recipe: Recipe) -> list[Note]:
    """What counts as said in a drive that has no record of what people said."""
    armed = [c.title for c in recipe.captures if c.place != "road"]
    told = [c.title for c in recipe.captures if c.confirm]
    notes = []
    if armed:
        text = f"nobody recorded what people said: counts as armed throughout: {'; '.join(armed)}"
        notes.append(Note("counts_as_armed", text, count=len(armed)))
    if told:
        text = f"nobody recorded what people said: counts as confirmed: {'; '.join(told)}"
        notes.append(Note("counts_as_confirmed", text, count=len(told)))
    return notes
