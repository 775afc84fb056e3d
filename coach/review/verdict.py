"""The verdict on a drive as JSON: what each capture came to, every attempt with its reason, every alarm and note."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from coach.advice.readout import Readouts
from coach.advice.reasons import reason_text, remedy_text
from coach.core.afterwards import Verdict
from coach.core.events import Alarm, Attempt, Collected, Excursion, Reason
from coach.core.spec import JudgePlan
from coach.plan import kind_of
from coach.recipe import CaptureAsked, Recipe
from coach.recording import Note, Recording, Series
from coach.review.never import never_text
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words

US = 1_000_000


def verdict_json(
    recipe: Recipe,
    recording: Recording,
    verdict: Verdict,
    catalogue: Catalogue,
    *,
    words: Words | None = None,
    units: Units = METRIC,
    plan: JudgePlan | None = None,
) -> dict[str, Any]:
    """The verdict, JSON-able and without NaN. Times are seconds from the drive's first sample.

    Args:
        recipe: what was asked for.
        recording: the drive.
        verdict: what the judge made of it.
        catalogue: the signals.
        words: the language of `text` and `remedy`; English if left out.
        units: what numbers in sentences are written in; values are always in the catalogue's units.
        plan: what was judged; with it a capture without attempts says which condition was never met.
    """
    words = words or load_words()
    readouts = Readouts(catalogue, words, units)
    return {
        "recipe": {"title": recipe.title, "revision": recipe.revision, "sha256": recipe.sha256},
        "drive": {
            "duration_s": recording.duration_us / US,
            "samples": recording.samples,
            "signals": {name: signal_json(series) for name, series in recording.series.items()},
        },
        "rules": verdict.rules,
        "alarms": [alarm_json(a) for a in verdict.alarms],
        "captures": [
            _capture_json(capture, verdict, readouts, words)
            | {"never": _never(capture.id, recipe, recording, verdict, readouts, words, plan)}
            for capture in recipe.captures
        ],
        "notes": [note_json(n) for n in unique_notes(recording, verdict)],
    }


def signal_json(series: Series) -> dict[str, Any]:
    """How often a signal came: `rate_hz` from its first to its last sample, `max_gap_s` between two samples."""
    t = series.t_us
    span = int(t[-1] - t[0]) if len(t) > 1 else 0
    return {
        "count": len(t),
        "rate_hz": round((len(t) - 1) * US / span, 3) if span else 0.0,
        "max_gap_s": int(np.diff(t).max()) / US if len(t) > 1 else 0.0,
    }


def alarm_json(alarm: Alarm) -> dict[str, Any]:
    """An alarm; `value` is null and `unseen` true where the limit's signal could not be seen."""
    return {
        "capture": alarm.capture, "signal": alarm.signal, "value": _finite(alarm.value), "bound": _finite(alarm.bound),
        "t_s": alarm.t_us / US, "unseen": alarm.unseen,
    }  # fmt: skip


def note_json(note: Note) -> dict[str, Any]:
    """A note."""
    return {"code": note.code, "text": note.text, "signal": note.signal, "count": note.count}


def unique_notes(recording: Recording, verdict: Verdict) -> list[Note]:
    """What the reader and the judge noticed, each once."""
    return list(dict.fromkeys((*recording.notes, *verdict.notes)))


def attempt_json(
    attempt: Attempt, readouts: Readouts, words: Words, capture: CaptureAsked | None = None
) -> dict[str, Any]:
    """One attempt. `crossings` and `covers` are null for a hold; `secured_s` when it was not secured."""
    crossings = None
    if attempt.from_us is not None:
        to_s = None if attempt.to_us is None else attempt.to_us / US
        crossings = {"from_s": attempt.from_us / US, "to_s": to_s, "interpolated": True}
    return {
        "number": attempt.number,
        "outcome": attempt.outcome.value,
        "start_s": attempt.start_us / US,
        "end_s": attempt.end_us / US,
        "duration_s": (attempt.end_us - attempt.start_us) / US,
        "secured_s": None if attempt.secured_us is None else attempt.secured_us / US,
        "reason": None if attempt.reason is None else _reason_json(attempt.reason, readouts, words, capture),
        "remedy": remedy_text(readouts, words, attempt),
        "excursions": [_excursion_json(e) for e in attempt.excursions],
        "crossings": crossings,
        "covers": None if attempt.covers is None else [_finite(x) for x in attempt.covers],
        "progress": round(attempt.progress, 6),
        "small": attempt.small,
    }


def _reason_json(reason: Reason, readouts: Readouts, words: Words, capture: CaptureAsked | None) -> dict[str, Any]:
    upper = True
    excused = None
    if capture is not None:
        excused = capture.max_excursions
        upper = next((x.high is not None for x in capture.limits if x.signal == reason.signal), True)
    return {
        "code": reason.code.value,
        "signal": reason.signal,
        "value": _finite(reason.value),
        "bound": _finite(reason.bound),
        "t_s": reason.t_us / US,
        "text": reason_text(readouts, words, reason, max_excursions=excused, upper=upper),
    }


def _excursion_json(excursion: Excursion) -> dict[str, Any]:
    return {
        "signal": excursion.signal,
        "start_s": excursion.start_us / US,
        "duration_s": (excursion.end_us - excursion.start_us) / US,
        "peak": _finite(excursion.peak),
        "code": excursion.code.value,
    }


def _capture_json(capture: CaptureAsked, verdict: Verdict, readouts: Readouts, words: Words) -> dict[str, Any]:
    attempts = verdict.attempts.get(capture.id, ())
    pieces = [a for a in attempts if a.secured_us is not None]
    qualified, collected = len(pieces), None
    if capture.collect_us is not None:
        at = next((e.t_us for e in verdict.events if isinstance(e, Collected) and e.capture == capture.id), None)
        qualified = 0 if at is None else 1
        collected = {
            "asked_s": capture.collect_us / US,
            "total_s": sum(a.end_us - a.start_us for a in pieces) / US,
            "pieces": len(pieces),
            "t_s": None if at is None else at / US,
        }
    return {
        "id": capture.id,
        "title": capture.title,
        "kind": kind_of(capture),
        "place": capture.place,
        "asked": capture.times,
        "qualified": qualified,
        "collected": collected,
        "best": best_of(attempts),
        "attempts": [attempt_json(a, readouts, words, capture) for a in attempts],
    }


def _never(
    capture_id: str, recipe: Recipe, recording: Recording, verdict: Verdict, readouts: Readouts, words: Words,
    plan: JudgePlan | None,
) -> str | None:  # fmt: skip
    """Why a capture has no attempt, in a sentence; None where it has one."""
    if verdict.attempts.get(capture_id):
        return None
    capture = None if plan is None else next((c for c in plan.captures if c.id == capture_id), None)
    if plan is None or capture is None:
        return words("reason.never.bare")
    secured = {n for n, some in verdict.attempts.items() if any(a.secured_us is not None for a in some)}
    titles = {c.id: c.title for c in recipe.captures}
    return never_text(plan, capture, recording, readouts, words, titles=titles, secured=secured)


def best_of(attempts: tuple[Attempt, ...]) -> int | None:
    """The number of the best attempt: secured before not, then the longest window, or who came furthest; else None."""
    best = max(
        attempts,
        key=lambda a: (a.secured_us is not None, a.progress, a.end_us - a.start_us, -a.start_us),
        default=None,
    )
    return None if best is None else best.number


def all_qualified(verdict: dict[str, Any]) -> bool:
    """Whether everything asked for qualified; for a verdict as JSON."""
    return all(capture["qualified"] >= capture["asked"] for capture in verdict["captures"])


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else value
