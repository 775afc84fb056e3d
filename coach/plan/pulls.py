"""Earlier full-pedal pulls of a car, found in a recorded drive: how fast its engine speed really rose, by gear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.recording import Recording, Series
from coach.vehicle import Vehicle
from coach.vehicle.ratios import ENTER
from coach.vehicle.road import KMH_A_MS

Floats = NDArray[np.float64]

FLOORED = 0.9
"""Share of the pedal's travel from which it counts as floored."""
LEAST_RISE_RPM = 500.0
LEAST_SAMPLES = 5
MOST_APART_S = 1.5
DIP_RPM = 60.0
"""So much may the engine speed fall back within a pull: noise, a bump."""
BIN_RPM = 200.0


@dataclass(frozen=True)
class EarlierPulls:
    """What pulls in one gear came to.

    Attributes:
        gear: in which they were made.
        rpm: centres of bins of engine speed, rising.
        ms2: acceleration in each, m/s2: the median over the pulls.
        count: how many pulls.
    """

    gear: int
    rpm: tuple[float, ...]
    ms2: tuple[float, ...]
    count: int

    @property
    def low_rpm(self) -> float:
        """Where they begin."""
        return self.rpm[0] - BIN_RPM / 2

    @property
    def high_rpm(self) -> float:
        """Where they end."""
        return self.rpm[-1] + BIN_RPM / 2

    def covers(self, start_rpm: float, to_rpm: float) -> bool:
        """Whether they say something of the whole of a sweep; a tenth of a bin at each end is excused."""
        return self.low_rpm <= start_rpm + BIN_RPM / 2 and to_rpm - BIN_RPM / 2 <= self.high_rpm

    def acceleration(self, n: Floats) -> Floats:
        """m/s2 at engine speeds `n` in rpm, of any shape; level beyond the ends."""
        return np.asarray(np.interp(n, self.rpm, self.ms2), dtype=np.float64)


def earlier_pulls(recordings: Sequence[Recording], vehicle: Vehicle) -> dict[int, EarlierPulls]:
    """Full-pedal rises of the engine speed in a known gear, by gear; empty where there is none.

    Args:
        recordings: drives of this car with engine speed, road speed and pedal (or throttle).
        vehicle: its ratios; the pedal's two ends where it knows them.
    """
    slopes: dict[int, list[dict[int, float]]] = {}
    for recording in recordings:
        for gear, t_s, rpm in _pulls(recording, vehicle):
            slopes.setdefault(gear, []).append(_slopes(t_s, rpm))
    found = {}
    for gear, pulls in sorted(slopes.items()):
        ratio = (vehicle.ratios or {})[gear]
        bins = sorted({b for one in pulls for b in one})
        # A hole in the middle would be bridged by guesswork: the longest run of bins counts.
        runs = np.split(np.array(bins), np.flatnonzero(np.diff(bins) > 1) + 1)
        best = max(runs, key=len).tolist()
        if not best:
            continue
        ms2 = [float(np.median([one[b] for one in pulls if b in one])) / ratio / KMH_A_MS for b in best]
        found[gear] = EarlierPulls(gear, tuple((b + 0.5) * BIN_RPM for b in best), tuple(ms2), len(pulls))
    return found


def _pulls(recording: Recording, vehicle: Vehicle) -> Iterator[tuple[int, Floats, Floats]]:
    """Gear, seconds and engine speed of each pull."""
    series, ratios = recording.series, vehicle.ratios or {}
    engine, road = series.get("engine_speed"), series.get("road_speed")
    floored = _floored(recording, vehicle)
    if engine is None or road is None or floored is None or len(engine) < LEAST_SAMPLES or len(road) < 2 or not ratios:
        return
    t, rpm = engine.t_us / 1e6, engine.value
    kmh = np.interp(t + vehicle.delay_us / 1e6, road.t_us / 1e6, road.value)
    down = _held(floored[0], floored[1], t)
    begin = 0
    for i in range(1, len(t) + 1):
        peak = rpm[begin:i].max()
        if i < len(t) and down[i] and down[begin] and t[i] - t[i - 1] <= MOST_APART_S and rpm[i] >= peak - DIP_RPM:
            continue
        # Road speed is asked for about once a second by slow tables: the ratio is that of the middle of the pull.
        if i - begin >= LEAST_SAMPLES and rpm[begin:i].max() - rpm[begin] >= LEAST_RISE_RPM:
            ratio = float(np.median(rpm[begin:i] / np.maximum(kmh[begin:i], 1.0)))
            gear = min(ratios, key=lambda g: abs(np.log(ratio / ratios[g])))
            if abs(ratio / ratios[gear] - 1) <= ENTER:
                yield gear, t[begin:i], rpm[begin:i]
        begin = i


def _floored(recording: Recording, vehicle: Vehicle) -> tuple[Series, NDArray[np.bool_]] | None:
    """The series that tells of full pedal, and where it does."""
    for name in ("pedal_travel", "pedal", "relative_pedal", "throttle"):
        series = recording.series.get(name)
        if series is None or not len(series):
            continue
        low, high = 0.0, 100.0
        if name == "pedal":
            if vehicle.released_pct is None or vehicle.floored_pct is None:
                # Nobody learned its ends: the highest and lowest that this drive has, if they lie far apart.
                low, high = float(np.nanmin(series.value)), float(np.nanmax(series.value))
                if high - low < 50:
                    continue
            else:
                low, high = vehicle.released_pct, vehicle.floored_pct
        return series, (series.value - low) / (high - low) >= FLOORED
    return None


def _held(series: Series, state: NDArray[np.bool_], at_s: Floats) -> NDArray[np.bool_]:
    """The last state at each moment, if it is not too old."""
    t = series.t_us / 1e6
    i = np.searchsorted(t, at_s, side="right") - 1
    return np.asarray((i >= 0) & state[np.maximum(i, 0)] & (at_s - t[np.maximum(i, 0)] <= MOST_APART_S))


def _slopes(t_s: Floats, rpm: Floats) -> dict[int, float]:
    """Rise in rpm a second in each bin that the pull went through whole."""
    top = np.maximum.accumulate(rpm)
    rising = np.concatenate(([True], np.diff(top) > 0))
    t, n = t_s[rising], top[rising]
    first, last = int(np.ceil(n[0] / BIN_RPM)), int(np.floor(n[-1] / BIN_RPM))
    edges = np.arange(first, last + 1) * BIN_RPM
    if len(edges) < 2:
        return {}
    crossed = np.interp(edges, n, t)
    return {
        first + k: float(BIN_RPM / took)
        for k, took in enumerate(np.diff(crossed).tolist())
        if took > 1e-6
    }  # fmt: skip
