"""Drives made of functions of time, for tests that know what must come out."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from coach.catalogue import default_catalogue
from coach.recipe import parse_recipe
from coach.recording import Mark, Recording, Series
from coach.review.kinds import kind_of
from coach.review.subject import Subject, given_subject
from coach.review.summary import groups_of, window_of
from coach.vehicle import parse_vehicle

US = 1_000_000
Shape = Callable[[np.ndarray], np.ndarray]

CAR = """
label = "Test car"
induction = "turbocharged"
idle_speed = "800 rpm"
mass = "1500 kg"
[rpm_per_kmh]
3 = 40.0
5 = 25.0
[pedal]
released = "15 %"
floored = "85 %"
"""


def series(hz: float, seconds: float, shape: Shape, *, start: float = 0.0, step: float = 0.0) -> Series:
    """Samples of a function of time in seconds, at an even rate; rounded to `step` where given."""
    t_us = np.round((start + np.arange(int(seconds * hz) + 1) / hz) * US).astype(np.int64)
    value = np.asarray(shape(t_us / US), dtype=np.float64) * np.ones(len(t_us))
    return Series(t_us, np.round(value / step) * step if step else value)


def const(value: float) -> Shape:
    return lambda t: np.full(len(t), float(value))


def ramp(low: float, high: float, begin: float, end: float) -> Shape:
    """Level, then a straight line, then level."""
    return lambda t: np.interp(t, [begin, end], [low, high])


def subject(
    recipe: str, signals: Mapping[str, Series], *, car: str | None = CAR, marks: tuple[Mark, ...] | None = None,
    **more: object,
) -> Subject:  # fmt: skip
    """A judged drive."""
    recording = Recording(dict(signals), marks=marks)
    vehicle = None if car is None else parse_vehicle(car)
    asked = parse_recipe(recipe, name="made.toml", catalogue=default_catalogue())
    return given_subject(asked, recording, default_catalogue(), vehicle, name="made", **more)


def figures(s: Subject, capture: str, number: int = 0) -> dict[str, object]:
    """All figures of an attempt's summary, by group and id."""
    w = window_of(s, capture, number)
    return {f"{g.id}.{f.id}": f for g in groups_of(w, kind_of(w.capture)) for f in g.figures}


def tables(s: Subject, capture: str, number: int = 0) -> dict[str, object]:
    """All tables of an attempt's summary, by id."""
    w = window_of(s, capture, number)
    return {t.id: t for g in groups_of(w, kind_of(w.capture)) for t in g.tables}


def hold(id_: str, seconds: int, keep: str, more: str = "") -> str:
    """A recipe with one hold."""
    return (
        f'format = 1\ntitle = "Made"\n[[capture]]\nid = "{id_}"\nhold = "{seconds} s"\n{more}\n[capture.keep]\n{keep}\n'
    )


def sweep(id_: str, signal: str, low: str, high: str, keep: str = "", more: str = "") -> str:
    """A recipe with one sweep."""
    kept = f"[capture.keep]\n{keep}\n" if keep else ""
    return (
        f'format = 1\ntitle = "Made"\n[[capture]]\nid = "{id_}"\nplace = "closed course"\n{more}\n'
        f'[capture.sweep]\n{signal} = {{ from = "{low}", to = "{high}" }}\n{kept}'
    )
