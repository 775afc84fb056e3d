"""Ratio clusters of a drive, and the delay of road speed: what can be learned about a car whose gears nobody gave.

A cluster has no gear number: numbers come from the vehicle file, a proven reported gear, or the operator's word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.recording import Recording, Series
from coach.vehicle.ratios import HALF_STEP_KMH, LEAST_RPM

Floats = NDArray[np.float64]

GRID_S = 0.2
"""Both signals are compared at this spacing."""

LEAST_LEARN_KMH = 8.0
"""Below this half a km/h is more than 6 % of the ratio."""

_CARRIED_S = 2.0  # a value unchanged for longer than this was measured again in between
_GAP_S = 3.0  # nothing is compared across longer gaps
_STEADY = 0.02  # largest change of the ratio from one grid point to the next, as a share
_BIN = 0.005  # of the logarithm of the ratio
_REACH = 0.04  # a cluster's samples lie within this share of its middle
_APART = 0.08  # two gears are farther apart than this share
_OFTEN_S, _LEAST_RUNS = 0.35, 20  # a signal is read often when it is read so often
_WHOLE_KMH = 1.0  # step of road speed
_LEAST_POINTS = 40  # 8 s in a gear
_APART_POINTS = 10  # two stretches are 2 s apart


@dataclass(frozen=True, slots=True)
class Cluster:
    """A ratio that the car kept to.

    Attributes:
        ratio: rpm per km/h, the median.
        seconds: how long it was seen, steady.
        spread: half the distance between the 16th and 84th percentile, as a share of the ratio.
        count: how many points of the grid, `GRID_S` apart, lie in it.
        stretches: in how many separate stretches it was seen.
    """

    ratio: float
    seconds: float
    spread: float
    count: int = 0
    stretches: int = 1


@dataclass(frozen=True, slots=True)
class Ratios:
    """Engine speed over road speed on an even grid, drive after drive with a hole between two of them.

    Attributes:
        drive: int64, shape (n,), which drive a point is of; -1 in a hole.
        t_s: float64, shape (n,), time of the engine speed in its drive, seconds.
        log: float64, shape (n,), natural logarithm of rpm per km/h; NaN where there is nothing to compare.
        steady: bool, shape (n,), where the ratio stays from one grid point to the next, before and after.
        kmh: float64, shape (n,), road speed at the same moment.
        slack: float64, shape (n,), share by which the ratio may be off by the reading alone: half a km/h, and what
            road speed changes within half the time between two samples.
    """

    drive: NDArray[np.int64]
    t_s: Floats
    log: Floats
    steady: NDArray[np.bool_]
    kmh: Floats
    slack: Floats


def ratios_of(recordings: Sequence[Recording], delay_us: int = 0) -> Ratios:
    """The ratio over whole drives of one car."""
    parts = [(n, recording, *_grid(recording, delay_us / 1e6)) for n, recording in enumerate(recordings)]
    hole = np.full(_APART_POINTS + 1, np.nan)
    whole = [
        (np.full(len(t), n), t, log, _still(log), kmh, _slack(recording, kmh))
        for n, recording, t, log, kmh in parts
        if len(t)
    ]
    gap = (np.full(len(hole), -1), hole, hole, np.zeros(len(hole), dtype=np.bool_), hole, hole)
    rows = [row for part in whole for row in (part, gap)] or [gap]
    drive, t_s, log, steady, kmh, slack = (np.concatenate(column) for column in zip(*rows, strict=True))
    return Ratios(drive, t_s, log, steady, kmh, slack)


def _slack(recording: Recording, kmh: Floats) -> Floats:
    """See `Ratios.slack`."""
    between = [np.diff(_measured(recording.series[name])[0]) for name in ("engine_speed", "road_speed")]
    skew_s = sum(float(np.median(step)) for step in between if len(step)) / 2
    change = np.abs(np.gradient(kmh, GRID_S)) if len(kmh) > 1 else np.zeros(len(kmh))
    return np.asarray((HALF_STEP_KMH + change * skew_s) / np.maximum(kmh, 1.0))


def learn_ratios(recording: Recording, *, delay_us: int = 0) -> list[Cluster]:
    """The ratio clusters of a drive, the lowest gear (the largest ratio) first; empty where there is none.

    Standstill, a slipping clutch, gear changes and coasting at idle speed are left out: only stretches in which the
    ratio stays where it is count, above the idle speed, and a cluster must stand out against its surroundings.

    Args:
        recording: a drive with `engine_speed` and `road_speed`; values carried along from row to row are allowed.
        delay_us: delay of road speed against engine speed.
    """
    return clusters_of(ratios_of([recording], delay_us))


def clusters_of(ratios: Ratios) -> list[Cluster]:
    """The clusters of steady points, the lowest gear (the largest ratio) first."""
    at = np.flatnonzero(ratios.steady)
    log_ratio = ratios.log[at]
    if len(log_ratio) < _LEAST_POINTS:
        return []
    low, high = float(log_ratio.min()) - 0.1, float(log_ratio.max()) + 0.1
    edges = np.arange(low, high + _BIN, _BIN)
    density = _smooth(np.histogram(log_ratio, edges)[0].astype(np.float64))
    centres = edges[:-1] + _BIN / 2
    peaks = np.flatnonzero((density[1:-1] > density[:-2]) & (density[1:-1] >= density[2:])) + 1
    found: list[Cluster] = []
    taken: list[float] = []
    for peak in peaks[np.argsort(-density[peaks], kind="stable")].tolist():
        middle = float(centres[peak])
        for _ in range(5):
            near = log_ratio[np.abs(log_ratio - middle) <= _REACH]
            if not len(near):
                break
            middle = float(np.median(near))
        distance = np.abs(log_ratio - middle)
        inside, around = int((distance <= _REACH).sum()), int(((distance > _REACH) & (distance <= 2 * _REACH)).sum())
        # Junk between gears is spread evenly: as many points around as inside. A gear has several times more inside.
        if inside < _LEAST_POINTS or inside < 3 * around or any(abs(middle - other) < _APART for other in taken):
            continue
        taken.append(middle)
        near = log_ratio[distance <= _REACH]
        spread = float(np.percentile(near, 84) - np.percentile(near, 16)) / 2
        stretches = 1 + int((np.diff(at[distance <= _REACH]) > _APART_POINTS).sum())
        found.append(Cluster(float(np.exp(middle)), inside * GRID_S, spread, inside, stretches))
    return sorted(found, key=lambda cluster: -cluster.ratio)


def number_from(clusters: list[Cluster], first: int = 1) -> dict[int, float]:
    """Ratios by gear number, on the operator's word: the lowest gear seen is `first`, and none above it is left out."""
    return {first + i: cluster.ratio for i, cluster in enumerate(sorted(clusters, key=lambda c: -c.ratio))}


