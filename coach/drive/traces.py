"""What the page draws of a stored drive: the signals of a window, and the lane of an attempt."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.advice.instruct import lead_band
from coach.advice.lane import band_ends, ceiling_ends, ceiling_of
from coach.advice.lines import Lines
from coach.advice.readout import Readouts
from coach.core.events import Attempt, Began, Ended, Withdrawn
from coach.core.spec import Capture, JudgePlan
from coach.errors import NotFound
from coach.recording import US, Recording, Series
from coach.review.derived import NEVER, cut, series_of
from coach.review.thinning import thin
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.store.model import Around, DriveRow
from coach.store.planjson import load_catalogue, load_plan
from coach.store.reading import Reader
from coach.unit_factors import convert
from coach.vehicle import parse_vehicle
from coach.words import Words, load_words

LEAD_IN_US = 30 * US
"""A derived signal remembers: it is made from so much before the part that is drawn."""
LANE_POINTS = 600


class Context:
    """What is needed to draw one stored drive. Raises NotFound, StoreError."""

    def __init__(self, reader: Reader, drive: str, words: Words | None = None) -> None:
        self.reader = reader
        self.row: DriveRow = reader.drive(drive)
        self.plan: JudgePlan = load_plan(self.row.plan)
        self.catalogue: Catalogue = load_catalogue(self.row.catalogue)
        self.units = units_of(self.row.vehicle)
        self.readouts = Readouts(self.catalogue, words or load_words(), self.units)

    def capture(self, name: str) -> Capture:
        """The capture of that id. Raises NotFound."""
        for capture in self.plan.captures:
            if capture.id == name:
                return capture
        raise NotFound("the recipe of this drive has no such capture", where=name)

    def attempt(self, capture: str, number: int) -> Attempt:
        """An attempt that is over. Raises NotFound."""
        self.capture(capture)
        for attempt in self.reader.attempts(self.row.id):
            if attempt.capture == capture and attempt.number == number:
                return attempt
        raise NotFound("there is no such attempt, or it is not over yet", where=f"{capture}, {number}")

    def part(self, first_us: int, last_us: int) -> Recording:
        """The samples of a stretch, with what derived signals need before it."""
        return self.reader.recording(self.row.id, first_us - LEAD_IN_US, last_us)


def units_of(vehicle: bytes | None) -> Units:
    """What the driver reads, from the vehicle file as received."""
    return METRIC if vehicle is None else parse_vehicle(vehicle).units


def window_json(reader: Reader, drive: str, capture_id: str, number: int, words: Words | None = None) -> dict[str, Any]:
    """The signals of an attempt on shared time, a little before and after it included, thinned for a screen.

    Raises:
        NotFound: no such drive, capture or attempt.
    """
    c = Context(reader, drive, words)
    capture, attempt = c.capture(capture_id), c.attempt(capture_id, number)
    around = c.row.around.get(capture_id, Around())
    first_us, last_us = max(0, attempt.start_us - around.before_us), attempt.end_us + around.after_us
    recording = c.part(first_us, last_us)
    asked = _named(capture)
    names = [*asked, *(n for n in recording.series if n not in asked)]
    signals = []
    for name in names:
        series = cut(series_of(c.plan, recording, name), first_us, last_us)
        if len(series):
            signals.append(_signal_json(c, capture, attempt, name, series))
    return {
        "drive": drive, "capture": capture_id, "number": number, "outcome": attempt.outcome.value,
        "start_s": attempt.start_us / US, "end_s": attempt.end_us / US,
        "secured_s": None if attempt.secured_us is None else attempt.secured_us / US, "signals": signals,
    }  # fmt: skip


def lane_json(reader: Reader, drive: str, capture_id: str, number: int | None) -> dict[str, Any]:
    """The thread of an attempt in its lane; without a number of the one that runs, else of the last.

    Returns:
        `points`: pairs (x, y): x from 0 to 1 along the hold or the sweep, y from 0 at the low bound to 1 at the high
        one, null where it could not be read.

    Raises:
        NotFound: no such drive, capture or attempt.
    """
    c = Context(reader, drive)
    capture = c.capture(capture_id)
    if number is None:
        number, start_us, end_us = _latest(c, capture_id)
    else:
        attempt = c.attempt(capture_id, number)
        start_us, end_us = attempt.start_us, attempt.end_us
    points: list[list[float | None]] = []
    if number is not None:
        points = _points(c, capture, c.part(start_us, end_us), start_us, end_us)
    return {"drive": drive, "capture": capture_id, "number": number, "points": points}


def _named(capture: Capture) -> list[str]:
    named = [band.signal for band in (*capture.keep, *capture.start)]
    if capture.sweep is not None:
        named.insert(0, capture.sweep.signal)
    return list(dict.fromkeys([*named, *(x.signal for x in capture.limits)]))


def _signal_json(c: Context, capture: Capture, attempt: Attempt, name: str, series: Series) -> dict[str, Any]:
    known = name in c.catalogue
    unit = c.catalogue[name].unit if known else ""
    target = c.units.of(unit)
    band = next((b for b in (*capture.keep, *capture.start) if b.signal == name), None)
    limit = next((x for x in capture.limits if x.signal == name), None)
    asked = ""
    if band is not None and known:
        asked = c.readouts[name].asked_with_unit(band.low, band.high, band.wander)

    def shown(value: float | None) -> float | None:
        return None if value is None or not math.isfinite(value) else round(float(convert(value, unit, target)), 4)

    inside = cut(series, attempt.start_us, attempt.end_us)
    readable = inside.value[np.isfinite(inside.value)]
    keep = thin(series.value)
    t_s, values = _with_gaps(series.t_us[keep], series.value[keep], series)
    span = int(inside.t_us[-1] - inside.t_us[0]) if len(inside) > 1 else 0
    return {
        "signal": name,
        "name": c.readouts[name].name if known else name,
        "unit": c.readouts[name].unit if known else "",
        "discrete": known and c.catalogue[name].discrete,
        "t_s": t_s,
        "values": [shown(v) for v in values],
        "low": None if band is None else shown(band.low),
        "high": None if band is None else shown(band.high),
        "limit": None if limit is None else shown(limit.bound),
        "asked": asked,
        "rate_hz": round((len(inside) - 1) * US / span, 2) if span else None,
        "max_gap_s": round(int(np.diff(inside.t_us).max()) / US, 3) if len(inside) > 1 else None,
        "mean": shown(float(readable.mean())) if len(readable) else None,
        "least": shown(float(readable.min())) if len(readable) else None,
        "most": shown(float(readable.max())) if len(readable) else None,
    }


def _with_gaps(t_us: NDArray[np.int64], value: NDArray[np.float64], whole: Series) -> tuple[list[float], list[float]]:
    """Points with an unknown one in each silence, so that no line is drawn across it."""
    steps = np.diff(whole.t_us)
    longest = max(2 * US, 5 * float(np.median(steps))) if len(steps) else math.inf
    silent = np.flatnonzero(steps > longest)
    if len(silent):
        middle = (whole.t_us[silent] + whole.t_us[silent + 1]) // 2
        at = np.searchsorted(t_us, middle)
        t_us, value = np.insert(t_us, at, middle), np.insert(value, at, np.nan)
    return (t_us / US).tolist(), value.tolist()


def _latest(c: Context, capture: str) -> tuple[int | None, int, int]:
    """Number, start and end of the attempt that runs, else of the last one; number None when there was none."""
    for stored in reversed(c.reader.events(c.row.id)):
        event = stored.event
        if isinstance(event, (Began, Ended, Withdrawn)) and event.capture == capture:
            if isinstance(event, Ended):
                return event.attempt.number, event.attempt.start_us, event.attempt.end_us
            if isinstance(event, Began):
                return event.number, event.t_us, NEVER
            return None, 0, 0
    return None, 0, 0


def _points(c: Context, capture: Capture, recording: Recording, start_us: int, end_us: int) -> list[list[float | None]]:
    sweep = capture.sweep
    if sweep is None:
        band = lead_band(Lines(load_words(), c.readouts), capture)
        if band is None or not capture.hold_us:
            return []
        series = cut(series_of(c.plan, recording, band.signal), start_us, end_us)
        low, high = band_ends(c.readouts[band.signal], band.low, band.high)
        x = (series.t_us - start_us) / capture.hold_us
    else:
        swept = cut(series_of(c.plan, recording, sweep.signal), start_us, end_us)
        ceiling = ceiling_of(capture)
        if ceiling is None or not len(swept):
            series, low, high = Series(swept.t_us, np.full(len(swept), 0.5)), 0.0, 1.0
        else:
            series = cut(series_of(c.plan, recording, ceiling.signal), start_us, end_us)
            low, high = ceiling_ends(c.readouts[ceiling.signal], ceiling.bound)
        good = np.isfinite(swept.value)
        at = np.interp(series.t_us, swept.t_us[good], swept.value[good]) if good.any() else np.zeros(len(series))
        x = (at - sweep.start) / (sweep.to - sweep.start)
    y = (series.value - low) / (high - low) if high > low else np.full(len(series), 0.5)
    keep = thin(y, LANE_POINTS)
    x = np.clip(x[keep], 0.0, 1.0)
    return [[round(a, 4), round(b, 4) if math.isfinite(b) else None] for a, b in zip(x, y[keep].tolist(), strict=True)]
