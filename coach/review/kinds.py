"""Which kind of capture a window is, so that its summary says what is read of that kind first."""

from __future__ import annotations

from typing import Literal, get_args

from coach.core.spec import Band, Capture

Kind = Literal["part_load", "sweep", "idle", "tip_in", "overrun", "start", "decel_idle", "free"]
KINDS: tuple[Kind, ...] = get_args(Kind)

_PEDALS = ("pedal_travel", "pedal", "relative_pedal", "pedal_e", "throttle", "relative_throttle")
CRANKING_S = 30.0
"""A capture that begins so soon after the engine's start is one of starting."""
IDLING_RPM = 1_200.0


def kind_of(capture: Capture) -> Kind:
    """The kind by what a capture asks.

    A rising sweep of engine speed is a sweep, one of a pedal or throttle a tip-in; a falling one is overrun, or
    deceleration to idle where it ends at idle speed or at rest. A hold from standstill is idle, or start where it
    begins with the engine's run time near 0; a hold with a road speed, a gear, a load or an engine speed is part load.
    """
    sweep = capture.sweep
    if sweep is not None:
        if sweep.signal in _PEDALS:
            return "tip_in" if sweep.rising else "overrun"
        if sweep.rising:
            return "sweep"
        if sweep.signal == "road_speed" or (sweep.signal == "engine_speed" and sweep.to <= IDLING_RPM):
            return "decel_idle"
        return "overrun" if sweep.signal == "engine_speed" else "free"
    bands = {b.signal: b for b in (*capture.start, *capture.keep)}
    runs = bands.get("run_time")
    if runs is not None and runs.high is not None and runs.high <= CRANKING_S:
        return "start"
    road = bands.get("road_speed")
    if road is not None and road.high is not None and road.high <= 3:
        return "idle"
    return "part_load" if any(_drives(b) for b in bands.values()) else "free"


def _drives(band: Band) -> bool:
    """Whether a condition is one of driving at a steady load."""
    loads = ("calculated_load", "absolute_load", "manifold_pressure", "gauge_boost", "mass_airflow", "gear")
    moving = band.signal in ("road_speed", "engine_speed") and band.low is not None and band.low > 0
    return moving or band.signal in loads
