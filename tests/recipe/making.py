"""Recipes for tests: the example of the documentation, and small ones made from parts."""

from __future__ import annotations

from coach.recipe import Finding, examine

EXAMPLE = """\
format = 1
title = "Second revision: part load, roll-on, settled idle"
revision = 2
note = "Fill up first. Windows shut, air conditioning off."

[record]
engine_speed        = "8 Hz"
road_speed          = "4 Hz"
manifold_pressure   = "8 Hz"
barometric_pressure = "0.2 Hz"
pedal               = "8 Hz"
coolant_temp        = "0.5 Hz"

[[capture]]
id    = "part-load"
title = "Steady part load in fifth"
place = "road"
hold  = "3 min"
grace = "1 s"
[capture.keep]
road_speed   = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
gear         = 5

[[capture]]
id     = "roll-on"
title  = "Full pedal in third"
place  = "closed course"
times  = 2
rest   = "3 min"
[capture.start]
coolant_temp = { min = "80 degC" }
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", dip = "120 rpm", within = "15 s" }
[capture.keep]
pedal_travel = { min = "90 %" }
gear  = 3
[capture.limit]
gauge_boost  = { max = "95 kPa" }
coolant_temp = { max = "108 degC" }

[[capture]]
id    = "settled-idle"
title = "Warm idle, parked"
place = "parked"
hold  = "90 s"
[capture.keep]
road_speed   = { max = "0 km/h" }
engine_speed = { min = "650 rpm", max = "1000 rpm" }
coolant_temp = { min = "80 degC" }
"""

RECORD = """\
format = 1
title = "t"
[record]
engine_speed = "8 Hz"
road_speed = "4 Hz"
manifold_pressure = "8 Hz"
barometric_pressure = "0.2 Hz"
pedal = "8 Hz"
coolant_temp = "0.5 Hz"
"""
"""Ten lines short of a recipe: a capture is to follow."""


def hold(more: str = "", *, keep: str = 'road_speed = { min = "72 km/h", max = "88 km/h" }') -> str:
    """A recipe with one hold of 60 s; `more` are further lines of the capture."""
    return f'{RECORD}[[capture]]\nid = "a"\nhold = "60 s"\n{more}\n[capture.keep]\n{keep}\n'


def sweep(
    ends: str = 'from = "2200 rpm", to = "4600 rpm"', *, signal: str = "engine_speed", more: str = "", tables: str = ""
) -> str:
    """A recipe with one sweep on a closed course."""
    head = f'{RECORD}[[capture]]\nid = "a"\nplace = "closed course"\n{more}\n'
    return f"{head}[capture.sweep]\n{signal} = {{ {ends} }}\n{tables}\n"


def found(text: str) -> list[Finding]:
    """All findings of a text."""
    return examine(text)[1]


def codes(text: str, level: str | None = None) -> list[str]:
    """The codes found, of one level or of both."""
    return [f.code for f in found(text) if level in (None, f.level)]
