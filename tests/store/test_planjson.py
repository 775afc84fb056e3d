"""The stored plan and catalogue: what goes in comes out, and old or foreign ones are refused with a sentence."""

import json

import pytest

from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.core.spec import Band, Capture, Facts, JudgePlan
from coach.errors import StoreError
from coach.plan import resolve
from coach.recipe import load_recipe
from coach.store.planjson import dump_catalogue, dump_plan, load_catalogue, load_plan
from coach.vehicle import load_vehicle


def test_a_plan_comes_back_equal():
    """Every number, infinity and derivation of the bundled recipe's plan."""
    catalogue = default_catalogue()
    recipe = load_recipe(traces_root() / "demo-recipe.toml", catalogue)
    vehicle = load_vehicle(traces_root() / "demo-vehicle.toml")
    plan = resolve(recipe, catalogue, vehicle)
    assert {d.name for d in plan.derivations} == {"gear", "pedal_travel", "gauge_boost"}
    again = load_plan(dump_plan(plan))
    assert again == plan
    assert [type(d) for d in again.derivations] == [type(d) for d in plan.derivations]
    bare = JudgePlan((Capture("a", hold_us=1, keep=(Band("road_speed", 1.0),)),), {"road_speed": Facts()})
    assert load_plan(dump_plan(bare)) == bare


def test_a_catalogue_comes_back_equal():
    """All signals with their readings."""
    assert load_catalogue(dump_catalogue(default_catalogue())) == default_catalogue()


@pytest.mark.parametrize(
    "text",
    ["{}", "nonsense", '{"captures": 1}',
     json.dumps({"rules": 1, "captures": [], "facts": {}, "fresh_us": {},
                 "derivations": [{"kind": "os:system", "given": {}}]}),
     json.dumps({"rules": 1, "captures": [], "facts": {}, "fresh_us": {},
                 "derivations": [{"kind": "coach.recording:Mark", "given": {"t_us": 0, "kind": "arm"}}]}),
     json.dumps({"rules": 1, "captures": [], "facts": {}, "fresh_us": {},
                 "derivations": [{"kind": "coach.nothing:X", "given": {}}]})],
)  # fmt: skip
def test_a_plan_that_cannot_be_read_is_refused(text):
    """A database is a person's file: nothing in it can name other code."""
    with pytest.raises(StoreError, match="cannot be read by this version"):
        load_plan(text)


def test_a_catalogue_that_cannot_be_read_is_refused():
    """One sentence."""
    for text in ("{}", "nonsense", '[{"name": 1}]'):
        with pytest.raises(StoreError, match="cannot be read by this version"):
            load_catalogue(text)


def test_a_derivation_that_cannot_be_stored_is_refused():
    """Only dataclasses can be written down."""
    odd = type("Odd", (), {"name": "gear"})()
    with pytest.raises(StoreError, match="no dataclass"):
        dump_plan(JudgePlan((), derivations=(odd,)))
