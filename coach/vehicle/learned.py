"""What drives teach about a car: clusters with numbers where somebody vouches for them, delay, idle, and conflicts.

A cluster is numbered by the vehicle file, by a reported gear that proved right, or by the operator: by nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput
from coach.recording import Recording
from coach.vehicle.learn import (
    GRID_S,
    Cluster,
    Ratios,
    clusters_of,
    estimate_delay_us,
    idle_rpm,
    ratios_of,
)
from coach.vehicle.learned_gears import By, Conflict, Learned, LearnedGear
from coach.vehicle.model import Vehicle

SAME = 0.08
"""A cluster this near to the file's ratio, as a share, is that gear."""
AGREES = 0.02
"""So near they are the same number; further off they are in conflict."""
TYRE = 0.25
"""A tyre is never further off than this share."""
PROVEN = 0.95
"""A reported gear is proven by agreeing with a cluster for this share of its time."""
REPORT_OLD_S = 2.0
SLIP_LOW, SLIP_HIGH = 0.03, 0.15
"""An engine that runs ahead of a gear by such a share slips."""
SLIP_S = 1.2
"""A clutch that is let in takes less time than this."""
SLIP_TIMES, SLIP_TOTAL_S = 3, 5.0
"""So many stretches, and so long in all, are no single hill start."""


def learn_car(
    recordings: Sequence[Recording], vehicle: Vehicle | None = None, *, numbers: Sequence[int] = ()
) -> Learned:
    """Clusters, delay, idle speed and conflicts from drives of one car.

    Args:
        recordings: drives with `engine_speed` and `road_speed`.
        vehicle: what its file says, or None.
        numbers: the operator's word: the gear of each cluster, the lowest gear first.

    Raises:
        BadInput: not one number for each cluster, or numbers that do not rise.
    """
    delays = [estimate_delay_us(one) for one in recordings]
    delay_us = round(float(np.median(delays))) if delays else 0
    found = ratios_of(recordings, delay_us)
    clusters = clusters_of(found)
    known = dict(vehicle.ratios or {}) if vehicle is not None and vehicle.transmission != "CVT" else {}
    conflicts: list[Conflict] = []
    factor = _factor(clusters, known)
    clusters = _without_slip(clusters, known, factor)
    reported = _reported(recordings, found, clusters)
    given = _given(clusters, numbers)
    gears = []
    for n, cluster in enumerate(clusters):
        by_file = _of_file(cluster, known, factor)
        number: int | None
        by: By
        number, by = (given[n], "operator") if given else (by_file, "file") if by_file else (reported[n], "reported")
        by = by if number is not None else ""
        if by_file and reported[n] is not None and reported[n] != by_file:
            conflicts.append(Conflict("reported_disagrees", (by_file, reported[n] or 0)))
        gears.append(LearnedGear(cluster, number, by, known.get(number) if number is not None else None))
    conflicts += _against_file(gears, known, factor)
    automatic = vehicle is not None and vehicle.transmission == "automatic"
    conflicts += _slipping(found, gears, automatic=automatic)
    if vehicle is not None and vehicle.delay_us and abs(vehicle.delay_us - delay_us) > 200_000:
        conflicts.append(Conflict("delay_differs", (), delay_us / 1e6))
    if vehicle is not None and vehicle.transmission == "CVT" and clusters:
        conflicts.append(Conflict("cvt_steady"))
    idles = [idle for idle in map(idle_rpm, recordings) if idle is not None]
    low, high = _pedal(recordings)
    moving = float(np.isfinite(found.log).sum()) * GRID_S
    return Learned(
        tuple(gears), delay_us, float(np.median(idles)) if idles else None, moving, tuple(conflicts), low, high
    )


def _factor(clusters: Sequence[Cluster], known: Mapping[int, float]) -> float:
    """The one factor by which all clusters differ from the file's ratios: 1 unless the tyre is another one."""
    best, most = 1.0, sum(_near(c.ratio, known, 1.0, AGREES) is not None for c in clusters)
    for cluster in clusters:
        for ratio in known.values():
            factor = cluster.ratio / ratio
            if abs(factor - 1) > TYRE:
                continue
            hits = sum(_near(c.ratio, known, factor, AGREES / 2) is not None for c in clusters)
            # Of two factors that fit as many gears the one nearer to 1 is likelier.
            if hits >= 2 and (hits, -abs(math.log(factor))) > (most, -abs(math.log(best))):
                best, most = factor, hits
    return best


def _without_slip(clusters: list[Cluster], known: Mapping[int, float], factor: float) -> list[Cluster]:
    """A slip that came back to the same share looks like a gear: just above one of the file's, and seen far less."""
    gears = [c for c in clusters if _of_file(c, known, factor) is not None]

    def slips(cluster: Cluster) -> bool:
        return cluster not in gears and any(
            SLIP_LOW < cluster.ratio / gear.ratio - 1 <= SLIP_HIGH and gear.seconds >= 3 * cluster.seconds
            for gear in gears
        )

    return [c for c in clusters if not slips(c)]


def _near(ratio: float, known: Mapping[int, float], factor: float, share: float) -> int | None:
    gear = min(known, key=lambda g: abs(math.log(ratio / known[g] / factor)), default=None)
    return gear if gear is not None and abs(ratio / known[gear] / factor - 1) <= share else None


