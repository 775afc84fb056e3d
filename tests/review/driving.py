"""A small recipe and small drives for the verdict."""

from __future__ import annotations

from coach.catalogue import default_catalogue
from coach.core.afterwards import Verdict
from coach.core.spec import JudgePlan
from coach.recipe import Recipe, parse_recipe
from coach.recording import Recording, from_pairs
from coach.review.judging import judge_against

S = 1_000_000

TEXT = """
format = 1
title = "Part load and a pull"
revision = 2
[record]
road_speed = "1 Hz"
engine_speed = "1 Hz"
coolant_temp = "0.5 Hz"
[[capture]]
id = "part-load"
title = "Steady part load"
hold = "60 s"
grace = "1 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
[[capture]]
id = "pull"
title = "A pull"
place = "closed course"
times = 2
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", within = "30 s", late = "300 rpm" }
[capture.limit]
coolant_temp = { max = "108 degC" }
"""


def recipe(text: str = TEXT) -> Recipe:
    return parse_recipe(text, name="request.toml")


def drive(seconds=range(200), speed=lambda t: 80.0, rpm=lambda t: 1500.0, coolant=lambda t: 90.0, **more) -> Recording:
    """One row a second."""
    pairs = []
    for t in seconds:
        row = {"road_speed": speed(t), "engine_speed": rpm(t), "coolant_temp": coolant(t)}
        pairs += [(t * S, name, value) for name, value in row.items()]
    return from_pairs(pairs, **more)


def judged(recording: Recording, asked: Recipe | None = None) -> tuple[JudgePlan, Verdict]:
    return judge_against(asked or recipe(), recording, default_catalogue())
