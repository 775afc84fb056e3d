"""Reviews as tasks of the worker: each reads the store and gives JSON text, in the reader's units."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coach.store.reading import Reader
from coach.words import load_words

if TYPE_CHECKING:
    from coach.review.subject import Subject

Ask = dict[str, Any]
KEPT = 3
_KEPT: dict[tuple[str, str, int, int], Subject] = {}
"""Subjects that were just looked at: one screen asks for several things of the same drive."""


def subject(folder: Path, drive: str, language: str = "en") -> Subject:
    """A drive, read once for several questions; read again when more of it is stored or people wrote on it."""
    from coach.review.subject import stored_subject
    from coach.store.store import DATABASE

    reader = Reader(folder / DATABASE)
    row = reader.drive(drive)
    key = (str(folder), drive, row.samples, hash((reader.label(drive), row.phase)))
    if key not in _KEPT:
        for old in [k for k in _KEPT if k[1] == drive]:
            del _KEPT[old]
        _KEPT[key] = stored_subject(reader, drive)
        while len(_KEPT) > KEPT:
            del _KEPT[next(iter(_KEPT))]
    return _KEPT[key].in_words(load_words(language))


def _asked(folder: Path, ask: Ask) -> Subject:
    return subject(folder, ask["drive"], _language(ask))


def _language(ask: Ask) -> str:
    return str(ask.get("language", "en"))


def _text(made: dict[str, Any]) -> str:
    return json.dumps(made, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def review(folder: Path, ask: Ask) -> str:
    """The verdict-first review of `drive`."""
    from coach.review.whole import review_json

    return _text(review_json(_asked(folder, ask)))


def summary(folder: Path, ask: Ask) -> str:
    """The summary of attempt `number` of `capture` by `kind`."""
    from coach.review.summary import summary_json

    s = _asked(folder, ask)
    made = summary_json(s, ask["capture"], ask["number"], kind=ask["kind"], lambda_delay_s=ask["lambda_delay_s"])
    return _text(made)


def traces(folder: Path, ask: Ask) -> str:
    """Signals of a stretch of the drive, thinned."""
    from coach.review.plots import traces_json

    s = _asked(folder, ask)
    return _text(traces_json(s, ask["signals"], ask["first_s"], ask["last_s"], ask["points"]))


def over(folder: Path, ask: Ask) -> str:
    """Signals of an attempt over another signal."""
    from coach.review.plots import over_json
    from coach.review.summary import window_of

    return _text(over_json(window_of(_asked(folder, ask), ask["capture"], ask["number"]), ask["signal"]))


def coverage(folder: Path, ask: Ask) -> str:
    """Cells visited by the drive, or by all of its revision."""
    from coach.review.coverage import coverage_json
    from coach.review.log import of_revision
    from coach.store.store import DATABASE

    drives = of_revision(Reader(folder / DATABASE), ask["drive"]) if ask["scope"] == "revision" else [ask["drive"]]
    subjects = [subject(folder, d, _language(ask)) for d in drives]
    return _text(coverage_json(subjects, load=ask["load"], step_rpm=ask["step_rpm"], step_load=ask["step_load"]))


def health(folder: Path, ask: Ask) -> str:
    """Data health of the drive."""
    from coach.review.health import health_json

    return _text(health_json(_asked(folder, ask), ask["a"], ask["b"]))


def power(folder: Path, ask: Ask) -> str:
    """Estimated power of an attempt."""
    from coach.review.power import power_json
    from coach.review.summary import window_of

    w = window_of(_asked(folder, ask), ask["capture"], ask["number"])
    load = None if ask["road_load"] is None else (ask["road_load"][0], ask["road_load"][1], ask["road_load"][2])
    return _text(power_json(w, ask["mass_kg"], load))


def compare(folder: Path, ask: Ask) -> str:
    """Drive `b` (before) and `drive` (after) in `capture`; without `b` the last drive of an earlier revision."""
    from coach.review.compare import compare_json
    from coach.review.log import before
    from coach.store.store import DATABASE

    was = ask["b"] or before(Reader(folder / DATABASE), ask["drive"], ask["capture"])
    return _text(compare_json(subject(folder, was, _language(ask)), _asked(folder, ask), ask["capture"]))


def report(folder: Path, ask: Ask) -> str:
    """The report on `drive` as HTML."""
    from coach.review.report import html

    return html(_asked(folder, ask))


REVIEWS = {
    "review": review, "summary": summary, "traces": traces, "over": over, "coverage": coverage, "health": health,
    "power": power, "compare": compare, "report": report,
}  # fmt: skip
