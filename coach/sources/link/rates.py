"""What was found of a car, as a model of how fast it answers; the arithmetic is in `coach.plan.rates`."""

from __future__ import annotations

from coach.plan.rates import LinkModel
from coach.plan.schedule import VOLTAGE
from coach.sources.link.discover import Found

ADAPTER_VOLTAGE = "adapter_voltage"


def pids_of(found: Found) -> dict[str, int]:
    """What each signal that the link can give is asked for by: its parameter, or a number beyond those."""
    table = {name: way.key for name, way in found.signals.items()}
    if found.voltage is not None:
        table[ADAPTER_VOLTAGE] = VOLTAGE
    return table


def model_of(found: Found) -> LinkModel:
    """How fast the link answers."""
    return LinkModel(found.batch, found.single_us, found.batch_us, found.alone_us)
