"""The tables in a bundle, made from what else is in it: so that checking can make them again and compare."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from coach.bundle.samples import BundledRecording
from coach.csvout import Form, table_chunks
from coach.recording import Recording, Series
from coach.signals import Catalogue

FORMS: tuple[Form, ...] = ("long", "wide")
_COLUMNS = (
    "capture",
    "number",
    "outcome",
    "start_s",
    "end_s",
    "secured_s",
    "code",
    "signal",
    "value",
    "bound",
    "t_s",
    "text",
)


def part(recording: Recording, first_us: int, last_us: int) -> Recording:
    """The samples from `first_us` to `last_us`, both inclusive, of the signals that have any."""
    series = {}
    for name, s in recording.series.items():
        a, b = s.t_us.searchsorted(first_us, "left"), s.t_us.searchsorted(last_us, "right")
        if b > a:
            series[name] = Series(s.t_us[a:b], s.value[a:b])
    return Recording(series)


def window_name(index: int, capture: str, number: int, form: str) -> str:
    """Name of a window's table below its drive's folder; captures and attempts count from 1 in it."""
    plain = re.sub(r"[^a-z0-9]+", "-", capture.lower()).strip("-")[:40] or "capture"
    return f"windows/{index + 1:02}-{plain}-{number + 1}.{form}.csv"


def secured(verdict: Mapping[str, Any]) -> Iterator[tuple[int, str, int, int, int]]:
    """Every window that qualified: capture's index and id, attempt's number, start and end in microseconds."""
    for index, capture in enumerate(verdict["captures"]):
        for attempt in capture["attempts"]:
            if attempt["secured_s"] is not None:
                start_us, end_us = round(attempt["start_s"] * 1e6), round(attempt["end_s"] * 1e6)
                yield index, capture["id"], attempt["number"], start_us, end_us


def window_tables(
    verdict: Mapping[str, Any], around: Mapping[str, tuple[int, int]], recording: Recording, catalogue: Catalogue
) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Name below the drive's folder and contents of each window's tables."""
    for index, capture, number, start_us, end_us in secured(verdict):
        before_us, after_us = around.get(capture, (0, 0))
        samples = part(recording, start_us - before_us, end_us + after_us)
        for form in FORMS:
            yield window_name(index, capture, number, form), table_chunks(samples, catalogue, form=form)


def drive_tables(recording: Recording, catalogue: Catalogue) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Name and contents of the whole drive's tables."""
    for form in FORMS:
        yield f"drive.{form}.csv", table_chunks(recording, catalogue, form=form)


def attempts_table(verdict: Mapping[str, Any]) -> bytes:
    """Every attempt, the missed ones with their reasons, as a table (RFC 4180)."""
    lines = [_COLUMNS]
    for capture in verdict["captures"]:
        for a in capture["attempts"]:
            reason = a["reason"] or {}
            place = (capture["id"], a["number"], a["outcome"], a["start_s"], a["end_s"], a["secured_s"])
            lines.append((*place, *(reason.get(key) for key in _COLUMNS[6:])))
    return "".join(",".join(_cell(cell) for cell in line) + "\n" for line in lines).encode()


def _cell(value: object) -> str:
    text = "" if value is None else str(value)
    # A cell that a spreadsheet would take for a formula is none: recipes name captures as they like.
    if text[:1] in ("=", "@", "\t") or (text[:1] in ("+", "-") and not isinstance(value, (int, float))):
        text = "'" + text
    return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',"\r\n') else text


def around_windows(
    recording: Recording, verdict: Mapping[str, Any], around: Mapping[str, tuple[int, int]], judged: frozenset[str], *,
    whole: bool,
) -> BundledRecording:  # fmt: skip
    """What goes into a bundle: judged signals from end to end, others only around windows unless all is asked for."""
    spans = []
    for _, capture, _, start_us, end_us in secured(verdict):
        before_us, after_us = around.get(capture, (0, 0))
        spans.append((start_us - before_us, end_us + after_us))
    series = {}
    for name, s in sorted(recording.series.items()):
        if whole or name in judged:
            series[name] = s
            continue
        keep = s.t_us < 0
        for first_us, last_us in spans:
            keep |= (s.t_us >= first_us) & (s.t_us <= last_us)
        series[name] = Series(s.t_us[keep], s.value[keep])
    return BundledRecording(
        series, recording.marks, recording.wall_us, recording.end_us, recording.notes, {}, last_us=recording.duration_us
    )
