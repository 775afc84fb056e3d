"""The shape of the vehicle file: its tables and keys, from which the schema is made. No value is read here."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from coach.vehicle.signals import MakerSignal

Gear = Annotated[str, Field(pattern=r"^([1-9]|1[0-2])$")]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class Part(BaseModel):
    """A table of the file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Gearbox(Part):
    """Gear ratios by gear, and the final drive; with the tyre they give rpm per km/h."""

    ratios: dict[Gear, Positive] = Field(description="gearbox ratio by gear number")
    final_drive: Positive | dict[Gear, Positive] = Field(description="one for all gears, or one by gear number")


class Tyre(Part):
    """The driven wheels: the size on the tyre's side, or the measured rolling circumference, which counts more."""

    size: str | None = Field(None, description='as on its side: "225/45R17"')
    circumference: str | None = Field(None, description='rolling, loaded: "1934.6 mm"')


class RoadLoadPart(Part):
    """What holds the car back on a flat road: three coefficients, or drag area and rolling coefficient."""

    constant: str | None = Field(None, description='"165 N"')
    linear: str | None = Field(None, description='"0.6 N/(km/h)"')
    square: str | None = Field(None, description='"0.034 N/(km/h)^2"')
    drag_area: str | None = Field(None, description='drag coefficient times frontal area: "0.65 m2"')
    rolling: Positive | None = Field(None, description="rolling coefficient, a plain number: 0.011")


class FullLoad(Part):
    """Power or torque at full pedal over engine speed, as plain numbers, one for each engine speed."""

    rpm: list[Positive] = Field(description="engine speeds, rising")
    power_kw: list[Positive] | None = Field(None, description="kilowatts")
    torque_nm: list[Positive] | None = Field(None, description="newton metres")


class Pedal(Part):
    """Raw pedal signal at its two ends, learned parked with the engine off."""

    released: str = Field(description='"14.9 %"')
    floored: str = Field(description='"85.1 %"')


class DialPart(Part):
    """What the dial shows where the car reports a speed, read once at a steady speed by the passenger."""

    reported: str = Field(description='"80 km/h"')
    shows: str = Field(description='"84 km/h"')


class UnitsPart(Part):
    """What the driver reads: a system, and single units that differ from it."""

    system: Literal["metric", "imperial"] = "metric"
    speed: Literal["km/h", "mph"] | None = None
    pressure: Literal["kPa", "bar", "psi"] | None = None
    temperature: Literal["degC", "degF"] | None = None


class VehicleFile(Part):
    """One car. Every key may be left out; what is missing is not known."""

    label: Annotated[str, Field(max_length=80)] | None = Field(None, description="what the owner calls it")
    transmission: Literal["manual", "dual-clutch", "automatic", "CVT"] | None = None
    fuel: Literal["petrol", "diesel", "ethanol", "gas"] | None = None
    induction: Literal["naturally aspirated", "turbocharged", "supercharged"] | None = None
    hybrid: bool | None = Field(None, description="an electric motor drives too, or the engine stops by itself")
    start_stop: bool | None = Field(None, description="the engine stops when the car stands")
    idle_speed: str | None = Field(None, description='"820 rpm"')
    rev_limit: str | None = Field(None, description='"6500 rpm"')
    mass: str | None = Field(None, description='as driven, people aboard: "1450 kg"')
    range: str | None = Field(None, description='how far one tank takes it: "550 km"')
    speed_delay: str | None = Field(None, description='delay of road speed against engine speed: "200 ms"')
    rpm_per_kmh: dict[Gear, Positive] | None = Field(None, description="engine speed over road speed, by gear number")
    gearbox: Gearbox | None = None
    tyre: Tyre | None = None
    road_load: RoadLoadPart | None = None
    rotating: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] | None = Field(
        None, description="what turning parts add to the mass, a share: 0.03"
    )
    driveline: str | None = Field(None, description='share of the power that reaches the wheels: "92 %"')
    full_load: FullLoad | None = None
    pedal: Pedal | None = None
    dial: DialPart | None = None
    fixed_barometric: str | None = Field(
        None, description='a reading that stands in where the car reports no barometric pressure: "98.6 kPa"'
    )
    manifold_pressure_bytes: Literal[1, 2] | None = Field(
        None, description="bytes in which this car gives manifold pressure; one ends at 255 kPa"
    )
    offers: list[Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")]] | None = Field(
        None, description="signals that this car was seen to offer"
    )
    units: UnitsPart | None = None
    signals: dict[str, MakerSignal] | None = Field(None, description="signals of the maker, by name")


def vehicle_schema() -> dict[str, Any]:
    """The JSON Schema of a vehicle file."""
    return VehicleFile.model_json_schema()
