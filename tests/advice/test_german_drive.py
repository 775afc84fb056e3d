"""Whole bundled drives in German: the real judge and adviser, every state read for words that are no German ones."""

from __future__ import annotations

import re

import pytest

from coach.advice import Adviser
from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.core.judge import Judge
from coach.plan import resolve
from coach.recipe import load_recipe
from coach.sources.table import read_table
from coach.vehicle import load_vehicle
from coach.words import load_words
from tests.words.test_languages import ENGLISH

TITLES = [capture.title for capture in load_recipe(traces_root() / "demo-recipe.toml").captures]
EVERY_US = 500_000
READ = ("line", "caption", "spare", "asked", "name", "value", "low_text", "high_text", "ceiling_text", "goal", "more")
"""Under these keys a state carries words that are read."""


def played(name):
    """The states of a bundled drive as a German phone is sent them, two a second."""
    catalogue = default_catalogue()
    recipe = load_recipe(traces_root() / "demo-recipe.toml")
    vehicle = load_vehicle(traces_root() / "demo-vehicle.toml")
    recording = read_table(traces_root() / f"{name}.csv", catalogue)
    plan = resolve(recipe, catalogue, vehicle, measured=frozenset(recording.series), people_recorded=False)
    judge, adviser = Judge(plan), Adviser(recipe, plan, catalogue, load_words("de"))
    events, told_us = [], -EVERY_US
    for t_us, values in recording.instants():
        events += judge.feed(t_us, values)
        if t_us - told_us >= EVERY_US:
            yield adviser.update(judge.view(t_us), events, t_us)
            events, told_us = [], t_us


def texts(made, key=""):
    """Every text of a state that is read or heard."""
    if isinstance(made, dict):
        for inner, value in made.items():
            yield from texts(value, inner)
    elif isinstance(made, list):
        for value in made:
            yield from texts(value, key)
    elif isinstance(made, str) and key in READ:
        yield made


def without_titles(text):
    """A text without the titles of the captures, which their author wrote."""
    return re.sub("|".join(re.escape(title) for title in TITLES), "", text)


@pytest.mark.parametrize("name", ["everything-qualifies", "limit-passed", "cold-engine", "wrong-gear"])
def test_a_whole_drive_is_german(name):
    """What is shown has no English word, what is spoken has numbers in words, lines keep to six words."""
    states = list(played(name))
    shown = {without_titles(text) for text in {text for state in states for text in texts(state)}}
    assert {text for text in shown if ENGLISH.search(text)} == set()
    spoken = {state["face"]["speech"] for state in states}
    assert {text for text in spoken if ENGLISH.search(text) or re.search(r"\d", text)} == set()
    lines = {state["face"]["line"] for state in states}
    assert len(lines) >= 2
    assert max(len(line.split()) for line in lines) <= 6


def test_what_a_german_driver_is_told_on_the_way():
    """Hold, sweep, idle and what is secured, in the words of the trade; gears and speeds in words."""
    states = list(played("everything-qualifies"))
    lines = [state["face"]["line"] for state in states]
    for line in ("Dieses Tempo halten", "Gesichert", "Im Leerlauf lassen", "Das war alles"):
        assert line in lines, sorted(set(lines))
    rows = {row["name"] for state in states if state["lead"] for row in state["lead"]["rows"]}
    assert {"Kühlmittel", "Gang"} <= rows
    said = {state["face"]["speech"] for state in states}
    assert "Gut. Dieses Tempo halten." in said, said
