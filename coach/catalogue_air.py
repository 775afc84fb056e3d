"""Signals of air and fuel: pressures, flows, lambda, trims, timing."""

from __future__ import annotations

from coach.catalogue_motion import percent
from coach.signals import Reading, Signal

_TRIM = 100 / 128
_SLOW_STALE_US = 60_000_000


def lambda_reading(pid: int) -> Reading:
    """First word of an oxygen sensor's answer: (256*A + B) * 2 / 65536. Sensors 24 to 2B and 34 to 3B."""
    return Reading(pid, 4, width=2, scale=2 / 65536)


def _trim(name: str, title: str, short: str, pid: int, columns: tuple[str, ...]) -> Signal:
    return Signal(
        name, title, short, "%", "percent", -100, 100, step=_TRIM, columns=columns,
        reading=Reading(pid, 1, scale=_TRIM, offset=-100),
        note="Correction of the fuel in closed loop: positive adds fuel. It means nothing in open loop.",
    )  # fmt: skip


def _wide_sensor(number: int, note: str, *columns: str) -> Signal:
    """Lambda of the oxygen sensor with this number: 1 is read from 24, or from 34."""
    named = [f"{sensor} sensor {number}" for sensor in ("o2", "oxygen")]
    names = (f"{named[0]} lambda", f"{named[1]} lambda", f"{named[0]} equivalence ratio", *columns)
    return Signal(
        f"lambda_{number}", f"Lambda, sensor {number}", f"Lambda {number}", "lambda", "ratio", 0, 2,
        ceiling=65535 * 2 / 65536, step=2 / 65536, reading=lambda_reading(0x23 + number),
        readings=(lambda_reading(0x33 + number),), columns=names, note=note,
    )  # fmt: skip