def estimate_delay_us(recording: Recording, *, longest_us: int = 1_500_000, step_us: int = 20_000) -> int:
    """Delay of road speed against engine speed: the shift under which the ratios of a drive lie closest together.

    A wrong delay smears the ratio whenever the car speeds up or slows down. 0 where the drive says nothing about it.

    Args:
        recording: a drive with `engine_speed` and `road_speed`.
        longest_us: the largest delay tried.
        step_us: resolution.
    """
    best_us, sharpest = 0, 0.0
    for delay_us in range(0, longest_us + 1, step_us):
        log_ratio = _moving(recording, delay_us / 1e6)
        if len(log_ratio) < _LEAST_POINTS:
            return 0
        share = np.bincount(np.floor((log_ratio - log_ratio.min()) / 0.01).astype(np.int64)) / len(log_ratio)
        sharpness = float((share * share).sum())
        if sharpness > sharpest * (1 + 1e-9):
            best_us, sharpest = delay_us, sharpness
    return best_us


def _measured(series: Series, step: float = 0.0) -> tuple[Floats, Floats]:
    """Seconds and values of the samples that were measured: a value carried along from row to row is not one.

    The first row of a new value is a measurement; so is, when it stayed for long, its last row.

    Args:
        series: one signal.
        step: of its encoding. A reading taken often that moves by one step has just passed the middle between the two:
            whole km/h would else be half a km/h off, and always to the same side while the car speeds up.
    """
    good = np.isfinite(series.value)
    t, value = series.t_us[good] / 1e6, series.value[good]
    if not len(t):
        return t, value
    start = np.ones(len(t), dtype=np.bool_)
    start[1:] = value[1:] != value[:-1]
    starts = np.flatnonzero(start)
    ends = np.append(starts[1:] - 1, len(t) - 1)
    long = t[ends] - t[starts] > _CARRIED_S
    # How often it is really read shows in the shortest stretches of one value.
    quick = len(starts) > _LEAST_RUNS and float(np.percentile(np.diff(t[starts]), 5)) <= _OFTEN_S
    if not (step and quick):
        keep = np.union1d(starts, ends[long])
        return t[keep], value[keep]
    at, told = t[starts].copy(), value[starts].copy()
    moved = np.abs(np.diff(value[starts])) <= step
    told[1:][moved] = (value[starts][1:][moved] + value[starts][:-1][moved]) / 2
    at[1:][moved] = (t[starts][1:][moved] + t[starts - 1][1:][moved]) / 2
    # Inside a long stretch the reading itself is the best that is known.
    half = _CARRIED_S / 2
    at = np.concatenate((at, t[starts][long] + half, t[ends][long] - half, t[-1:]))
    told = np.concatenate((told, value[starts][long], value[starts][long], value[-1:]))
    order = np.argsort(at, kind="stable")
    return at[order], told[order]


