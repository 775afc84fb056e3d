"""One car: its gears, tyre, pedal and units, and the derived signals that follow from them."""

from coach.vehicle.dial import Dial
from coach.vehicle.file import load_vehicle, parse_vehicle
from coach.vehicle.gear import GearDerivation
from coach.vehicle.learn import Cluster, estimate_delay_us, learn_ratios, number_from
from coach.vehicle.model import Vehicle, rpm_per_kmh
from coach.vehicle.pedal import PedalTravel
from coach.vehicle.road import RoadLoad
from coach.vehicle.shape import vehicle_schema

__all__ = [
    "Cluster", "Dial", "GearDerivation", "PedalTravel", "RoadLoad", "Vehicle", "estimate_delay_us", "learn_ratios",
    "load_vehicle", "number_from", "parse_vehicle", "rpm_per_kmh", "vehicle_schema",
]  # fmt: skip