def _of_file(cluster: Cluster, known: Mapping[int, float], factor: float) -> int | None:
    return _near(cluster.ratio, known, factor, SAME)


def _given(clusters: Sequence[Cluster], numbers: Sequence[int]) -> list[int]:
    if not numbers:
        return []
    if len(numbers) != len(clusters):
        raise BadInput(
            f"{len(clusters)} clusters were found, and the gears of {len(numbers)} were given", where="gears"
        )
    if any(b <= a for a, b in pairwise(numbers)) or not all(1 <= n <= 12 for n in numbers):
        raise BadInput("gear numbers rise from the lowest gear, 1 to 12", where="gears")
    return list(numbers)


def _reported(recordings: Sequence[Recording], found: Ratios, clusters: Sequence[Cluster]) -> list[int | None]:
    """The reported gear of each cluster where it is proven: steady, of every cluster seen, and in the right order."""
    nothing: list[int | None] = [None] * len(clusters)
    said = _said(recordings, found)
    if said is None or not clusters:
        return nothing
    numbers: list[int | None] = []
    for cluster in clusters:
        inside = found.steady & (np.abs(found.log - math.log(cluster.ratio)) <= 0.04) & np.isfinite(said)
        values, counts = np.unique(said[inside], return_counts=True)
        if not len(values) or counts.max() < PROVEN * counts.sum() or counts.sum() * GRID_S < 8 or values[0] < 1:
            return nothing
        numbers.append(round(float(values[counts.argmax()])))
    rising = all(a is not None and b is not None and a < b for a, b in pairwise(numbers))
    return numbers if rising else nothing


def _said(recordings: Sequence[Recording], found: Ratios) -> NDArray[np.float64] | None:
    """The reported gear at each grid point, NaN where there is none; None where no drive reports one."""
    if not any("gear_reported" in one.series for one in recordings):
        return None
    out = np.full(len(found.t_s), np.nan)
    for n, recording in enumerate(recordings):
        series, here = recording.series.get("gear_reported"), found.drive == n
        if series is None or not len(series):
            continue
        t = series.t_us / 1e6
        at = np.searchsorted(t, found.t_s[here], side="right") - 1
        last = np.maximum(at, 0)
        fresh = (at >= 0) & (found.t_s[here] - t[last] <= REPORT_OLD_S)
        out[here] = np.where(fresh, series.value[last], np.nan)
    return out


def _against_file(gears: Sequence[LearnedGear], known: Mapping[int, float], factor: float) -> list[Conflict]:
    found: list[Conflict] = []
    if not known:
        return found
    matched = tuple(g.number for g in gears if g.number is not None and g.file_ratio is not None)
    if abs(factor - 1) > AGREES and len(matched) >= 2:
        found.append(Conflict("wrong_tyre", matched, factor - 1))
    else:
        found += [
            Conflict("other_ratio", (g.number,), g.off)
            for g in gears
            if g.number is not None and g.off is not None and abs(g.off) > AGREES
        ]
    strange = [g for g in gears if g.number is None or g.file_ratio is None]
    found += [Conflict("not_in_file", () if g.number is None else (g.number,), g.cluster.ratio) for g in strange]
    if len(gears) > len(known):
        found.append(Conflict("more_than_file", (), float(len(gears))))
    return found


def _slipping(found: Ratios, gears: Sequence[LearnedGear], *, automatic: bool) -> list[Conflict]:
    """Stretches in which the engine runs ahead of a gear under power, further than a reading can be wrong, and returns.

    A change of gear ends in another gear, a rev with the clutch down does not speed the car up, and both are left out.
    """
    conflicts = []
    ratios = np.log(np.array([g.cluster.ratio for g in gears])) if gears else np.zeros(0)
    top = math.log1p(SLIP_HIGH)
    for n, gear in enumerate(gears):
        ahead = found.log - ratios[n]
        with np.errstate(invalid="ignore"):
            fits = np.abs(ahead) <= math.log1p(SLIP_LOW)
            slips = (ahead >= math.log1p(SLIP_LOW) + found.slack) & (ahead <= top)
            between = np.isfinite(ahead) & ~fits & ~slips & (ahead > 0) & (ahead <= top)
        stays = []
        for a, b in _stretches(slips | between):
            took = float(slips[a:b].sum()) * GRID_S
            back = a > 0 and b < len(fits) and fits[a - 1] and fits[b]
            if back and took >= SLIP_S and found.kmh[b] > found.kmh[a - 1]:
                stays.append(took)
        if len(stays) >= SLIP_TIMES and sum(stays) >= SLIP_TOTAL_S:
            code = "converter_slip" if automatic else "slipping"
            conflicts.append(Conflict(code, () if gear.number is None else (gear.number,), sum(stays)))
    return conflicts


def _stretches(where: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past the last index of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], where, [False])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _pedal(recordings: Sequence[Recording]) -> tuple[float | None, float | None]:
    values = [one.series["pedal"].value for one in recordings if "pedal" in one.series]
    good = [v[np.isfinite(v)] for v in values]
    every = np.concatenate(good) if good else np.zeros(0)
    return (float(every.min()), float(every.max())) if len(every) else (None, None)