def _moving(recording: Recording, delay_s: float) -> Floats:
    """Logarithm of engine speed over road speed on an even grid where the car moves; NaN elsewhere is left out."""
    _, log_ratio, _ = _grid(recording, delay_s)
    return log_ratio[np.isfinite(log_ratio)]


def _still(log_ratio: Floats) -> NDArray[np.bool_]:
    """Where the ratio stays from one grid point to the next, before and after."""
    still = np.zeros(len(log_ratio), dtype=np.bool_)
    if len(log_ratio) >= 3:
        with np.errstate(invalid="ignore"):
            same = np.abs(np.diff(log_ratio)) <= _STEADY
        still[1:-1] = same[1:] & same[:-1]
    return still


def _grid(recording: Recording, delay_s: float) -> tuple[Floats, Floats, Floats]:
    """Seconds, every 0.2 s; logarithm of engine speed over road speed, NaN where none can be told; road speed."""
    empty = np.zeros(0), np.zeros(0), np.zeros(0)
    if "engine_speed" not in recording.series or "road_speed" not in recording.series:
        return empty
    engine_t, rpm = _measured(recording.series["engine_speed"])
    road_t, kmh = _measured(recording.series["road_speed"], _WHOLE_KMH)
    if len(engine_t) < 2 or len(road_t) < 2:
        return empty
    grid = np.arange(max(engine_t[0], road_t[0] - delay_s), min(engine_t[-1], road_t[-1] - delay_s), GRID_S)
    n, v = np.interp(grid, engine_t, rpm), np.interp(grid + delay_s, road_t, kmh)
    usable = (v >= LEAST_LEARN_KMH) & (n >= _idle_rpm(rpm, engine_t, kmh, road_t) * 1.1)
    usable &= _close(grid, recording.series["engine_speed"]) & _close(grid + delay_s, recording.series["road_speed"])
    return grid, np.where(usable, np.log(np.maximum(n, 1.0) / np.maximum(v, 1.0)), np.nan), v


def idle_rpm(recording: Recording) -> float | None:
    """Engine speed while the car stands, the median; None where it never stood with the engine running."""
    if "engine_speed" not in recording.series or "road_speed" not in recording.series:
        return None
    engine_t, rpm = _measured(recording.series["engine_speed"])
    road_t, kmh = _measured(recording.series["road_speed"], _WHOLE_KMH)
    if not len(engine_t) or not len(road_t):
        return None
    return _standing_rpm(rpm, engine_t, kmh, road_t)


def _standing_rpm(rpm: Floats, engine_t: Floats, kmh: Floats, road_t: Floats) -> float | None:
    standing = (np.interp(engine_t, road_t, kmh) < 0.5) & (rpm > LEAST_RPM)
    return float(np.median(rpm[standing])) if standing.any() else None


def _idle_rpm(rpm: Floats, engine_t: Floats, kmh: Floats, road_t: Floats) -> float:
    """Engine speed while the car stands: the median; at least the least that drives a car."""
    standing = _standing_rpm(rpm, engine_t, kmh, road_t)
    return LEAST_RPM if standing is None else standing


def _close(at_s: Floats, series: Series) -> NDArray[np.bool_]:
    """Whether there is a row of the series shortly before and after each moment."""
    t = series.t_us / 1e6
    after = np.minimum(np.searchsorted(t, at_s), len(t) - 1)
    return np.asarray(t[after] - t[np.maximum(after - 1, 0)] <= _GAP_S)


def _smooth(histogram: Floats) -> Floats:
    """A triangular mean over three bins to each side."""
    kernel = np.array([1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0])
    return np.convolve(histogram, kernel / kernel.sum(), mode="same")
