"""The virtual adapter: a car that is not there, spoken to as a real one is. It ships with the project.

What it does and what it leaves out stands in docs/reference/adapter.md. It only ever reads: nothing it is sent changes
the car.
"""

from coach.sources.adapter.car import Car, Identity, TableCar
from coach.sources.adapter.control import ControlLine
from coach.sources.adapter.driven import DrivenCar, RecordingCar
from coach.sources.adapter.encode import encode
from coach.sources.adapter.faults import KINDS, Faults, parse_fault
from coach.sources.adapter.server import AdapterServer
from coach.sources.adapter.simulated import SimulatedCar

__all__ = [
    "KINDS", "AdapterServer", "Car", "ControlLine", "DrivenCar", "Faults", "Identity", "RecordingCar", "SimulatedCar",
    "TableCar", "encode", "parse_fault",
]  # fmt: skip
