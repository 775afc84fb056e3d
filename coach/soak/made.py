"""The drive that the long test records again and again: short holds, met and broken, so that much is written."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Literal

from coach.advice import Adviser
from coach.catalogue import default_catalogue
from coach.clock import Clock
from coach.drive.drive import Setup
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.recording import US, Recording, from_pairs
from coach.sources.base import Ended, Instant, Source, SourceEvent
from coach.store import Around, NewDrive
from coach.store.planjson import dump_catalogue, dump_plan
from coach.words import load_words

RECIPE = b"""\
format = 1
title = "Soak"
revision = 1
[record]
road_speed = "4 Hz"
engine_speed = "8 Hz"
coolant_temp = "0.5 Hz"
[[capture]]
id = "cruise"
title = "Steady cruise"
place = "road"
hold = "3 s"
times = 3
before = "1 s"
after = "1 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
[[capture]]
id = "settled"
title = "Steady engine"
place = "road"
hold = "5 s"
before = "1 s"
after = "1 s"
[capture.keep]
engine_speed = { min = "1800 rpm", max = "2200 rpm" }
[capture.limit]
coolant_temp = { max = "108 degC" }
"""

STEADY = {
    "coolant_temp": 90.0, "manifold_pressure": 60.0, "intake_temp": 30.0, "throttle": 20.0, "pedal": 22.0,
    "mass_airflow": 14.0, "lambda_1": 1.0, "timing_advance": 18.0, "barometric_pressure": 99.0,
    "short_trim_1": 1.0, "long_trim_1": 2.0, "engine_load": 35.0, "fuel_level": 50.0,
}  # fmt: skip
"""With road and engine speed fifteen signals; at 10 Hz they come to 150 samples a second."""
STEP_US = US // 10


def instants(seconds: float, *, round_s: float = 8.0) -> Iterator[tuple[int, dict[str, float]]]:
    """Stamps and values at 10 Hz; every `round_s` the road speed leaves its band, a little later the engine speed."""
    for n in range(int(seconds * 10)):
        t_s = n / 10
        wave = (n * 7919 % 1000) / 1000
        values = {name: mean * (1 + 0.01 * wave) for name, mean in STEADY.items()}
        values["road_speed"] = 80.0 + 4 * wave if t_s % round_s < round_s - 1.5 else 95.0
        values["engine_speed"] = 2000.0 + 100 * wave if (t_s + 3) % (round_s * 1.5) < round_s * 1.5 - 1 else 3000.0
        yield n * STEP_US, values


def recording(seconds: float) -> Recording:
    """The same as arrays."""
    return from_pairs([(t, name, value) for t, values in instants(seconds) for name, value in values.items()])


class Made:
    """A source that makes its samples as it goes, flat out, and moves a hand clock along with them.

    Args:
        seconds: of drive.
        moves: is told the microseconds that have passed with each instant, or nothing is.
    """

    kind: Literal["simulator"] = "simulator"
    name = "soak"
    people_recorded = False

    def __init__(self, seconds: float, moves: Callable[[int], object] | None = None, *, round_s: float = 8.0) -> None:
        self._seconds = seconds
        self._moves = moves
        self._round_s = round_s
        self.signals = frozenset({*STEADY, "road_speed", "engine_speed"})
        self.meta: Mapping[str, Any] = {}

    def run(self, emit: Callable[[SourceEvent], None], stop: threading.Event, clock: Clock) -> None:
        """See `Source.run`."""
        for t_us, values in instants(self._seconds, round_s=self._round_s):
            if stop.is_set():
                break
            emit(Instant(t_us, values))
            if self._moves is not None:
                self._moves(STEP_US)
        emit(Ended("stopped" if stop.is_set() else "finished"))


def setup(source: Source) -> Setup:
    """A drive by RECIPE over `source`."""
    catalogue = default_catalogue()
    recipe = parse_recipe(RECIPE, name="soak.toml", catalogue=catalogue)
    plan = resolve(recipe, catalogue, measured=source.signals, people_recorded=False)
    new = NewDrive(
        recipe=recipe.source, recipe_sha=recipe.sha256, recipe_name=recipe.name, title=recipe.title,
        revision=recipe.revision, plan=dump_plan(plan), catalogue=dump_catalogue(catalogue), rules=plan.rules,
        source={"kind": source.kind, "people_recorded": False},
        around={c.id: Around(c.before_us, c.after_us) for c in recipe.captures},
    )  # fmt: skip
    return Setup(new, plan, source, Adviser(recipe, plan, catalogue, load_words()), speed=None)
