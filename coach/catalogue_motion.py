"""Signals of motion and of the driver: speeds, gear, pedals, throttle, load, torque."""

from __future__ import annotations

from coach.signals import Reading, Signal


def percent(pid: int) -> Reading:
    """One byte as a percentage: A * 100 / 255."""
    return Reading(pid, 1, scale=100 / 255)


MOTION: tuple[Signal, ...] = (
    Signal(
        "engine_speed", "Engine speed", "Engine", "rpm", "engine_speed", 0, 12_000, step=0.25,
        reading=Reading(0x0C, 2, width=2, scale=0.25),
        columns=("engine rpm", "rpm", "engine speed", "engine revolutions", "revs"),
        note="Crankshaft revolutions a minute.",
    ),
    Signal(
        "road_speed", "Road speed", "Speed", "km/h", "speed", 0, 400, ceiling=255, step=1, reading=Reading(0x0D, 1),
        columns=("vehicle speed sensor", "vehicle speed", "vehicle_speed_kmh", "vss", "speed", "speed_kmh"),
        note="Speed as the car reports it, in whole km/h; it reads what the wheels do.",
    ),
    Signal(
        "gear", "Gear", "Gear", "", "gear", 0, 12, discrete=True, step=1, inputs=("engine_speed", "road_speed"),
        columns=("estimated gear",),
        note="Estimated from engine speed over road speed and the ratios of the vehicle; 0 is never given, "
        "unknown is unknown.",
    ),
    Signal(
        "gear_reported", "Gear, reported", "Reported", "", "gear", 0, 15, discrete=True, step=1,
        reading=Reading(0xA4, 4, first=1, shift=4, bits=4),
        columns=("transmission actual gear", "gear reported", "actual gear", "trans_gear"),
        note="Gear as the car reports it; counts only after it agreed with the ratios. No decoder confirms the "
        "upper half of byte B: from memory.",
    ),
    Signal(
        "gear_ratio_reported", "Gear ratio, reported", "Ratio", "", "ratio", 0, 65.535, step=0.001,
        reading=Reading(0xA4, 4, first=2, width=2, scale=0.001), columns=("transmission actual gear ratio",),
        note="Gearbox ratio as the car reports it.",
    ),
    Signal(
        "speed_ratio", "Speed ratio", "Ratio", "", "ratio", 0, 1_500, inputs=("engine_speed", "road_speed"),
        note="Engine speed over road speed, rpm per km/h: what a continuously variable transmission has instead of "
        "gears; unknown below 8 km/h.",
    ),
    Signal(
        "pedal", "Pedal, raw", "Pedal", "%", "percent", 0, 100, step=100 / 255, reading=percent(0x49),
        columns=("accelerator pedal position d", "absolute accelerator pedal position d", "app_d", "pedal d",
                 "accelerator pedal position", "accelerator pedal", "pedal position"),
        note="First pedal sensor as the car sends it: real pedals rest above 0 and end well below 100 %. "
        "Recipes mean pedal_travel.",
    ),
    Signal(
        "pedal_e", "Pedal, second sensor", "Pedal E", "%", "percent", 0, 100, step=100 / 255, reading=percent(0x4A),
        columns=("accelerator pedal position e", "absolute accelerator pedal position e", "app_e", "pedal e"),
        note="Second pedal sensor as the car sends it.",
    ),
    Signal(
        "relative_pedal", "Pedal, relative", "Rel. pedal", "%", "percent", 0, 100, step=100 / 255,
        reading=percent(0x5A), columns=("relative accelerator pedal position", "app_r"),
        note="Pedal over the rest position that the car has learned.",
    ),
    Signal(
        "pedal_travel", "Pedal travel", "Pedal", "%", "percent", -10, 110, inputs=("pedal",),
        columns=("accelerator pedal travel",),
        note="0 % released, 100 % floored, from the ends of the raw pedal that were learned with the vehicle.",
    ),
    Signal(
        "throttle", "Throttle plate", "Throttle", "%", "percent", 0, 100, step=100 / 255, reading=percent(0x11),
        columns=("absolute throttle position", "throttle position", "throttle position sensor", "tp", "tps"),
        note="Position of the plate in the intake, not of the pedal.",
    ),
    Signal(
        "relative_throttle", "Throttle, relative", "Rel. thr.", "%", "percent", 0, 100, step=100 / 255,
        reading=percent(0x45), columns=("relative throttle position", "tp_r"),
        note="Plate over its learned closed position.",
    ),
    Signal(
        "commanded_throttle", "Throttle, commanded", "Cmd. thr.", "%", "percent", 0, 100, step=100 / 255,
        reading=percent(0x4C),
        columns=("commanded throttle actuator control", "commanded throttle actuator", "tac_pct"),
        note="What the engine control asks of the plate.",
    ),
    Signal(
        "calculated_load", "Load, calculated", "Load", "%", "percent", 0, 100, step=100 / 255, reading=percent(0x04),
        columns=("calculated engine load", "calculated load value", "calculated load", "load_pct", "engine load"),
        note="Share of the torque available at this engine speed; not the absolute load.",
    ),
    Signal(
        "absolute_load", "Load, absolute", "Abs. load", "%", "percent", 0, 400, step=100 / 255,
        reading=Reading(0x43, 2, width=2, scale=100 / 255),
        columns=("absolute load value", "absolute load", "load_abs"),
        note="Air in the cylinder over its displacement at standard density; passes 100 % under boost.",
    ),
    Signal(
        "demanded_torque", "Torque, demanded", "Demand", "%", "percent", -125, 130, step=1,
        reading=Reading(0x61, 1, offset=-125),
        columns=("driver's demand engine - percent torque", "driver demand engine percent torque",
                 "drivers demand engine percent torque", "tq_dd"),
        note="What the driver asks for, in percent of the reference torque.",
    ),
    Signal(
        "actual_torque", "Torque, actual", "Torque", "%", "percent", -125, 130, step=1,
        reading=Reading(0x62, 1, offset=-125),
        columns=("actual engine - percent torque", "actual engine percent torque", "tq_act"),
        note="What the engine control believes it gives, in percent of the reference torque.",
    ),
    Signal(
        "friction_torque", "Torque, friction", "Friction", "%", "percent", -125, 130, step=1,
        reading=Reading(0x8E, 1, offset=-125), columns=("engine friction - percent torque", "tq_fr"),
        note="What the engine control believes it loses, in percent of the reference torque (formula from memory).",
    ),
    Signal(
        "reference_torque", "Torque, reference", "Reference", "N.m", "torque", 0, 5_000, step=1, stale_us=60_000_000,
        reading=Reading(0x63, 2, width=2), columns=("engine reference torque", "tq_ref"),
        note="The torque that the two percentages are of; it does not change while driving.",
    ),
)  # fmt: skip
"""Speeds, gear, pedals, throttle, load and torque."""
