"""What changed between two recipes, as sentences: nothing left out, nothing made up."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from coach.catalogue import default_catalogue
from coach.core.spec import Axis, Band
from coach.desk.changes import changes
from coach.recipe import CaptureAsked, CellsAsked, LimitAsked, Recipe, RecordAsked, SweepAsked, parse_recipe
from coach.shown import IMPERIAL, Units
from coach.words import load_words
from tests.recipe.making import EXAMPLE

CATALOGUE = default_catalogue()
OLD = parse_recipe(EXAMPLE)


def said(old: Recipe, new: Recipe, **more) -> list[str]:
    return [c.text for c in changes(old, new, CATALOGUE, **more)]


def edited(*pairs: tuple[str, str]) -> Recipe:
    text = EXAMPLE
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return parse_recipe(text)


def test_nothing_changed_says_nothing():
    """Comments and order of keys are no change, nor is a unit that means the same."""
    assert changes(OLD, OLD, CATALOGUE) == []
    assert changes(OLD, edited(('"95 kPa"', '"0.95 bar"'), ('"3 min"', '"180 s"')), CATALOGUE) == []


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"95 kPa"', '"110 kPa"', "Limit of gauge boost in Full pedal in third from 95 to 110 kPa"),
        ('to = "4600 rpm"', 'to = "5200 rpm"',
         "Sweep of engine speed in Full pedal in third: 2200 to 5200 rpm instead of 2200 to 4600 rpm"),
        ('"15 s"', '"20 s"', "Time for the sweep, sweep of engine speed in Full pedal in third from 15 to 20 seconds"),
        ('max = "88 km/h"', 'max = "90 km/h"',
         "Road speed to keep in Steady part load in fifth: 72 to 90 km/h instead of 72 to 88 km/h"),
        ('gauge_boost  = { max = "95 kPa" }\n', "",
         "Limit of gauge boost is no longer asked for in Full pedal in third"),
        ('gear  = 3\n', "", "Gear to keep is no longer asked for in Full pedal in third"),
        ('gear  = 3\n', 'gear  = 3\nroad_speed = { max = "120 km/h" }\n',
         "New in Full pedal in third: road speed to keep 120 km/h or less"),
        ('title = "Warm idle, parked"', 'title = "Idle"', "Warm idle, parked is now called “Idle”"),
    ],
)  # fmt: skip
def test_a_change_is_one_sentence(old, new, sentence):
    """One edit, one sentence, with both values in their unit."""
    (text,) = said(OLD, edited((old, new)))
    assert text.startswith(sentence)


def test_captures_that_come_and_go_are_named():
    """A new one with its whole sentence."""
    fewer = replace(OLD, captures=OLD.captures[1:])
    assert said(OLD, fewer) == ["Capture “Steady part load in fifth” is no longer asked for"]
    (text,) = said(fewer, OLD)
    assert text.startswith("New capture “Steady part load in fifth”: Hold 72 to 88 km/h in fifth for 3 minutes")


def test_another_order_is_a_change():
    """What is driven first matters."""
    turned = replace(OLD, captures=OLD.captures[::-1])
    assert said(OLD, turned) == [
        "The order of the captures: Warm idle, parked, Full pedal in third, Steady part load in fifth"
    ]


def test_units_are_the_readers():
    """95 kPa is 13.8 psi."""
    assert said(OLD, edited(('"95 kPa"', '"110 kPa"')), system=IMPERIAL) == [
        "Limit of gauge boost in Full pedal in third from 13.8 to 16.0 psi"
    ]


FULL = CaptureAsked(
    "x", "The capture", collect_us=9_000_000, cells=CellsAsked((Axis("engine_speed", (1, 2)),), 5, ((0,),)),
    limits=(LimitAsked("coolant_temp", high=108),), record={"pedal": RecordAsked("pedal", 8)},
    sweep=SweepAsked("engine_speed", 1000, 2000),
)  # fmt: skip
OTHER = {
    "title": "Another", "ask": "Slowly", "place": "parked", "times": 3, "hold_us": 5_000_000, "collect_us": 8_000_000,
    "piece_us": 4_000_000, "cells": CellsAsked((Axis("engine_speed", (1, 2)),), 6_000_000, ((0,),)),
    "sweep": SweepAsked("engine_speed", 1000, 3000), "start": (Band("pedal", 1),), "keep": (Band("pedal", 1),),
    "limits": (LimitAsked("coolant_temp", high=109),), "record": {"pedal": RecordAsked("pedal", 9)},
    "grace_us": 1_000_000, "max_excursions": 4, "stale_after_us": {"": 1_000_000}, "warn_ahead_us": 900_000,
    "then_us": 1_000_000, "rest_us": 60_000_000, "needs": ("y",), "after_limit": "wait", "confirm": ("fan off",),
    "before_us": 5_000_000, "after_us": 5_000_000,
}  # fmt: skip


@pytest.mark.parametrize("name", [f.name for f in fields(CaptureAsked) if f.name != "id"])
def test_no_key_of_a_capture_is_forgotten(name):
    """Whatever differs in a capture is said, whichever key it is; a new key has to be added here."""
    old = replace(OLD, captures=(FULL,))
    new = replace(OLD, captures=(replace(FULL, **{name: OTHER[name]}),))
    assert said(old, new), name


LIMIT, SWEEP = LimitAsked("coolant_temp", high=108), SweepAsked("engine_speed", 1000, 2000)
RATE = RecordAsked("pedal", 8)


@pytest.mark.parametrize(
    ("part", "old", "new"),
    [
        *(("limits", LIMIT, replace(LIMIT, **{k: v})) for k, v in (
            ("high", 109.0), ("scope", "drive"), ("after_us", 1_000_000), ("for_us", 1_000_000))),
        ("limits", LIMIT, LimitAsked("coolant_temp", low=108)),
        ("limits", LIMIT, LimitAsked("oil_temp", high=108)),
        *(("sweep", SWEEP, replace(SWEEP, **{k: v})) for k, v in (
            ("start", 1100.0), ("to", 2100.0), ("dip", 50.0), ("within_us", 9_000_000), ("late", 70.0))),
        ("sweep", SWEEP, replace(SWEEP, signal="road_speed")),
        *(("record", RATE, replace(RATE, **{k: v})) for k, v in (
            ("rate_hz", 9.0), ("gap_us", 900_000), ("least", 0.9), ("need", False))),
        ("keep", Band("pedal", 1, 2), Band("pedal", 1, 2, 3)),
        ("keep", Band("pedal", 1, 2), Band("throttle", 1, 2)),
    ],
)  # fmt: skip
def test_no_part_of_a_table_is_forgotten(part, old, new):
    """Every field of a limit, a sweep, a rate and a band."""

    def made(item):
        value = item if part == "sweep" else {item.signal: item} if part == "record" else (item,)
        return replace(OLD, captures=(replace(FULL, **{part: value}),))

    assert said(made(old), made(new))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("title", "T"), ("revision", 9), ("note", "n"), ("vehicle", "v"), ("calibration", ("c",)), ("settle_km", 5.0),
        ("record", {"pedal": RecordAsked("pedal", 8)}),
    ],
)  # fmt: skip
def test_no_key_of_the_file_is_forgotten(key, value):
    """The recipe's own keys."""
    assert said(OLD, replace(OLD, **{key: value}))


def test_a_list_of_ones_own_comes_and_goes():
    """A capture that records something else than the recipe says so."""
    own, none = replace(OLD, captures=(FULL,)), replace(OLD, captures=(replace(FULL, record=None),))
    assert said(none, own) == ["The capture records a list of its own"]
    assert said(own, none) == ["The capture records what the recipe asks for all"]


def test_changes_are_json():
    """Text, key and capture."""
    (change,) = changes(OLD, edited(('"95 kPa"', '"110 kPa"')), CATALOGUE)
    assert change.as_dict() == {"text": change.text, "key": "limit.gauge_boost", "capture": "roll-on"}


def test_german_says_the_unit_once_too():
    """From 0,95 to 1,1 bar, with a comma."""
    old = parse_recipe(EXAMPLE)
    new = parse_recipe(EXAMPLE.replace('"95 kPa"', '"110 kPa"', 1))
    (change,) = changes(old, new, CATALOGUE, system=Units(pressure="bar"), words=load_words("de"))
    assert "von 0,95 zu 1,10 bar" in change.text