AIR_AND_FUEL: tuple[Signal, ...] = (
    Signal(
        "manifold_pressure", "Manifold pressure, absolute", "Manifold", "kPa", "pressure_absolute", 0, 800,
        ceiling=255, step=1, reading=Reading(0x0B, 1),
        columns=("intake manifold absolute pressure", "intake manifold pressure", "manifold absolute pressure",
                 "map", "map_kpa"),
        note="Absolute pressure behind the throttle; one byte, so 255 kPa says only: at least 255 kPa.",
    ),
    Signal(
        "manifold_pressure_commanded", "Manifold pressure, commanded", "Cmd. manif.", "kPa", "pressure_absolute", 0,
        800, step=1 / 32, reading=Reading(0x70, 10, first=1, width=2, scale=1 / 32),
        columns=("commanded boost pressure a", "commanded intake manifold pressure"),
        note="Absolute pressure that the control of the charger aims at; not a measurement (formula from memory).",
    ),
    Signal(
        "exhaust_pressure", "Exhaust pressure", "Exh. press.", "kPa", "pressure_absolute", 0, 655.35, ceiling=655.35,
        step=0.01, reading=Reading(0x73, 5, first=1, width=2, scale=0.01),
        columns=("exhaust pressure sensor bank 1", "exhaust pressure bank 1"),
        note="Pressure in the exhaust of bank 1, before the turbine where there is one (formula from memory).",
    ),
    Signal(
        "barometric_pressure", "Barometric pressure", "Baro", "kPa", "pressure_absolute", 45, 110, step=1,
        stale_us=_SLOW_STALE_US, reading=Reading(0x33, 1),
        columns=("absolute barometric pressure", "barometric pressure", "baro", "baro_kpa"),
        note="Pressure of the air around the car.",
    ),
    Signal(
        "gauge_boost", "Gauge boost", "Boost", "kPa", "pressure_gauge", -110, 690,
        inputs=("manifold_pressure", "barometric_pressure"), columns=("boost pressure gauge",),
        note="Manifold pressure minus barometric pressure at the same moment (common practice, no source); "
        "negative below the pressure outside.",
    ),
    Signal(
        "mass_airflow", "Mass airflow", "Airflow", "g/s", "mass_flow", 0, 655.35, ceiling=655.35, step=0.01,
        reading=Reading(0x10, 2, width=2, scale=0.01),
        columns=("air flow rate from mass air flow sensor", "air flow rate from mass flow sensor", "mass air flow rate",
                 "mass air flow", "maf"),
        note="Mass of air into the engine.",
    ),
    Signal(
        "fuel_pressure", "Fuel pressure", "Fuel", "kPa", "pressure_gauge", 0, 765, ceiling=765, step=3,
        reading=Reading(0x0A, 1, scale=3), columns=("fuel rail pressure gauge", "fuel pressure gauge", "fuel pressure"),
        note="Pressure on the low side, over the pressure outside.",
    ),
    Signal(
        "rail_pressure", "Rail pressure", "Rail", "kPa", "pressure_gauge", 0, 400_000, step=10,
        reading=Reading(0x23, 2, width=2, scale=10),
        columns=("fuel rail gauge pressure", "fuel rail pressure", "rail pressure", "frp"),
        note="Pressure in the rail of direct injection, over the pressure outside.",
    ),
    Signal(
        "rail_pressure_commanded", "Rail pressure, commanded", "Cmd. rail", "kPa", "pressure_gauge", 0, 655_350,
        step=10, reading=Reading(0x6D, 6, first=1, width=2, scale=10),
        readings=(Reading(0x6D, 11, first=1, width=2, scale=10),), columns=("commanded fuel rail pressure a",),
        note="Rail pressure that the engine control aims at; not a measurement (formula from memory).",
    ),
    Signal(
        "rail_pressure_absolute", "Rail pressure, absolute", "Rail abs.", "kPa", "pressure_absolute", 0, 400_000,
        step=10, reading=Reading(0x59, 2, width=2, scale=10), columns=("fuel rail absolute pressure",),
        note="Pressure in the rail, absolute (formula from memory).",
    ),
    _wide_sensor(
        1, "Measured by the first wide sensor; the end of the encoding says only: at least as lean as this.",
        "lambda bank 1 sensor 1", "o2s11 lambda", "measured lambda",
    ),
    _wide_sensor(2, "Measured by the second wide sensor.", "lambda bank 1 sensor 2", "o2s12 lambda"),
    _wide_sensor(3, "Measured by the third wide sensor, the first of bank 2 where a bank has two places."),
    _wide_sensor(4, "Measured by the fourth wide sensor."),
    _wide_sensor(
        5, "Measured by the fifth wide sensor, the first of bank 2 where a bank has four places.",
        "lambda bank 2 sensor 1", "o2s21 lambda",
    ),
    _wide_sensor(6, "Measured by the sixth wide sensor.", "lambda bank 2 sensor 2", "o2s22 lambda"),
    _wide_sensor(7, "Measured by the seventh wide sensor."),
    _wide_sensor(8, "Measured by the eighth wide sensor."),
    Signal(
        "lambda", "Lambda", "Lambda", "lambda", "ratio", 0, 2, inputs=("lambda_1",), or_inputs=("air_fuel_ratio",),
        columns=("air fuel equivalence ratio", "lambda value"),
        note="Measured air over the air for complete combustion: sensor 1, else a table's air-fuel ratio over the "
        "stoichiometric one. Commanded lambda never stands in for it.",
    ),
    Signal(
        "air_fuel_ratio", "Air-fuel ratio", "AFR", "AFR", "ratio", 0, 40, inputs=("lambda_1",), or_inputs=("lambda",),
        columns=("air fuel ratio", "afr"),
        note="Mass of air over mass of fuel; only tables carry it. From lambda it is lambda times the "
        "stoichiometric ratio.",
    ),
    Signal(
        "commanded_lambda", "Lambda, commanded", "Cmd. lambda", "lambda", "ratio", 0, 2, ceiling=65535 * 2 / 65536,
        step=2 / 65536, reading=Reading(0x44, 2, width=2, scale=2 / 65536),
        columns=("fuel/air commanded equivalence ratio", "commanded equivalence ratio", "eq_rat", "commanded lambda"),
        note="What the engine control aims at; not a measurement.",
    ),
    _trim("short_trim_1", "Short fuel trim, bank 1", "Short 1", 0x06,
          ("short term fuel trim - bank 1", "short term fuel trim bank 1", "shrtft1", "stft1", "stft b1")),
    _trim("long_trim_1", "Long fuel trim, bank 1", "Long 1", 0x07,
          ("long term fuel trim - bank 1", "long term fuel trim bank 1", "longft1", "ltft1", "ltft b1")),
    _trim("short_trim_2", "Short fuel trim, bank 2", "Short 2", 0x08,
          ("short term fuel trim - bank 2", "short term fuel trim bank 2", "shrtft2", "stft2", "stft b2")),
    _trim("long_trim_2", "Long fuel trim, bank 2", "Long 2", 0x09,
          ("long term fuel trim - bank 2", "long term fuel trim bank 2", "longft2", "ltft2", "ltft b2")),
    Signal(
        "fuel_system_status", "Fuel system status", "Fuel loop", "", "state", 0, 16, discrete=True, step=1,
        reading=Reading(0x03, 2), columns=("fuel system 1 status", "fuel system status", "fuelsys1"),
        states=((1, "open loop, cold"), (2, "closed loop"), (4, "open loop, load or overrun"),
                (8, "open loop, fault"), (16, "closed loop, fault")),
        note="Whether the trims act (values from memory). Trims mean nothing in open loop.",
    ),
    Signal(
        "timing_advance", "Timing advance", "Timing", "deg", "angle", -64, 63.5, step=0.5,
        reading=Reading(0x0E, 1, scale=0.5, offset=-64),
        columns=("ignition timing advance for #1 cylinder", "ignition timing advance", "timing advance", "sparkadv"),
        note="Ignition before top dead centre of cylinder 1, in degrees of the crankshaft.",
    ),
    Signal(
        "injection_timing", "Injection timing", "Injection", "deg", "angle", -210, 302, step=1 / 128,
        reading=Reading(0x5D, 2, width=2, scale=1 / 128, offset=-210),
        columns=("fuel injection timing", "inj_timing"), note="Start of injection before top dead centre.",
    ),
    Signal(
        "fuel_rate", "Fuel rate", "Fuel rate", "L/h", "volume_flow", 0, 3_276.75, step=0.05,
        reading=Reading(0x5E, 2, width=2, scale=0.05), columns=("engine fuel rate", "fuel rate", "fuel_rate_lph"),
        note="Fuel that the engine burns, as its control believes.",
    ),
    Signal(
        "purge", "Purge, commanded", "Purge", "%", "percent", 0, 100, step=100 / 255, reading=percent(0x2E),
        columns=("commanded evaporative purge", "evap purge", "evap_pct"),
        note="How far the tank's vapour is let into the engine (formula from memory); it shifts trims.",
    ),
    Signal(
        "fuel_level", "Fuel level", "Fuel level", "%", "percent", 0, 100, step=100 / 255, stale_us=_SLOW_STALE_US,
        reading=percent(0x2F), columns=("fuel level input", "fuel tank level input", "fuel level", "fli"),
        note="Level in the tank.",
    ),
    Signal(
        "ethanol", "Ethanol in the fuel", "Ethanol", "%", "percent", 0, 100, step=100 / 255, stale_us=_SLOW_STALE_US,
        reading=percent(0x52),
        columns=("ethanol fuel %", "alcohol fuel percentage", "ethanol fuel percentage", "alch_pct"),
        note="Share of ethanol, as the car knows it.",
    ),
    Signal(
        "fuel_type", "Fuel type", "Fuel type", "", "state", 0, 255, discrete=True, step=1, stale_us=_SLOW_STALE_US,
        reading=Reading(0x51, 1),
        columns=("type of fuel currently being utilized by the vehicle", "fuel type", "fuel_typ"),
        states=((1, "petrol"), (2, "methanol"), (3, "ethanol"), (4, "diesel")),
        note="What the car says it burns (values from memory).",
    ),
)  # fmt: skip
"""Pressures, flows, lambda, trims and timing."""
