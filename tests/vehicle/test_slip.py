"""How far a converter slipped: measured for an automatic in gear, and for nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from coach.recording import Recording, Series
from coach.vehicle import Vehicle
from coach.vehicle.slip import converter_slip

RATIOS = {1: 110.0, 2: 70.0, 3: 45.0, 4: 30.0}
AUTO = Vehicle(ratios=RATIOS, transmission="automatic")


def drive(slip, kmh=80.0, ratio=45.0):
    """A minute in third with a steady slip."""
    t_us = np.arange(0, 600) * 100_000
    rpm = np.full(600, kmh * ratio * (1 + slip))
    return Recording({"engine_speed": Series(t_us, rpm), "road_speed": Series(t_us, np.full(600, kmh))})


@pytest.mark.parametrize("slip", [0.0, 0.04, 0.09])
def test_slip_is_measured(slip):
    """The share by which the engine runs ahead of the gear below it, and whether that is more than a reading hides."""
    most, share = converter_slip(drive(slip), AUTO)
    assert most == pytest.approx(slip, abs=0.001)
    assert share == (1.0 if slip > 0.01 else 0.0)


def test_nothing_to_measure():
    """A manual, no ratios, standing, and an engine in no gear at all."""
    assert converter_slip(drive(0.05), Vehicle(ratios=RATIOS, transmission="manual")) is None
    assert converter_slip(drive(0.05), Vehicle(transmission="automatic")) is None
    assert converter_slip(drive(0.0, kmh=0.0), AUTO) is None
    assert converter_slip(drive(0.3), AUTO) is None
    assert converter_slip(drive(0.0, ratio=20.0), AUTO) is None
