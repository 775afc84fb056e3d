"""How far a torque converter slipped in a drive: what is counted as in gear is marked."""

from __future__ import annotations

import numpy as np

from coach.recording import Recording
from coach.vehicle.learn import ratios_of
from coach.vehicle.model import CONVERTER_SLIP, Vehicle


def converter_slip(recording: Recording, vehicle: Vehicle) -> tuple[float, float] | None:
    """The 95th percentile of slip while in gear, a share, and the share of that time with more than the reading hides.

    Args:
        recording: a drive with engine speed and road speed.
        vehicle: an automatic with ratios.

    Returns:
        None for another transmission, without ratios, or for a drive that never was in gear.
    """
    if vehicle.transmission != "automatic" or not vehicle.ratios:
        return None
    found = ratios_of([recording], vehicle.delay_us)
    known = np.log(np.array(sorted(vehicle.ratios.values())))
    moving = np.isfinite(found.log)
    if not moving.any():
        return None
    log, slack = found.log[moving], found.slack[moving]
    # The gear below it, for an engine that runs ahead: the largest ratio that is not above, give or take the reading.
    below = np.searchsorted(known, log + slack, side="right") - 1
    ahead = np.where(below >= 0, np.expm1(log - known[np.maximum(below, 0)]), np.nan)
    inside = (ahead >= -slack) & (ahead <= CONVERTER_SLIP + slack)
    if not inside.any():
        return None
    slips = np.clip(ahead[inside], 0.0, CONVERTER_SLIP)
    return float(np.percentile(slips, 95)), float((ahead[inside] > slack[inside]).mean())
