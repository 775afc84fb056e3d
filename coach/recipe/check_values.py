"""Checks of bands, limits and sweeps against each other and against what the signals can show."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from coach.core.spec import Band
from coach.recipe.lines import Path
from coach.recipe.reach import reach
from coach.recipe.recipe import CaptureAsked, LimitAsked, SweepAsked
from coach.shown import show, show_difference
from coach.signals import Catalogue, Signal


class Fault(NamedTuple):
    """A finding before it knows its line: an error unless `warning`; `path` is inside the capture."""

    code: str
    message: str
    path: Path
    warning: bool = False


def bounds(band: Band) -> tuple[float, float]:
    """Lowest and highest good value; infinite where there is no bound."""
    return (-math.inf if band.low is None else band.low, math.inf if band.high is None else band.high)


def check_values(capture: CaptureAsked, catalogue: Catalogue) -> Iterator[Fault]:
    """Everything about the values of one capture."""
    for part, bands in (("start", capture.start), ("keep", capture.keep)):
        for band in bands:
            yield from _band(band, catalogue, part)
    yield from _start_and_keep(capture)
    for limit in capture.limits:
        yield from _limit(limit, catalogue)
        yield from _limit_in_band(limit, capture, catalogue[limit.signal])
    if capture.sweep is not None:
        yield from _sweep(capture.sweep, capture, catalogue)


def _said(value: float, signal: Signal) -> str:
    shown = show(value, signal.unit)
    exact = shown if shown.value == value else show(value, signal.unit, decimals=2)
    return f"{exact}"


def _band(band: Band, catalogue: Catalogue, part: str) -> Iterator[Fault]:
    signal, path = catalogue[band.signal], (part, band.signal)
    low, high = bounds(band)
    seen = reach(signal, catalogue)
    if low > high:
        yield Fault("band_upside_down", f"min {_said(low, signal)} is above max {_said(high, signal)}", path)
        return
    if low > seen.high or (low >= seen.high and seen.high_open):
        why = f" ({seen.why})" if seen.why else ""
        what = f"{band.signal} is never read above {_said(seen.high, signal)}"
        yield Fault("never_met", f"min {_said(low, signal)} can never be met: {what}{why}", (*path, "min"))
    if high < seen.low or (high <= seen.low and seen.low_open):
        what = f"{band.signal} is never read below {_said(seen.low, signal)}"
        yield Fault("never_met", f"max {_said(high, signal)} can never be met: {what}", (*path, "max"))
    if part == "start" and band.wander is not None:
        yield Fault(
            "wander_at_start", "wander counts from the start of an attempt on; write it under keep", (*path, "wander")
        )
    if signal.step is not None and (signal.discrete or signal.step >= 1):
        yield from _steps(band, signal, path)


def _steps(band: Band, signal: Signal, path: Path) -> Iterator[Fault]:
    """A signal that comes in whole steps needs a band that some reading fits, and room to steer in."""
    step, (low, high) = signal.step or 1.0, bounds(band)
    if math.isfinite(low) and math.isfinite(high):
        if math.ceil(low / step) * step > high:
            each = f"{signal.name} comes in steps of {_step_said(signal)}"
            yield Fault("no_reading_fits", f"no reading lies in this band: {each}", path)
        elif signal.quantity == "speed" and low > 0 and high - low < 4 * step:
            few = math.floor(high / step) - math.ceil(low / step) + 1
            readings = "one reading is good" if few == 1 else f"{few} readings are good"
            yield Fault(
                "narrow_band",
                f"only {readings}: {signal.name} comes in steps of {_step_said(signal)}",
                path,
                warning=True,
            )
    if band.wander is not None and band.wander < step:
        yield Fault(
            "narrow_wander", f"one step of {_step_said(signal)} already is too much wander", (*path, "wander"),
            warning=True,
        )  # fmt: skip


def _step_said(signal: Signal) -> str:
    return f"{show_difference(signal.step or 1.0, signal.unit)}"


def _start_and_keep(capture: CaptureAsked) -> Iterator[Fault]:
    keeps = {band.signal: band for band in capture.keep}
    for band in capture.start:
        kept = keeps.get(band.signal)
        if kept is None:
            continue
        (low, high), (keep_low, keep_high) = bounds(band), bounds(kept)
        if low > high or keep_low > keep_high:
            continue  # said already
        if max(low, keep_low) > min(high, keep_high):
            yield Fault(
                "start_against_keep", f"start and keep ask for values of {band.signal} that exclude each other",
                ("start", band.signal),
            )  # fmt: skip


def _limit(limit: LimitAsked, catalogue: Catalogue) -> Iterator[Fault]:
    signal = catalogue[limit.signal]
    seen = reach(signal, catalogue)
    if limit.high is not None and limit.high > seen.sure_high:
        yield Fault(
            "limit_out_of_sight",
            f"passing {_said(limit.high, signal)} might never show: {_why(signal, seen.sure_high, seen.why, 'up')}",
            ("limit", limit.signal, "max"),
        )
    if limit.low is not None and limit.low < seen.sure_low:
        yield Fault(
            "limit_out_of_sight",
            f"falling below {_said(limit.low, signal)} might never show: "
            f"{_why(signal, seen.sure_low, seen.why, 'down')}",
            ("limit", limit.signal, "min"),
        )


def _why(signal: Signal, end: float, why: str, way: str) -> str:
    more = f", because {why}" if why else ""
    return f"{signal.name} is surely seen only {way} to {_said(end, signal)}{more}"


def _limit_in_band(limit: LimitAsked, capture: CaptureAsked, signal: Signal) -> Iterator[Fault]:
    """A value that must be held, or swept through, must not be one that stops the attempt."""
    for part, bands in (("start", capture.start), ("keep", capture.keep)):
        for band in bands:
            if band.signal != limit.signal:
                continue
            low, high = bounds(band)
            upper = limit.high is not None and (low > limit.high or (limit.high < high < math.inf))
            lower = limit.low is not None and (high < limit.low or (limit.low > low > -math.inf))
            if upper or lower:
                bound = limit.high if upper else limit.low
                yield Fault(
                    "limit_inside_band",
                    f"the limit {_said(bound or 0.0, signal)} lies inside what {part} asks for: "
                    "a good value would stop the attempt",
                    ("limit", limit.signal),
                )
    sweep = capture.sweep
    if sweep is not None and sweep.signal == limit.signal:
        low, high = sorted((sweep.start, sweep.to))
        if (limit.high is not None and limit.high < high) or (limit.low is not None and limit.low > low):
            yield Fault(
                "limit_inside_sweep", "the limit lies inside the sweep: it would stop every attempt",
                ("limit", limit.signal),
            )  # fmt: skip


def _sweep(sweep: SweepAsked, capture: CaptureAsked, catalogue: Catalogue) -> Iterator[Fault]:
    signal, path = catalogue[sweep.signal], ("sweep", sweep.signal)
    if signal.discrete:
        yield Fault("sweep_of_steps", f"{sweep.signal} jumps from value to value and cannot be swept", path)
    span = abs(sweep.to - sweep.start)
    if span == 0:
        yield Fault("no_span", f"from and to are both {_said(sweep.to, signal)}", path)
        return
    seen = reach(signal, catalogue)
    for key, value in (("from", sweep.start), ("to", sweep.to)):
        beyond = value > seen.high or (value >= seen.high and seen.high_open)
        if beyond or value < seen.low or (value <= seen.low and seen.low_open):
            ends = f"{_said(seen.low, signal)} to {_said(seen.high, signal)}"
            yield Fault(
                "never_met", f"{_said(value, signal)} is never reached: {sweep.signal} runs {ends}", (*path, key)
            )
    if sweep.dip is not None and sweep.dip >= span:
        yield Fault("dip_over_span", "the dip allowed is as large as the sweep itself", (*path, "dip"))
    if sweep.late is not None and sweep.late >= span:
        yield Fault("late_over_span", "the sweep could begin beyond its own end", (*path, "late"))
    if sweep.within_us == 0:
        yield Fault("no_time", "a sweep takes time; within must be above 0", (*path, "within"))
    for part, bands in (("start", capture.start), ("keep", capture.keep)):
        for band in bands:
            if band.signal != sweep.signal:
                continue
            low, high = bounds(band)
            needed = (sweep.start,) if part == "start" else (sweep.start, sweep.to)
            if low <= high and not all(low <= value <= high for value in needed):
                yield Fault(
                    "sweep_leaves_band",
                    f"the sweep of {sweep.signal} does not lie inside this band",
                    (part, band.signal),
                )
