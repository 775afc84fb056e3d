"""Editing the text: what is edited changes, everything else stays as it was written."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.desk.editing import MOST_EDITS, Edit, edited
from coach.desk.starting import KINDS, new_recipe
from coach.errors import BadInput
from coach.recipe import parse_recipe

TEXT = """\
# For the grey one.
format = 1
title = "Second revision" # said on the phone
[record]
road_speed   = "4 Hz"   # whole km/h
coolant_temp = "0.5 Hz"

[[capture]]
id    = "part-load" # in fifth
hold  = "3 min"
[capture.keep]
road_speed   = { min = "72 km/h", max = "88 km/h" } # as on the ring road
coolant_temp = { min = "80 degC" }

# The engine must be warm here.
[[capture]]
id   = "idle"
hold = "90 s"
[capture.keep]
road_speed = { max = "0 km/h" }
"""
COMMENTS = ["# For the grey one.", "# said on the phone", "# whole km/h", "# in fifth", "# as on the ring road"]


def keep(place: int, *more: str):
    return ("capture", place, "keep", *more)


def test_a_value_is_set_and_nothing_else_moves():
    """One line differs, by that value."""
    text = edited(TEXT, [Edit("set", keep(0, "road_speed", "max"), "90 km/h")])
    assert text == TEXT.replace('max = "88 km/h"', 'max = "90 km/h"')
    assert edited(TEXT, [Edit("set", ("title",), "Third")]) == TEXT.replace('"Second revision"', '"Third"')


def test_a_new_key_stands_in_its_table():
    """A limit is a table of one line, a key of a capture a line."""
    text = edited(TEXT, [
        Edit("set", ("capture", 0, "limit", "coolant_temp", "max"), "108 degC"),
        Edit("set", ("capture", 0, "grace"), "1 s"),
        Edit("set", keep(0, "engine_speed", "wander"), "150 rpm"),
        Edit("set", ("record", "engine_speed"), "8 Hz"),
    ])  # fmt: skip
    capture = tomllib.loads(text)["capture"][0]
    assert capture["limit"] == {"coolant_temp": {"max": "108 degC"}}
    assert capture["grace"] == "1 s"
    assert 'engine_speed = {wander = "150 rpm"}' in text.replace("{ ", "{").replace(" }", "}")
    assert parse_recipe(text).captures[0].limits[0].high == 108
    assert all(comment in text for comment in COMMENTS)


def test_keys_and_captures_go():
    """The last capture takes the list with it."""
    text = edited(TEXT, [Edit("remove", keep(0, "coolant_temp")), Edit("remove", ("capture", 1))])
    data = tomllib.loads(text)
    assert [c["id"] for c in data["capture"]] == ["part-load"]
    assert list(data["capture"][0]["keep"]) == ["road_speed"]
    assert "capture" not in tomllib.loads(edited(text, [Edit("remove", ("capture", 0))]))


@pytest.mark.parametrize("kind", KINDS)
def test_a_starting_point_is_added_with_what_it_records(kind):
    """At the end; rates that stand there already stay as they are."""
    text = edited(TEXT, [Edit("add", value=kind), Edit("add", value=kind)])
    data = tomllib.loads(text)
    assert [c["id"] for c in data["capture"]] == [
        "part-load",
        "idle",
        *([f"{kind}-2", f"{kind}-3"] if kind == "idle" else [kind, f"{kind}-2"]),
    ]
    assert data["record"]["road_speed"] == "4 Hz"
    assert all(comment in text for comment in COMMENTS)
    parse_recipe(text)


def test_a_recipe_begins_from_nothing():
    """An empty text and one starting point, and then what every recipe has."""
    text = edited("", [Edit("add", value="idle"), Edit("set", ("format",), 1), Edit("set", ("title",), "First")])
    assert parse_recipe(text).captures[0].id == "idle"


def test_captures_change_places_and_are_copied():
    """What they ask for stays; a copy has an id of its own."""
    assert [c["id"] for c in tomllib.loads(edited(TEXT, [Edit("move", ("capture", 1), 0)]))["capture"]] == [
        "idle",
        "part-load",
    ]
    copied = tomllib.loads(edited(TEXT, [Edit("copy", ("capture", 0))]))["capture"]
    assert [c["id"] for c in copied] == ["part-load", "part-load-2", "idle"]
    assert copied[0] | {"id": ""} == copied[1] | {"id": ""}


@pytest.mark.parametrize(
    ("edit", "sentence"),
    [
        (Edit("set", (), 1), "an edit names a key"),
        (Edit("set", ("a",) * 9, 1), "an edit names a key"),
        (Edit("set", ("capture", 7, "hold"), "1 s"), "there is no such capture"),
        (Edit("set", ("title", "x"), "1 s"), "no value can stand there"),
        (Edit("set", ("title", "x", "y"), "1 s"), "there is nothing below that"),
        (Edit("set", ("title",), {"a": 1}), "a value is a text"),
        (Edit("set", ("title",), None), "a value is a text"),
        (Edit("remove", ("nothing",)), "there is nothing there"),
        (Edit("remove", ("no", "thing")), "there is nothing there"),
        (Edit("remove", ("capture", 9)), "there is nothing there"),
        (Edit("move", ("capture", 0), 9), "there is no such place"),
        (Edit("move", ("capture", 9), 0), "there is no such capture"),
        (Edit("copy", ("title",)), "there is no such capture"),
        (Edit("add", value="nonsense"), "there is no starting point"),
    ],
)
def test_an_edit_that_leads_nowhere_is_a_sentence(edit, sentence):
    """And the text is as it was: there is none."""
    with pytest.raises(BadInput, match=sentence):
        edited(TEXT, [edit])


def test_what_is_no_toml_is_a_sentence():
    """Nor is there any end of edits."""
    with pytest.raises(BadInput, match="this is no TOML"):
        edited("= 1", [Edit("set", ("a",), 1)])
    with pytest.raises(BadInput, match="edits at once"):
        edited(TEXT, [Edit("set", ("title",), "x")] * (MOST_EDITS + 1))


VALUES = st.one_of(
    st.text(max_size=20), st.integers(-9, 9), st.booleans(), st.floats(allow_nan=False, allow_infinity=False)
)
PATHS = st.sampled_from([
    ("title",), ("capture", 0, "hold"), ("capture", 0, "keep", "road_speed", "max"), ("capture", 1, "keep", "x", "min"),
    ("record", "pedal"), ("capture", 1, "limit", "y", "for"),
])  # fmt: skip


@given(st.lists(st.tuples(PATHS, VALUES), max_size=5))
def test_what_was_set_is_read_back(pairs):
    """Whatever text or number: TOML reads it back, and no comment is lost."""
    text = edited(TEXT, [Edit("set", path, value) for path, value in pairs])
    data = tomllib.loads(text)
    for path, value in {path: value for path, value in pairs}.items():  # noqa: C416 - the last one counts
        here = data
        for part in path:
            here = here[part]
        assert here == value
    assert all(comment in text for comment in COMMENTS)


@given(
    st.text(max_size=60),
    st.lists(
        st.tuples(
            st.sampled_from(["set", "remove", "add", "copy", "move"]),
            st.lists(st.one_of(st.text(max_size=5), st.integers(-2, 3)), max_size=5),
            VALUES,
        ),
        max_size=4,
    ),
)
def test_any_edit_of_any_text_is_toml_or_a_sentence(text, edits):
    """Never a traceback."""
    made = [Edit(do, tuple(path), value) for do, path, value in edits]
    for base in (text, TEXT, new_recipe(["cells"])):
        try:
            tomllib.loads(edited(base, made))
        except BadInput:
            continue
        except tomllib.TOMLDecodeError:
            assert base == text, "a good text stays TOML"


@pytest.mark.parametrize("base", [("record",), ("capture", 0, "record")])
def test_a_rate_opens_in_its_place_for_what_else_is_asked_of_it(base):
    """The text becomes a table of one line, with its comment; one text again it is as it was."""
    before = TEXT
    if base != ("record",):
        before = edited(TEXT, [Edit("set", (*base, "road_speed"), "4 Hz"), Edit("set", (*base, "pedal"), "8 Hz")])
    text = edited(before, [
        Edit("set", (*base, "road_speed", "gap"), "2 s"), Edit("set", (*base, "road_speed", "least"), "60 %"),
        Edit("set", (*base, "road_speed", "need"), value=False),
    ])  # fmt: skip
    data = tomllib.loads(text)
    record = data["record"] if base == ("record",) else data["capture"][0]["record"]
    assert record["road_speed"] == {"rate": "4 Hz", "gap": "2 s", "least": "60 %", "need": False}
    assert next(iter(record)) == "road_speed"
    assert all(comment in text for comment in COMMENTS)
    assert edited(text, [Edit("set", (*base, "road_speed"), "4 Hz")]).split() == before.split()


def test_cells_to_leave_out_are_tables_within_one_list():
    """Each on one line, under its key; a recipe again."""
    cells = 'id = "c"\ncollect = "60 s"\n[capture.keep]\ncoolant_temp = { min = "80 degC" }\n[capture.cells]\n'
    cells += 'dwell = "5 s" # each\n[capture.cells.edges]\nroad_speed = ["20 km/h", "40 km/h", "60 km/h"]\n'
    whole = TEXT + "[[capture]]\n" + cells
    out = [{"road_speed": "30 km/h"}]
    text = edited(whole, [Edit("set", ("capture", 2, "cells", "without"), out)])
    assert tomllib.loads(text)["capture"][2]["cells"]["without"] == out
    assert 'without = [{road_speed = "30 km/h"}]' in text
    assert "# each" in text
    parse_recipe(text)
    back = edited(text, [Edit("remove", ("capture", 2, "cells", "without"))])
    assert back.split() == whole.split()


@pytest.mark.parametrize("value", [[{}], [{"a": "1", "b": "2", "c": "3"}], [{"a": {"b": 1}}], [["a"]], {"a": "1"}])
def test_no_other_table_can_be_set(value):
    """A cell is at most two plain values; nothing is changed."""
    with pytest.raises(BadInput, match="a value is"):
        edited(TEXT, [Edit("set", ("capture", 0, "cells"), value)])
