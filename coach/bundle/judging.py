"""Judges a drive in a bundle again, from the samples inside, and finds the first place where two verdicts differ."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from coach.bundle.opening import OpenedDrive
from coach.core.afterwards import Verdict, judge_recording
from coach.core.spec import RULES, JudgePlan
from coach.errors import BundleError
from coach.plan import check_plan, resolve
from coach.recipe import Recipe
from coach.recording import Note, Recording
from coach.review.judging import unrecorded
from coach.review.verdict import verdict_json
from coach.shown import METRIC
from coach.signals import Catalogue
from coach.store.planjson import dump_plan
from coach.vehicle import Vehicle

SAME = 1e-9
"""Numbers that differ by less are the same: machines round the last bit of an interpolation differently."""
WORDED = frozenset(("text", "remedy", "never", "title", "notes"))
"""What is a sentence: another version of the program may say it in other words."""
NEEDED = ("attempts", "outcome", "reason", "qualified", "id")
"""What no verdict may leave out."""


def rejudge(drive: OpenedDrive, recording: Recording | None = None) -> tuple[JudgePlan, Verdict, dict[str, Any]]:
    """The plan, the verdict, and the verdict as JSON, from what is inside.

    Args:
        recording: the drive's samples, where they have been read already.

    Raises:
        BundleError: it cannot be judged: made under other rules, or what is inside is no drive.
    """
    plan, recipe, catalogue, vehicle = drive.plan(), drive.recipe(), drive.catalogue(), drive.vehicle()
    if plan.rules != RULES:
        raise BundleError(
            f"it was judged by rules {plan.rules}, and this version judges by rules {RULES}:"
            " a version that knows them can check it",
            where=drive.id,
        )  # fmt: skip
    recording = recording or drive.recording()
    try:
        verdict = judge_recording(plan, recording)
    except Exception as error:  # whatever a forged plan leads to, it is a sentence
        raise BundleError(f"it cannot be judged by the plan inside ({type(error).__name__})", where=drive.id) from error
    measured = [s.name for s in drive.entry.signals if s.count]
    notes = [
        Note(f.code, str(replace(f, line=None))) for f in check_plan(recipe, catalogue, vehicle, measured=measured)
    ]
    if not drive.entry.people_recorded:
        notes += unrecorded(recipe)
    verdict = replace(verdict, notes=(*notes, *verdict.notes))
    units = METRIC if vehicle is None else vehicle.units
    try:
        said = verdict_json(recipe, recording, verdict, catalogue, units=units, plan=plan)
    except (ValueError, LookupError, ArithmeticError, TypeError) as error:
        raise BundleError(f"its verdict cannot be put into words ({type(error).__name__})", where=drive.id) from error
    return plan, verdict, said


def difference(claimed: Any, found: Any, *, worded: bool, where: str = "") -> str | None:
    """The first place where two verdicts differ, in words, or None.

    Args:
        worded: both were made by one version: sentences are compared too, and no key may be left out. Else keys that
            only `found` has are passed over, but for those without which a verdict says nothing.
    """
    if isinstance(claimed, dict) and isinstance(found, dict):
        for key in claimed:
            if not worded and key in WORDED:
                continue
            inner = f"{where}, {_named(key)}" if where else _named(key)
            if key not in found:
                return f"{inner}: it says {_shown(claimed[key])}, and the samples give nothing of the kind"
            told = difference(claimed[key], found[key], worded=worded, where=inner)
            if told:
                return told
        wanted = found if worded else NEEDED
        missing = [key for key in wanted if key in found and key not in claimed]
        return f"{where}: {_named(missing[0])} is left out of it".removeprefix(": ") if missing else None
    if isinstance(claimed, list) and isinstance(found, list):
        for n, (a, b) in enumerate(zip(claimed, found, strict=False)):
            told = difference(a, b, worded=worded, where=f"{where} {_item(a, b, n)}")
            if told:
                return told
        if len(claimed) != len(found):
            return f"{where}: it says {len(claimed)}, the samples give {len(found)}"
        return None
    if _same(claimed, found):
        return None
    return f"{where}: it says {_shown(claimed)}, the samples give {_shown(found)}"


def _named(key: str) -> str:
    return key.removesuffix("_s").replace("_", " ") if key.endswith("_s") else key.replace("_", " ")


def _item(claimed: Any, found: Any, n: int) -> str:
    for one in (found, claimed):
        if isinstance(one, dict) and isinstance(one.get("id"), str):
            return repr(one["id"][:60])
        if isinstance(one, dict) and isinstance(one.get("number"), int):
            return str(one["number"] + 1)
    return str(n + 1)


def _same(a: Any, b: Any) -> bool:
    numbers = (
        isinstance(a, (int, float))
        and isinstance(b, (int, float))
        and not isinstance(a, bool)
        and not isinstance(b, bool)
    )
    if numbers:
        return math.isclose(a, b, rel_tol=SAME, abs_tol=SAME)
    return type(a) is type(b) and a == b


def _shown(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else f"{text[:79]}…"


def verdict_difference(
    claimed: Mapping[str, Any], found: Mapping[str, Any], whole: Collection[str], *, worded: bool
) -> str | None:
    """Where a claimed verdict and the one from the samples differ first.

    Args:
        whole: the signals that are inside from end to end: only their rates can be compared.
    """

    def compared(verdict: Mapping[str, Any]) -> dict[str, Any]:
        drive = verdict.get("drive")
        drive = drive if isinstance(drive, dict) else {}
        signals = drive.get("signals")
        signals = signals if isinstance(signals, dict) else {}
        return {
            "rules": verdict.get("rules"), "recipe": verdict.get("recipe"), "captures": verdict.get("captures"),
            "alarms": verdict.get("alarms"), "length of the drive": drive.get("duration_s"),
            "signals": {n: signals.get(n) for n in sorted(whole)},
        }  # fmt: skip

    told = difference(compared(claimed), compared(found), worded=worded)
    return told if told is None else re.sub(r"^captures (?=')", "Capture ", told)


def plan_difference(
    plan: JudgePlan,
    recipe: Recipe,
    catalogue: Catalogue,
    vehicle: Vehicle | None,
    recorded: Collection[str],
    *,
    people: bool,
) -> tuple[str | None, str | None]:
    """Where a plan is not what the recipe gives: first in what is judged, then in how signals are derived.

    What the car offered besides what was recorded is not known, so each likely answer is tried.
    """
    claimed = json.loads(dump_plan(plan))
    derived = {d.name for d in plan.derivations}
    likely = {*recorded, *plan.facts} - derived
    best: tuple[str | None, str | None] | None = None
    for measured in (sorted(recorded), sorted(likely), None):
        made = json.loads(dump_plan(resolve(recipe, catalogue, vehicle, measured=measured, people_recorded=people)))
        ways = difference(
            claimed.pop("derivations", None), made.pop("derivations", None), worded=True, where="derivations"
        )
        claimed["derivations"] = json.loads(dump_plan(plan))["derivations"]
        judged = {key: value for key, value in claimed.items() if key != "derivations"}
        found = difference(judged, made, worded=True), ways
        if found == (None, None):
            return found
        if best is None or (best[0] is not None and found[0] is None):
            best = found
    assert best is not None
    return best
