"""Signals of the car's state: temperatures, voltages, counters, codes."""

from __future__ import annotations

from coach.signals import Reading, Signal

_SLOW_US = 10_000_000
_COUNTER_US = 60_000_000


def _temperature(name: str, title: str, short: str, reading: Reading, columns: tuple[str, ...], note: str) -> Signal:
    return Signal(
        name, title, short, "degC", "temperature", -40, 215, ceiling=215, floor=-40, step=1, stale_us=_SLOW_US,
        reading=reading, columns=columns, note=note,
    )  # fmt: skip


def _byte(pid: int) -> Reading:
    return Reading(pid, 1, offset=-40)


STATE: tuple[Signal, ...] = (
    _temperature(
        "coolant_temp", "Coolant", "Coolant", _byte(0x05),
        ("engine coolant temperature", "engine coolant temp", "coolant temperature", "ect"),
        "Coolant leaving the engine; -40 and 215 are the ends of the encoding (a broken sensor shows them).",
    ),
    _temperature(
        "intake_temp", "Intake air", "Intake", _byte(0x0F),
        ("intake air temperature", "intake air temp", "intake temperature", "iat"),
        "Air in the intake, where the car has its sensor.",
    ),
    _temperature(
        "ambient_temp", "Air outside", "Outside", _byte(0x46),
        ("ambient air temperature", "ambient temperature", "outside temperature", "aat"), "Air around the car.",
    ),
    Signal(
        "intake_over_ambient", "Intake over outside", "Over outs.", "K", "temperature_difference", -100, 200,
        stale_us=_SLOW_US, inputs=("intake_temp", "ambient_temp"),
        note="Intake temperature minus the outside temperature at the same moment: what a cool-down between pulls "
        "waits for (common practice, no source).",
    ),
    Signal(
        "coolant_over_intake", "Coolant over intake", "Over intake", "K", "temperature_difference", -100, 250,
        stale_us=_SLOW_US, inputs=("coolant_temp", "intake_temp"),
        note="Coolant temperature minus intake temperature at the same moment: near zero before a true cold start "
        "(common practice, no source).",
    ),
    _temperature(
        "oil_temp", "Engine oil", "Oil", _byte(0x5C), ("engine oil temperature", "oil temperature", "eot"),
        "Engine oil; it lags the coolant by many minutes.",
    ),
    _temperature(
        "charge_air_temp", "Charge air", "Charge air", Reading(0x77, 5, first=1, offset=-40),
        ("charge air cooler temperature", "charge air temperature", "cact"),
        "Air behind the charge-air cooler (formula from memory).",
    ),
    Signal(
        "exhaust_temp", "Exhaust gas", "Exhaust", "degC", "temperature", -40, 1_300, step=0.1, stale_us=_SLOW_US,
        reading=Reading(0x78, 9, first=1, width=2, scale=0.1, offset=-40),
        columns=("exhaust gas temperature bank 1", "exhaust gas temperature", "egt", "egt11"),
        note="First exhaust sensor of bank 1 (formula from memory).",
    ),
    Signal(
        "catalyst_temp", "Catalyst", "Catalyst", "degC", "temperature", -40, 1_300, step=0.1, stale_us=_SLOW_US,
        reading=Reading(0x3C, 2, width=2, scale=0.1, offset=-40),
        columns=("catalyst temperature bank 1, sensor 1", "catalyst temperature", "catemp11"),
        note="First catalyst of bank 1, often modelled by the car and not measured.",
    ),
    Signal(
        "module_voltage", "Voltage, module", "Voltage", "V", "voltage", 0, 65.535, step=0.001, stale_us=_SLOW_US,
        reading=Reading(0x42, 2, width=2, scale=0.001),
        columns=("control module voltage", "module voltage", "battery voltage", "vpwr"),
        note="Supply of the engine control, as it measures it.",
    ),
    Signal(
        "adapter_voltage", "Voltage, adapter", "Adapter", "V", "voltage", 0, 40, step=0.1, stale_us=_SLOW_US,
        columns=("adapter voltage",), note="Supply at the diagnostic socket, as the adapter measures it.",
    ),
    Signal(
        "run_time", "Time since start", "Running", "s", "time", 0, 65_535, ceiling=65_535, step=1,
        reading=Reading(0x1F, 2, width=2), columns=("time since engine start", "run time since engine start", "runtm"),
        note="How long the engine has been running.",
    ),
    Signal(
        "code_count", "Stored codes", "Codes", "", "count", 0, 127, discrete=True, step=1, stale_us=_SLOW_US,
        reading=Reading(0x01, 4, bits=7), columns=("number of dtcs", "number of stored codes", "dtc_cnt", "dtc count"),
        note="How many trouble codes the car has stored (lower seven bits of byte A, from memory).",
    ),
    Signal(
        "lamp", "Malfunction lamp", "Lamp", "", "state", 0, 1, discrete=True, step=1, stale_us=_SLOW_US,
        reading=Reading(0x01, 4, shift=7, bits=1), columns=("malfunction indicator lamp", "mil", "mil status"),
        states=((0, "off"), (1, "on")), note="Whether the car asks for the lamp (top bit of byte A, from memory).",
    ),
    Signal(
        "distance_with_lamp", "Distance with lamp on", "Lamp dist.", "km", "distance", 0, 65_535, ceiling=65_535,
        step=1, stale_us=_COUNTER_US, reading=Reading(0x21, 2, width=2),
        columns=("distance traveled while mil is activated", "distance with mil", "mil_dist"),
        note="Distance since the lamp came on.",
    ),
    Signal(
        "distance_since_clear", "Distance since codes cleared", "Since clear", "km", "distance", 0, 65_535,
        ceiling=65_535, step=1, stale_us=_COUNTER_US, reading=Reading(0x31, 2, width=2),
        columns=("distance traveled since dtcs cleared", "distance since diagnostic trouble codes cleared",
                 "distance since codes cleared", "clr_dist"),
        note="Distance since codes and trims were reset (formula from memory).",
    ),
    Signal(
        "time_since_clear", "Time since codes cleared", "Since clear", "s", "time", 0, 65_535 * 60,
        ceiling=65_535 * 60, step=60, stale_us=_COUNTER_US, reading=Reading(0x4E, 2, width=2, scale=60),
        columns=("time since diagnostic trouble codes cleared", "time since trouble codes cleared", "clr_time"),
        note="Engine-on time since codes were cleared, in whole minutes (formula from memory).",
    ),
    Signal(
        "warmups_since_clear", "Warm-ups since codes cleared", "Warm-ups", "", "count", 0, 255, discrete=True,
        ceiling=255, step=1, stale_us=_COUNTER_US, reading=Reading(0x30, 1),
        columns=("number of warm-ups since dtcs cleared", "warm-ups since codes cleared", "warm_ups"),
        note="Warm-ups since codes and trims were reset (formula from memory).",
    ),
    Signal(
        "odometer", "Odometer", "Odometer", "km", "distance", 0, 5_000_000, step=0.1, stale_us=_COUNTER_US,
        reading=Reading(0xA6, 4, width=4, scale=0.1), columns=("odometer", "odometer reading", "odo"),
        note="Distance over the car's life.",
    ),
)  # fmt: skip
"""Temperatures, voltages, counters and codes."""
