"""A sentence stays one: whatever stands in a file, what is said of it is bounded, and both ends of a place are kept."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import LONGEST_WHERE, BadInput, CoachError, short
from coach.recipe import parse_recipe
from coach.sources.columns import parse_columns
from coach.vehicle import parse_vehicle

LONG = "k" * 5_000


def recipe(**more):
    capture = {"id": "a", "title": "x", "hold": "3 s", "keep": {"road_speed": {"max": "80 km/h"}}} | more
    return json.dumps({"format": 1, "title": "t", "capture": [capture]})


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (parse_recipe, json.dumps({LONG: 1})), (parse_recipe, recipe(**{LONG: 1})),
        (parse_recipe, recipe(keep={LONG: {"max": "80 km/h"}})), (parse_recipe, recipe(record={LONG: "1 Hz"})),
        (parse_recipe, recipe(sweep={LONG: {"from": "1 rpm", "to": "2 rpm"}})),
        (parse_vehicle, f"{LONG} = 1"), (parse_vehicle, f"[tyre]\n{LONG} = 1"),
        (parse_vehicle, f"[rpm_per_kmh]\n{LONG} = 1"), (parse_vehicle, f"[signals.{LONG}]\nx = 1"),
        (parse_columns, f"format = 1\n{LONG} = 1".encode()),
        (parse_columns, f"format = 1\n[columns.{LONG}]\n{LONG} = 1".encode()),
    ],
    ids=lambda value: value.__name__ if callable(value) else str(value)[:16],
)  # fmt: skip
def test_a_key_of_any_length_gives_a_short_sentence(read, text):
    """For a person, and for each finding that the page lists."""
    with pytest.raises(BadInput) as caught:
        read(text)
    assert len(str(caught.value)) < 1_200
    assert all(len(f.where) < 200 for f in getattr(caught.value, "findings", ()))


@given(st.text(min_size=1, max_size=700))
def test_a_place_keeps_both_its_ends(text):
    """The file's name stands in front, the line behind."""
    where = CoachError("no", where=text).where
    assert len(where) <= LONGEST_WHERE
    assert (where == text) == (len(text) <= LONGEST_WHERE)
    assert text.startswith(where.partition("…")[0] if len(text) > LONGEST_WHERE else text)
    assert text.endswith(where[-100:])


def test_no_place_is_no_place():
    assert CoachError("no").where is None
    assert short("abcdef", 4) == "ab…f"
