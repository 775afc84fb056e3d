"""The verdict for a terminal: short, in sentences, the same words as everywhere."""

from __future__ import annotations

from typing import Any

from coach.advice.readout import Readouts
from coach.advice.reasons import drive_time
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words

US = 1_000_000


def verdict_text(
    verdict: dict[str, Any], catalogue: Catalogue, *, words: Words | None = None, units: Units = METRIC
) -> str:
    """A verdict as `verdict_json` gives it, as lines of text.

    Args:
        verdict: the JSON form.
        catalogue: the signals that it names.
        words: the language; English if left out.
        units: what numbers are written in; should be those of the sentences in `verdict`.
    """
    words = words or load_words()
    readouts = Readouts(catalogue, words, units)
    recipe, drive = verdict["recipe"], verdict["drive"]
    lines = [
        words("verdict.title", title=recipe["title"], revision=recipe["revision"]),
        words(
            "verdict.drive", duration=_clock(drive["duration_s"]), samples=f"{drive['samples']:,}",
            signals=len(drive["signals"]),
        ),
    ]  # fmt: skip
    lines += [_alarm(alarm, readouts, words) for alarm in verdict["alarms"]]
    for capture in verdict["captures"]:
        lines += ["", *_capture(capture, words)]
    lines += ["", _all(verdict["captures"], words)]
    lines += [words("verdict.note", text=_note(note, readouts, words)) for note in verdict["notes"]]
    return "\n".join(lines) + "\n"


def _clock(seconds: float) -> str:
    return drive_time(round(seconds * US))


def _length(seconds: float) -> str:
    """A length of time: `12.4 s` under a minute, else `3:24`."""
    return f"{seconds:.1f} s" if seconds < 60 else _clock(seconds)


def _alarm(alarm: dict[str, Any], readouts: Readouts, words: Words) -> str:
    readout = readouts[alarm["signal"]]
    bound, value = alarm["bound"], alarm["value"]
    key = "verdict.alarm_unseen" if alarm["unseen"] else "verdict.alarm"
    over = value is not None and value > bound
    edges = (None, bound) if over or value is None else (bound, None)
    bound_text = next((text for text in readout.bounds(*edges) if text is not None), "")
    name = words.title(readout.signal)
    return words(
        key, time=_clock(alarm["t_s"]), name=name, value=readout.value(value, *edges), unit=readout.unit,
        bound=bound_text,
    )  # fmt: skip


def _capture(capture: dict[str, Any], words: Words) -> list[str]:
    asked, qualified = capture["asked"], capture["qualified"]
    mark = "+" if qualified >= asked else "-"
    count = words("verdict.qualified", qualified=min(qualified, asked), asked=asked)
    lines = [f"{mark} {capture['title']} ({capture['id']}): {count}"]
    if capture["collected"] is not None:
        got = capture["collected"]
        total, whole = _clock(got["total_s"]), _clock(got["asked_s"])
        lines.append(f"    {words.counted('verdict.collected', got['pieces'], total=total, asked=whole)}")
    attempts = [a for a in capture["attempts"] if not a["small"]]
    small = len(capture["attempts"]) - len(attempts)
    lines += [f"    {_attempt(a, words)}" for a in attempts]
    if capture["never"] is not None:
        lines.append(f"    {capture['never']}")
    if small:
        lines.append(f"    {words.counted('verdict.small', small)}")
    if qualified < asked:
        best = next((a for a in capture["attempts"] if a["number"] == capture["best"]), None)
        if best is not None and best["remedy"] and not best["small"]:
            lines.append(f"    {words('verdict.try', remedy=best['remedy'])}")
    return lines


def _attempt(attempt: dict[str, Any], words: Words) -> str:
    outcome = words(f"outcome.{attempt['outcome']}").capitalize()
    start, end = _clock(attempt["start_s"]), _clock(attempt["end_s"])
    span = words("verdict.span", held=_length(attempt["duration_s"]), start=start, end=end)
    if attempt["reason"] is None:
        return f"{outcome}: {span}"
    key = "verdict.until" if attempt["secured_s"] is not None else "verdict.because"
    return f"{outcome}: {span} {words(key, text=attempt['reason']['text'])}"


def _all(captures: list[dict[str, Any]], words: Words) -> str:
    good = sum(c["qualified"] >= c["asked"] for c in captures)
    if good == len(captures):
        return words("verdict.all")
    if good == 0:
        return words.counted("verdict.none", len(captures), asked=len(captures))
    return words("verdict.some", qualified=good, asked=len(captures))


def _note(note: dict[str, Any], readouts: Readouts, words: Words) -> str:
    text = str(note["text"])
    name = words.title(readouts[note["signal"]].signal) if note["signal"] in readouts else None
    told = f"{name}: {text}" if name is not None and note["signal"] not in text and name not in text else text
    return told if told.endswith(".") else f"{told}."
