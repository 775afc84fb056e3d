"""What the phone will say, from the real judge and adviser: every moment of every starting point."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.desk.preview import MOMENTS, previews
from coach.desk.starting import KINDS, new_recipe
from coach.recipe import RecipeErrors, parse_recipe
from coach.shown import IMPERIAL
from coach.vehicle import load_vehicle
from tests.recipe.making import EXAMPLE

CATALOGUE = default_catalogue()
DEMO = load_vehicle(Path(__file__).parents[2] / "replay_traces/demo-vehicle.toml")


def lines(text: str, only: str | None = None, **more) -> dict[str, str]:
    """The line of each moment of the one capture."""
    made = previews(parse_recipe(text), CATALOGUE, DEMO, only=only, **more)
    (states,) = made.values()
    return {moment: state["face"]["line"] for moment, state in states.items()}


def test_a_hold_goes_through_its_moments():
    """Steered in, held, steered back, secured."""
    said = lines(EXAMPLE, "part-load")
    assert said["approach"] == "Slow down gently"
    assert said["going"] == "Hold this speed"
    assert said["correct"] == "Slow down"
    assert set(said) == set(MOMENTS)


def test_a_sweep_goes_through_its_moments():
    """Full pedal, kept down, a miss, secured with one to go."""
    said = lines(EXAMPLE, "roll-on")
    assert said["going"] == "Keep the pedal down"
    assert said["correct"].startswith("Missed")
    assert said["secured"] == "Secured"


def test_a_capture_hands_over_to_the_next_and_only_the_last_is_everything():
    """As many to go as come after it, and which is next; those before it are done; a recipe of one ends with it."""
    made = previews(parse_recipe(EXAMPLE), CATALOGUE, DEMO)
    names = list(made)
    faces = {name: made[name]["secured"]["face"] for name in names}
    assert names == ["part-load", "roll-on", "settled-idle"]
    assert (faces["part-load"]["line"], faces["part-load"]["number"]) == ("Secured", "2")
    assert "Next, Full pedal in third" in faces["part-load"]["caption"]
    assert (faces["roll-on"]["line"], faces["roll-on"]["number"]) == ("Secured", "2")
    assert "The same once more" in faces["roll-on"]["caption"]
    assert (faces["settled-idle"]["line"], faces["settled-idle"]["number"]) == ("That is everything", "")
    for place, name in enumerate(names):
        for state in made[name].values():
            trail = state["captures"]
            assert [c["id"] for c in trail] == names
            assert len({tuple(c) for c in trail}) == 1
            assert [c["outcome"] == "secured" for c in trail[:place]] == [True] * place
            assert all(c["outcome"] == "todo" for c in trail[place + 1 :])
    one = parse_recipe("[[capture]]".join(EXAMPLE.split("[[capture]]")[:2]))
    assert previews(one, CATALOGUE, DEMO)["part-load"]["secured"]["face"]["line"] == "That is everything"


def test_cells_end_as_any_other_capture():
    """However many cells there are, the end is shown too."""
    assert lines(new_recipe(["cells"], DEMO))["secured"] == "That is everything"


def test_numbers_are_the_drivers():
    """Half of three minutes left; speeds in miles an hour."""
    made = previews(parse_recipe(EXAMPLE), CATALOGUE, DEMO, only="part-load", units=IMPERIAL)["part-load"]
    assert made["going"]["face"]["number"].startswith("1:3")
    assert made["approach"]["face"]["caption"] == "mph to go"
    assert made["going"]["lead"] is not None


@pytest.mark.parametrize("kind", KINDS)
def test_every_starting_point_can_be_shown(kind):
    """Each comes at least to an approach and to something under way, and every line is short."""
    said = lines(new_recipe([kind], DEMO))
    assert {"approach", "going"} <= set(said)
    assert all(0 < len(line.split()) <= 6 for line in said.values()), said


def test_only_the_capture_that_is_asked_for():
    """All of them without."""
    recipe = parse_recipe(EXAMPLE)
    assert set(previews(recipe, CATALOGUE, DEMO, only="settled-idle")) == {"settled-idle"}
    assert previews(recipe, CATALOGUE, DEMO, only="nothing") == {}


def test_a_recipe_that_contradicts_itself_has_no_preview():
    """The check says why."""
    with pytest.raises(RecipeErrors):
        previews(parse_recipe(EXAMPLE.replace('"72 km/h"', '"99 km/h"')), CATALOGUE)
