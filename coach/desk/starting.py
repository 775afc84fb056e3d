"""Plain starting points for captures, one for each kind that the trade asks for; and a recipe made of them.

What stands here is a beginning to be edited: figures are common practice without a source, or come from the vehicle.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coach.errors import BadInput
from coach.vehicle import Vehicle
from coach.words import Words, load_words

BELOW_REV_LIMIT_RPM = 200.0
"""A sweep ends so far under the rev limit (common practice, no source)."""
USUAL_IDLE_RPM = 800.0
USUAL_REV_LIMIT_RPM = 6000.0
RATES = {
    "engine_speed": "8 Hz", "road_speed": "4 Hz", "manifold_pressure": "8 Hz", "barometric_pressure": "0.2 Hz",
    "pedal": "8 Hz", "coolant_temp": "0.5 Hz", "intake_temp": "1 Hz", "ambient_temp": "0.2 Hz", "lambda_1": "4 Hz",
    "timing_advance": "4 Hz", "short_trim_1": "2 Hz", "long_trim_1": "1 Hz", "fuel_system_status": "1 Hz",
    "mass_airflow": "4 Hz", "calculated_load": "4 Hz", "module_voltage": "1 Hz", "throttle": "4 Hz", "run_time": "1 Hz",
}  # fmt: skip
"""How fast each signal is asked for unless the recipe already says."""


@dataclass(frozen=True, slots=True)
class Start:
    """A starting point: its `kind`, the capture as TOML, and the signals that it wants recorded."""

    kind: str
    text: str
    record: tuple[str, ...]


_WARM = 'coolant_temp = { min = "80 degC" }'
_STILL = 'road_speed   = { max = "0 km/h" }'
_BASE = ("engine_speed", "road_speed", "coolant_temp")
_AIR = ("manifold_pressure", "barometric_pressure", "intake_temp")
_FUEL = ("lambda_1", "short_trim_1", "long_trim_1", "fuel_system_status", "timing_advance", "mass_airflow")
_GEARED = (*_BASE, "pedal", *_AIR)

_TEXTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "steady": (
        f"""place = "road"
hold  = "3 min"
grace = "1 s"
[capture.keep]
road_speed   = {{ min = "72 km/h", max = "88 km/h" }}
engine_speed = {{ wander = "150 rpm" }}
gear         = 5
{_WARM}
""", (*_GEARED, *_FUEL, "calculated_load")),
    "cells": (
        f"""place   = "road"
collect = "10 min"
piece   = "5 s"
[capture.keep]
gear = {{ min = 3 }}
{_WARM}
[capture.cells]
dwell = "20 s"
[capture.cells.edges]
engine_speed    = ["1500 rpm", "2000 rpm", "2500 rpm", "3000 rpm"]
calculated_load = ["20 %", "40 %", "60 %"]
""", (*_GEARED, *_FUEL, "calculated_load")),
    "tip-in": (
        f"""place = "road"
times = 3
rest  = "20 s"
then  = "5 s"
[capture.start]
{_WARM}
[capture.sweep]
pedal_travel = {{ from = "15 %", to = "50 %", within = "0.7 s" }}
[capture.keep]
gear         = 4
engine_speed = {{ min = "1500 rpm", max = "3500 rpm" }}
""", (*_GEARED, "lambda_1", "timing_advance")),
    "overrun": (
        f"""place = "road"
times = 2
[capture.start]
{_WARM}
[capture.sweep]
engine_speed = {{ from = "3000 rpm", to = "1600 rpm" }}
[capture.keep]
pedal_travel = {{ max = "1 %" }}
gear         = 3
""", (*_GEARED, "lambda_1", "fuel_system_status")),
    "half-pedal": (
        f"""place = "closed course"
times = 2
rest  = "2 min"
[capture.start]
{_WARM}
[capture.sweep]
engine_speed = {{ from = "2000 rpm", to = "{{half}} rpm", within = "20 s" }}
[capture.keep]
pedal_travel = {{ min = "45 %", max = "55 %" }}
gear         = 3
[capture.limit]
coolant_temp = {{ max = "108 degC" }}
""", (*_GEARED, "lambda_1", "timing_advance")),
    "full-pedal": (
        f"""place = "closed course"
times = 2
rest  = "3 min"
[capture.start]
{_WARM}
intake_over_ambient = {{ max = "15 degC" }}
[capture.sweep]
engine_speed = {{ from = "2200 rpm", to = "{{full}} rpm", dip = "120 rpm", within = "15 s" }}
[capture.keep]
pedal_travel = {{ min = "90 %" }}
gear         = 3
[capture.limit]
coolant_temp = {{ max = "108 degC" }}
""", (*_GEARED, "ambient_temp", "lambda_1", "timing_advance", "throttle", "module_voltage")),
    "idle": (
        f"""place = "parked"
hold  = "90 s"
[capture.keep]
{_STILL}
engine_speed = {{ min = "{{idle_low}} rpm", max = "{{idle_high}} rpm" }}
{_WARM}
""", (*_BASE, "pedal", *_AIR, *_FUEL, "module_voltage")),
    "idle-loads": (
        f"""place   = "parked"
hold    = "60 s"
confirm = ["Air conditioning on", "Lights and rear window heater on"]
[capture.keep]
{_STILL}
engine_speed = {{ min = "{{idle_low}} rpm", max = "{{idle_high}} rpm" }}
{_WARM}
""", (*_BASE, "pedal", *_AIR, *_FUEL, "module_voltage")),
    "to-idle": (
        f"""place = "parked"
