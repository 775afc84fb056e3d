"""One car: what a person declared of it, in the catalogue's units, and the derived signals that follow from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coach.core.derive import Derivation
from coach.shown import METRIC, Units
from coach.signals import Catalogue, Signal
from coach.vehicle.dial import Dial
from coach.vehicle.gear import GearDerivation
from coach.vehicle.pedal import PedalTravel
from coach.vehicle.ratios import LEAST_RPM
from coach.vehicle.road import Curve, RoadLoad
from coach.vehicle.signals import catalogue_with
from coach.vehicle.speed_ratio import SpeedRatio
from coach.vehicle.stand_in import FixedBarometric

IDLE_SHARE = 1.1
"""Up to this share of the idle speed the engine may be idling with the clutch down, while the car rolls past the ratio
of one gear after the other: the gear is unknown."""


CONVERTER_SLIP = 0.12
"""A torque converter that slips by up to this share still counts as in gear (common practice, no source)."""


@dataclass(frozen=True)
class Vehicle:
    """What is known of a car; None is not known.

    Attributes:
        label: what the owner calls it.
        transmission, fuel, induction: words of the vehicle file.
        idle_rpm, rev_limit_rpm: engine speeds.
        mass_kg: as driven, people aboard.
        circumference_m: rolling circumference of the driven wheels.
        ratios: rpm per km/h by gear number.
        released_pct, floored_pct: raw pedal at its two ends.
        delay_us: how much later a road speed is reported than the engine speed of the same moment.
        units: what the driver reads.
        source: the file as received; empty for a vehicle made in code.
        hybrid, start_stop: whether the engine stops by itself.
        range_km: what one tank takes it.
        road_load: what holds it back on a flat road.
        rotating: what turning parts add to the mass, a share.
        driveline: share of the power that reaches the wheels.
        full_load_kw: rpm and kilowatts at full pedal, rising in rpm.
        dial: what the dial shows for a reported speed.
        fixed_baro_kpa: one reading that stands in where the car reports no barometric pressure.
        offers: signals that the car was seen to offer.
        signals: of its maker, as its file defines them.
    """

    label: str | None = None
    transmission: str | None = None
    fuel: str | None = None
    induction: str | None = None
    idle_rpm: float | None = None
    rev_limit_rpm: float | None = None
    mass_kg: float | None = None
    circumference_m: float | None = None
    ratios: Mapping[int, float] | None = None
    released_pct: float | None = None
    floored_pct: float | None = None
    delay_us: int = 0
    units: Units = METRIC
    source: bytes = field(default=b"", repr=False)
    hybrid: bool | None = None
    start_stop: bool | None = None
    range_km: float | None = None
    road_load: RoadLoad | None = None
    rotating: float | None = None
    driveline: float | None = None
    full_load_kw: Curve | None = None
    dial: Dial | None = None
    fixed_baro_kpa: float | None = None
    offers: frozenset[str] | None = None
    signals: tuple[Signal, ...] = ()

    def catalogue(self, base: Catalogue) -> Catalogue:
        """`base` with the signals that this car's file defines; what has another definition there is replaced."""
        return catalogue_with(base, self.signals)

    def derivations(self) -> tuple[Derivation, ...]:
        """The derived signals that this car's values make possible: `gear`, `pedal_travel`, `speed_ratio`.

        A continuously variable transmission has no gears: it gets `speed_ratio`, whatever ratios the file names.
        """
        found: list[Derivation] = []
        if self.transmission == "CVT":
            found.append(SpeedRatio())
        elif self.ratios:
            least = max(LEAST_RPM, IDLE_SHARE * self.idle_rpm) if self.idle_rpm is not None else LEAST_RPM
            slip = CONVERTER_SLIP if self.transmission == "automatic" else 0.0
            found.append(GearDerivation(dict(self.ratios), self.delay_us, least, slip))
        if self.released_pct is not None and self.floored_pct is not None:
            found.append(PedalTravel(self.released_pct, self.floored_pct))
        return tuple(found)

    def stand_ins(self) -> tuple[Derivation, ...]:
        """Ways that a person declared for want of a better one: taken only where no other way has its inputs."""
        return () if self.fixed_baro_kpa is None else (FixedBarometric(self.fixed_baro_kpa),)

    def kmh(self, gear: int, rpm: float) -> float:
        """Road speed in `gear` at `rpm`, in km/h. Raises KeyError for a gear whose ratio is not known."""
        return rpm / (self.ratios or {})[gear]


def rpm_per_kmh(gear_ratio: float, final_drive: float, circumference_m: float) -> float:
    """Engine speed over road speed of one gear: wheel turns a minute at 1 km/h, times both ratios."""
    return gear_ratio * final_drive * 1000 / 60 / circumference_m
