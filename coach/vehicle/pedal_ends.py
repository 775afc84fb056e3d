"""Learning the pedal's two ends: parked, engine off, ignition on, released and floored twice. Judges readings only."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from coach.errors import BadInput

STEPS = ("released", "floored", "released", "floored")
"""What is asked for, in order. Twice, because a mat or a half-pressed pedal shows only on repeating."""
LEAST_SAMPLES = 4
STILL_PCT = 2.0
"""How much the raw pedal may move while it is held still, and how far two readings of one end may lie apart."""
LEAST_SPAN_PCT = 20.0
"""Real pedals span 60 to 90 % of their signal (common practice, no source): less was no floored pedal."""


@dataclass(frozen=True, slots=True)
class PedalEnds:
    """Raw pedal in per cent at its two ends."""

    released: float
    floored: float


def steady_reading(values: Mapping[str, Sequence[float]]) -> float:
    """The raw pedal in one step, in per cent.

    Args:
        values: by signal, what came while the pedal was held still: `pedal`, `engine_speed`, `road_speed`.

    Raises:
        BadInput: the engine runs, the car moves, or the pedal moved or was not seen.
    """
    engine = [v for v in values.get("engine_speed", ()) if math.isfinite(v)]
    if not engine:
        raise BadInput("the engine speed is not known: switch the ignition on", where="engine_speed")
    if max(engine) > 0:
        raise BadInput("the engine runs: switch it off, and the ignition on", where="engine_speed")
    if any(math.isfinite(v) and v > 0 for v in values.get("road_speed", ())):
        raise BadInput("the car moves: this is done parked", where="road_speed")
    pedal = [v for v in values.get("pedal", ()) if math.isfinite(v)]
    if len(pedal) < LEAST_SAMPLES:
        raise BadInput("the pedal is not seen: this car may not tell it", where="pedal")
    if max(pedal) - min(pedal) > STILL_PCT:
        raise BadInput("the pedal moved: hold it still and read it again", where="pedal")
    return round(median(pedal), 2)


def ends_of(readings: Sequence[float]) -> PedalEnds:
    """The two ends from the four readings, in the order of `STEPS`.

    Raises:
        BadInput: two readings of one end differ, or the ends are too close.
    """
    if len(readings) != len(STEPS):
        raise BadInput("released and floored are read twice each", where="readings")
    pairs = {
        end: [r for r, step in zip(readings, STEPS, strict=True) if step == end] for end in ("released", "floored")
    }
    for end, (one, other) in pairs.items():
        if abs(one - other) > STILL_PCT:
            raise BadInput(f"{end} read {one:.1f} % and then {other:.1f} %: begin again", where=end)
    released, floored = (round(sum(pairs[end]) / 2, 2) for end in ("released", "floored"))
    if floored - released < LEAST_SPAN_PCT:
        raise BadInput("the pedal hardly moved: press it to the floor, and begin again", where="floored")
    return PedalEnds(released, floored)