times = 3
rest  = "10 s"
then  = "8 s"
[capture.start]
{_WARM}
[capture.sweep]
engine_speed = {{ from = "2000 rpm", to = "{{near_idle}} rpm" }}
[capture.keep]
{_STILL}
pedal_travel = {{ max = "1 %" }}
""", (*_BASE, "pedal", "manifold_pressure", "timing_advance", "lambda_1")),
    "cold-start": (
        f"""place = "parked"
hold  = "2 min"
[capture.start]
coolant_temp        = {{ max = "30 degC" }}
coolant_over_intake = {{ min = "-5 degC", max = "5 degC" }}
run_time            = {{ max = "5 s" }}
[capture.keep]
{_STILL}
engine_speed = {{ min = "300 rpm" }}
""", (*_BASE, "intake_temp", "run_time", "manifold_pressure", *_FUEL, "module_voltage")),
    "hot-restart": (
        f"""place = "parked"
hold  = "60 s"
[capture.start]
{_WARM}
run_time = {{ max = "5 s" }}
[capture.keep]
{_STILL}
engine_speed = {{ min = "300 rpm" }}
""", (*_BASE, "intake_temp", "run_time", "manifold_pressure", *_FUEL, "module_voltage")),
    "warm-up": (
        """place = "road"
[capture.sweep]
coolant_temp = { from = "40 degC", to = "80 degC", dip = "5 degC" }
[capture.keep]
engine_speed = { min = "500 rpm" }
[capture.limit]
coolant_temp = { max = "112 degC" }
""", (*_BASE, "intake_temp", "run_time")),
    "voltage": (
        """place = "parked"
hold  = "2 min"
[capture.keep]
road_speed     = { max = "0 km/h" }
engine_speed   = { min = "500 rpm" }
module_voltage = { min = "13.2 V", max = "15 V" }
""", (*_BASE, "module_voltage")),
    "free": (
        """place = "road"
hold  = "60 s"
[capture.keep]
engine_speed = { min = "300 rpm" }
""", _BASE),
}  # fmt: skip

KINDS = tuple(_TEXTS)
"""Every kind, in the order in which a desk offers them."""


def start(kind: str, vehicle: Vehicle | None = None, *, taken: Sequence[str] = (), words: Words | None = None) -> Start:
    """The starting point of a kind.

    Args:
        kind: one of `KINDS`.
        vehicle: idle speed and rev limit come from it where it has them.
        taken: ids that are taken; the new one gets a number.
        words: the language of its title.

    Raises:
        BadInput: there is no such kind.
    """
    if kind not in _TEXTS:
        raise BadInput(f"there is no starting point of that name; there are {', '.join(KINDS)}", where=kind[:40])
    words = words or load_words()
    text, record = _TEXTS[kind]
    idle = USUAL_IDLE_RPM if vehicle is None or vehicle.idle_rpm is None else vehicle.idle_rpm
    most = USUAL_REV_LIMIT_RPM if vehicle is None or vehicle.rev_limit_rpm is None else vehicle.rev_limit_rpm
    top = most - BELOW_REV_LIMIT_RPM
    figures = {
        "full": min(4600.0, top), "half": min(4000.0, top), "idle_low": idle - 150, "idle_high": idle + 200,
        "near_idle": idle + 300,
    }  # fmt: skip
    for name, rpm in figures.items():
        text = text.replace(f"{{{name}}}", f"{round(rpm, -1):.0f}")
    # Half pedal before full, the lower end before the higher (common practice, no source).
    first = [n for n in ("half-pedal", "full-pedal") if n in taken]
    if kind == "full-pedal" and first:
        text = text.replace("[capture.start]", f'needs = ["{first[-1]}"]\n[capture.start]', 1)
    number, name = 1, kind
    while name in taken:
        number += 1
        name = f"{kind}-{number}"
    title = words(f"desk.start.{kind}.title")
    return Start(kind, f'[[capture]]\nid    = "{name}"\ntitle = "{title}"\n{text}', record)


def new_recipe(
    kinds: Sequence[str], vehicle: Vehicle | None = None, *, title: str = "", words: Words | None = None
) -> str:
    """A recipe of starting points, as TOML.

    Args:
        kinds: what to begin with, in order.
        vehicle: the car that it is meant for.
        title: the recipe's; a plain one if left out.
        words: the language of titles.

    Raises:
        BadInput: no such kind.
    """
    words = words or load_words()
    made: list[Start] = []
    taken: list[str] = []
    for kind in kinds:
        one = start(kind, vehicle, taken=taken, words=words)
        taken.append(tomllib.loads(one.text)["capture"][0]["id"])
        made.append(one)
    signals = list(dict.fromkeys(name for one in made for name in one.record)) or list(_BASE)
    width = max(len(name) for name in signals)
    label = "" if vehicle is None or not vehicle.label else f"vehicle = {_quoted(vehicle.label)}\n"
    head = f"format = 1\ntitle = {_quoted(title or words('desk.start.recipe'))}\nrevision = 1\n{label}\n[record]\n"
    rates = "".join(f'{name:<{width}} = "{RATES[name]}"\n' for name in signals)
    return head + rates + "".join(f"\n{one.text}" for one in made)


def missing_rates(one: Start, data: dict[str, Any]) -> dict[str, str]:
    """What a starting point wants recorded and a recipe does not ask for yet: signal to rate."""
    asked = data.get("record", {})
    return {name: RATES[name] for name in one.record if name not in asked}


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else " " for c in escaped) + '"'
