"""The verdict on a stored drive, as JSON: the same as `coach judge` prints for the same samples and recipe."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from coach.core.afterwards import Verdict, judge_recording
from coach.core.events import Attempt, Code
from coach.core.spec import JudgePlan
from coach.drive.traces import units_of
from coach.plan import check_plan
from coach.recipe import parse_recipe
from coach.recording import Note, Recording
from coach.review.judging import unrecorded
from coach.review.verdict import verdict_json
from coach.store.model import DriveRow
from coach.store.planjson import load_catalogue, load_plan
from coach.store.reading import Reader
from coach.vehicle import parse_vehicle
from coach.words import Words


def judge_stored(reader: Reader, drive: str) -> tuple[Recording, JudgePlan, Verdict]:
    """Judges a stored drive by the plan and the rules that it was recorded with. Raises NotFound, StoreError."""
    row = reader.drive(drive)
    recording = reader.recording(drive)
    plan = load_plan(row.plan)
    verdict = judge_recording(plan, recording)
    if row.phase != "ended":
        attempts = {name: tuple(a for a in some if not _cut_off(a)) for name, some in verdict.attempts.items()}
        verdict = replace(verdict, attempts=attempts)
    return recording, plan, verdict


def _cut_off(attempt: Attempt) -> bool:
    """Whether an attempt only seems to be over, because the drive goes on after what is stored."""
    return attempt.reason is not None and attempt.reason.code is Code.DRIVE_ENDED


def stored_verdict_json(reader: Reader, drive: str, words: Words | None = None) -> dict[str, Any]:
    """The verdict on a stored drive; while it is still recorded, on the attempts that are over. In English, or `words`.

    Raises:
        NotFound: no such drive.
        StoreError: it cannot be read by this version.
    """
    row = reader.drive(drive)
    recording, plan, verdict = judge_stored(reader, drive)
    catalogue = load_catalogue(row.catalogue)
    recipe = parse_recipe(row.recipe, name=row.recipe_name, catalogue=catalogue)
    vehicle = None if row.vehicle is None else parse_vehicle(row.vehicle)
    findings = check_plan(recipe, catalogue, vehicle, measured=list(recording.series))
    notes = [Note(f.code, str(replace(f, line=None))) for f in findings]
    if not row.source.get("people_recorded", True):
        notes += unrecorded(recipe)
    verdict = replace(verdict, notes=(*notes, *verdict.notes))
    recording = replace(recording, notes=(*_source_notes(row), *recording.notes))
    return verdict_json(recipe, recording, verdict, catalogue, words=words, units=units_of(row.vehicle), plan=plan)


def _source_notes(row: DriveRow) -> list[Note]:
    """What the reader of a replayed table had to tell."""
    meta = row.source.get("meta")
    told = meta.get("notes", []) if isinstance(meta, dict) else []
    return [Note(n["code"], n["text"], n.get("signal"), n.get("count", 1)) for n in told]
