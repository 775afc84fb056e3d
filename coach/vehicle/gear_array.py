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


def gear_feed(
    gears: Gears, delay_us: int, least_rpm: float, feeds: Sequence[Feed], fresh_us: Sequence[int], slip: float = 0.0
) -> Feed:
    """All samples of the gear, with a cut after each one that a sample fitting no gear follows.

    Args:
        gears: the ratios and their bounds.
        delay_us: delay of road speed.
        least_rpm: least engine speed.
        feeds: engine speed, road speed.
        fresh_us: how old each of the two may be.
        slip: by what share the engine may run ahead of a gear.
    """
    engine, road = feeds
    merged = merge_inputs(feeds, fresh_us)
    t = merged.t_us
    engine_i, road_i = merged.index
    engine_us, road_us = engine.t_us[engine_i], road.t_us[road_i]
    rpm, kmh = _readable(engine)[engine_i], _readable(road)[road_i]
    lost = (engine.flag >= OUT_OF_RANGE)[engine_i] | (road.flag >= OUT_OF_RANGE)[road_i]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        gear = _fit(gears, least_rpm, engine_us, rpm, road_us - delay_us if delay_us else road_us, kmh, slip)
    has = (gear >= 0) | lost
    at = np.flatnonzero(has)
    value = np.array([*gears.number, np.nan])[gear[at]]  # an index of -1, a lost input, is the last one
    flag = np.where(lost[at], UNREADABLE, OK).astype(np.uint8)
    until = np.full(len(at), NEVER_US, dtype=np.int64)
    since = until.copy()
    # A sample is cut where the instant right after it has none.
    cut = has.copy()
    cut[:-1] &= ~has[1:]
    cut[-1:] = False
    after = np.flatnonzero(cut)
    where = np.searchsorted(at, after)
    since[where] = t[after + 1]
    until[where] = since[where] + UNKNOWN_AFTER_US
    return Feed(t[at], value, flag, ("engine_speed", "road_speed"), (engine_us[at], road_us[at]), until, since)


def _readable(feed: Feed) -> Floats:
    """The values, NaN where a sample has none or is at the end of its encoding."""
    return np.where(feed.flag == OK, feed.value, np.nan) if feed.flag.any() else feed.value


def _fit(
    gears: Gears, least_rpm: float, engine_us: Ints, rpm: Floats, true_us: Ints, kmh: Floats, slip: float
) -> NDArray[np.intp]:
    """Index of the gear at each instant, -1 where none fits."""
    b = _Bounds(*(np.array(column) for column in (
        gears.number, gears.ratio, gears.middle, gears.enter_low, gears.enter_high, gears.keep_low, gears.keep_high,
    )))  # fmt: skip
    slack = HALF_STEP_KMH + DRIFT_KMH_S * (np.abs(engine_us - true_us) / 1e6)
    enter_up, keep_up = max(ENTER, slip), max(KEEP, slip)
    low, high = (kmh - slack) * (1 - KEEP), (kmh + slack) * (1 + keep_up)
    drives = (kmh >= LEAST_KMH) & (rpm >= least_rpm)
    aligned, known = _aligned(engine_us, rpm, true_us)
    quotient = aligned / kmh
    near = _nearest(b.middle, quotient)
    ratio = b.ratio[near]
    enter = drives & known & (b.enter_low[near] <= quotient) & (quotient <= b.enter_high[near])
    enter &= _within(ratio, aligned, kmh, ENTER, enter_up)
    enter &= _now(ratio, rpm, low, high)
    gear = np.where(enter, near, -1)
    # The others keep the gear told last, that of the last instant that entered one, if they still fit it.
    others = np.flatnonzero(drives & ~enter)
    if len(others) and enter.any():
        entered = np.flatnonzero(enter)
        last = np.searchsorted(entered, others) - 1
        others, told = others[last >= 0], near[entered[last[last >= 0]]]
        q, r, unknown = quotient[others], b.ratio[told], ~known[others]
        kept = (b.keep_low[told] <= q) & (q <= b.keep_high[told])
        kept &= _within(r, aligned[others], kmh[others], KEEP, keep_up)
        stays = (kept | unknown) & _now(r, rpm[others], low[others], high[others])
        gear[others[stays]] = told[stays]
    return gear


def _nearest(middle: Floats, quotient: Floats) -> NDArray[np.intp]:
    """How many midpoints lie below each quotient: `bisect_left` for a handful of midpoints, faster than a search."""
    count = np.zeros(len(quotient), dtype=np.int8)
    for bound in middle.tolist():
        count += quotient > bound
    return count.astype(np.intp)


def _within(ratio: Floats, rpm: Floats, kmh: Floats, below: float, above: float) -> Bools:
    return (ratio * ((kmh - HALF_STEP_KMH) * (1 - below)) <= rpm) & (
        rpm <= ratio * ((kmh + HALF_STEP_KMH) * (1 + above))
    )


def _now(ratio: Floats, rpm: Floats, low: Floats, high: Floats) -> Bools:
    return (ratio * low <= rpm) & (rpm <= ratio * high)


def _aligned(engine_us: Ints, rpm: Floats, true_us: Ints) -> tuple[Floats, Bools]:
    """Engine speed at each `true_us` from the engine samples seen by then, and where it can be told."""
    if np.array_equal(engine_us, true_us):
        return rpm, np.ones(len(rpm), dtype=np.bool_)
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
