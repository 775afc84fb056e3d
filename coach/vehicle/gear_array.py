"""The gear of a whole drive at once: the arithmetic of `gear.py`, operation by operation, over arrays.

The gear told last needs no loop: only an entered gear changes it, and whether one is entered does not depend on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coach.core.derive import OK, OUT_OF_RANGE, UNREADABLE, Feed
from coach.core.merge import merge_inputs
from coach.vehicle.ratios import (
    DRIFT_KMH_S,
    ENTER,
    HALF_STEP_KMH,
    KEEP,
    LEAST_KMH,
    UNKNOWN_AFTER_US,
    WIDEST_PAIR_US,
    Gears,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEVER_US = np.iinfo(np.int64).max


class _Bounds(NamedTuple):
    """`Gears` as arrays."""

    number: Floats
    ratio: Floats
    middle: Floats
    enter_low: Floats
    enter_high: Floats
    keep_low: Floats
    keep_high: Floats


def gear_feed(gears: Gears, delay_us: int, least_rpm: float, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
    """All samples of the gear, with a cut after each one that a sample fitting no gear follows.

    Args:
        gears: the ratios and their bounds.
        delay_us: delay of road speed.
        least_rpm: least engine speed.
        feeds: engine speed, road speed.
        fresh_us: how old each of the two may be.
    """
    engine, road = feeds
    merged = merge_inputs(feeds, fresh_us)
    t = merged.t_us
    engine_i, road_i = merged.index
    engine_us, road_us = engine.t_us[engine_i], road.t_us[road_i]
    lost = np.isin(engine.flag, (UNREADABLE, OUT_OF_RANGE))[engine_i]
    lost |= np.isin(road.flag, (UNREADABLE, OUT_OF_RANGE))[road_i]
    rpm = np.where(engine.flag == OK, engine.value, np.nan)[engine_i]
    kmh = np.where(road.flag == OK, road.value, np.nan)[road_i]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        gear = _fit(gears, least_rpm, engine_us, rpm, road_us - delay_us, kmh)
    has = (gear >= 0) | lost
    at = np.flatnonzero(has)
    number = np.array(gears.number)
    value = np.where(lost[at], np.nan, number[np.maximum(gear[at], 0)])
    until = np.full(len(at), NEVER_US, dtype=np.int64)
    since = until.copy()
    # A sample is cut where the instant right after it has none.
    followed = at[at + 1 < len(t)]
    cut = ~has[followed + 1]
    where = np.flatnonzero(cut)
    since[where] = t[followed[cut] + 1]
    until[where] = since[where] + UNKNOWN_AFTER_US
    flag = np.where(lost[at], UNREADABLE, OK).astype(np.uint8)
    return Feed(t[at], value, flag, ("engine_speed", "road_speed"), (engine_us[at], road_us[at]), until, since)


def _fit(gears: Gears, least_rpm: float, engine_us: Ints, rpm: Floats, true_us: Ints, kmh: Floats) -> NDArray[np.intp]:
    """Index of the gear at each instant, -1 where none fits."""
    b = _Bounds(*(np.array(column) for column in (
        gears.number, gears.ratio, gears.middle, gears.enter_low, gears.enter_high, gears.keep_low, gears.keep_high,
    )))  # fmt: skip
    drives = (kmh >= LEAST_KMH) & (rpm >= least_rpm)
    slack = HALF_STEP_KMH + DRIFT_KMH_S * (np.abs(engine_us - true_us) / 1e6)
    low, high = (kmh - slack) * (1 - KEEP), (kmh + slack) * (1 + KEEP)
    aligned, known = _aligned(engine_us, rpm, true_us)
    quotient = aligned / kmh
    near = np.searchsorted(b.middle, quotient, side="left")
    near[~(drives & known)] = 0
    enter = drives & known & (b.enter_low[near] <= quotient) & (quotient <= b.enter_high[near])
    enter &= _within(b.ratio[near], aligned, kmh, ENTER) & _now(b.ratio[near], rpm, low, high)
    # The gear told last: that of the last instant that entered one.
    last = np.maximum.accumulate(np.where(enter, np.arange(len(rpm)), -1)) if len(rpm) else near
    told = near[np.maximum(last, 0)]
    kept = (b.keep_low[told] <= quotient) & (quotient <= b.keep_high[told]) & _within(b.ratio[told], aligned, kmh, KEEP)
    stays = drives & (last >= 0) & (kept | ~known) & _now(b.ratio[told], rpm, low, high)
    return np.where(enter | stays, told, -1)


def _within(ratio: Floats, rpm: Floats, kmh: Floats, share: float) -> Bools:
    return (ratio * ((kmh - HALF_STEP_KMH) * (1 - share)) <= rpm) & (
        rpm <= ratio * ((kmh + HALF_STEP_KMH) * (1 + share))
    )


def _now(ratio: Floats, rpm: Floats, low: Floats, high: Floats) -> Bools:
    return (ratio * low <= rpm) & (rpm <= ratio * high)


def _aligned(engine_us: Ints, rpm: Floats, true_us: Ints) -> tuple[Floats, Bools]:
    """Engine speed at each `true_us` from the engine samples seen by then, and where it can be told."""
    if not len(rpm):
        return rpm, np.zeros(0, dtype=np.bool_)
    new = np.ones(len(rpm), dtype=np.bool_)
    new[1:] = engine_us[1:] != engine_us[:-1]
    seen_us, seen = engine_us[new], rpm[new]
    newest = np.cumsum(new) - 1
    first = np.searchsorted(seen_us, true_us, side="right") - 1
    # What came later is not known yet: a road sample is newer than every engine sample, or enclosed by two seen.
    first = np.minimum(first, newest)
    second = np.minimum(first + 1, newest)
    before = np.maximum(first, 0)
    first_us, second_us = seen_us[before], seen_us[second]
    width = second_us - first_us
    exact = (first >= 0) & (first_us == true_us)
    between = (first >= 0) & (second > first) & (width <= WIDEST_PAIR_US)
    slope = (true_us - first_us) / np.where(width == 0, 1, width)
    value = seen[before] + (seen[second] - seen[before]) * slope
    return np.where(exact, seen[before], value), exact | between
