"""A recipe that is wrong: each fault is said with its place, all of them at once, and nothing worse happens."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput, RecipeError
from coach.recipe import Recipe, RecipeErrors, examine, load_recipe, parse_recipe
from coach.recipe.shape import MAX_BYTES
from tests.recipe.making import EXAMPLE, RECORD, codes, found, hold, sweep


@pytest.mark.parametrize(
    ("source", "sentence"),
    [
        (b"", "the recipe is empty"),
        (b"  \n", "the recipe is empty"),
        (b"\xff\xfe", "not UTF-8 text"),
        (b"format = ", "not TOML: "),
        (b"[[capture]\n", "not TOML: "),
        (b'{"format": 1', "not JSON: "),
        (b'{"format": NaN}', "NaN is not a number"),
        (b'{"format": 1, "format": 1}', "'format' stands twice"),
        (b'{"format": ' + b"9" * 5000 + b"}", "cannot be read"),
        (b"format = " + b"9" * 5000, "not TOML: a number has too many digits"),
        (b"a = " + b"[" * 5000, "nested too deeply"),
        (b'{"a": ' + b"[" * 5000, "nested too deeply"),
        (b'{"a": ' * 400 + b"1" + b"}" * 400, "nested too deeply"),
        (b"a." * 2000 + b"a = 1", "nested too deeply"),
        (b"#" * (MAX_BYTES + 1), "at most 256000 are read"),
        (b"a = 1\na = 2", "not TOML: "),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_what_is_neither_toml_nor_json_is_refused(source, sentence):
    """One sentence, with the file's name; no traceback, however hostile the bytes."""
    with pytest.raises(RecipeError, match=r"bad\.toml: ") as caught:
        parse_recipe(source, name="bad.toml")
    assert sentence in caught.value.message
    assert len(caught.value.message) < 300


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    """Missing, a folder, too large: the path and what is wrong."""
    with pytest.raises(RecipeError, match="no such file"):
        load_recipe(tmp_path / "missing.toml")
    with pytest.raises(RecipeError, match="is a folder"):
        load_recipe(tmp_path)
    with pytest.raises(RecipeError, match="cannot be read"):
        load_recipe("nul\0byte.toml")
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (MAX_BYTES + 10))
    with pytest.raises(RecipeError, match="at most 256000"):
        load_recipe(large)


BAD = """\
format = 1
titel = "x"
title = "t"
[record]
engin_speed = "8 Hz"
road_speed = { rate = "fast", gaps = "1 s" }
pedal = { gap = "1 s" }
[[capture]]
id = "Part load"
hold = "3 min"
sped = 3
[capture.keep]
road_speed = { min = "72 kPa", maximum = "88 km/h" }
boost = { max = "3 bar" }
[[capture]]
id = "b"
hold = "1 s"
grace = "1,5 s"
times = "2"
sweep = 3
[capture.limit]
gauge_boost = { max = "95 kPa", scope = "always" }
[capture.keep]
pedal = 50
coolant_temp = { min = "40 degC", max = "30 degC" }
[[capture]]
id = "c"
hold = "1 s"
keep = { coolant_temp = { min = "40 degC", max = "30 degC" } }
"""


def test_every_fault_is_found_in_one_look_with_its_line():
    """Shapes, unknown keys, units, signals and the check's own findings, each on its line, in the file's order."""
    recipe, findings = examine(BAD)
    assert recipe is None
    assert [(f.line, f.where, f.code) for f in findings] == [
        (2, "titel", "unknown_key"),
        (5, "record.engin_speed", "unknown_signal"),
        (6, "record.road_speed.gaps", "unknown_key"),
        (6, "record.road_speed.rate", "bad_unit"),
        (7, "record.pedal.rate", "missing_key"),
        (9, 'capture "Part load", id', "bad_value"),
        (11, 'capture "Part load", sped', "unknown_key"),
        (13, 'capture "Part load", keep.road_speed.maximum', "unknown_key"),
        (13, 'capture "Part load", keep.road_speed.min', "bad_unit"),
        (14, 'capture "Part load", keep.boost', "unknown_signal"),
        (18, 'capture "b", grace', "bad_unit"),
        (19, 'capture "b", times', "bad_value"),
        (20, 'capture "b", sweep', "bad_value"),
        (22, 'capture "b", limit.gauge_boost.scope', "bad_value"),
        (24, 'capture "b", keep.pedal.min', "bad_unit"),
        (29, 'capture "c", keep.coolant_temp', "band_upside_down"),
    ]
    assert all(f.level == "error" for f in findings)


def test_the_error_is_one_sentence_and_carries_the_rest():
    """Loading raises the first fault as its own sentence and keeps all of them."""
    with pytest.raises(RecipeErrors) as caught:
        parse_recipe(BAD, name="bad.toml")
    assert str(caught.value).startswith('bad.toml, line 2, titel: unknown key "titel"; did you mean title?')
    assert str(caught.value).endswith("(14 more)")
    assert len(caught.value.findings) == 15
    assert isinstance(caught.value, BadInput)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            EXAMPLE.replace("title =", "titles =", 1),
            'unknown key "titles"; did you mean title?; allowed here: format, title',
        ),
        (hold("graze = 1"), 'unknown key "graze"; did you mean grace?; allowed here: id, title, ask, place'),
        (
            hold(keep='road_speed = { mim = "1 km/h" }'),
            'unknown key "mim"; did you mean min?; allowed here: min, max, wander',
        ),
        (
            hold(keep='gear = 5\n[capture.limit]\nroad_speed = { max = "9 km/h", from = 1 }'),
            "allowed here: min, max, scope, after, for",
        ),
        (
            hold(keep='gear = 5\n[capture.record]\nroad_speed = { rate = "9 Hz", from = 1 }'),
            "allowed here: rate, gap, least, need",
        ),
        (
            EXAMPLE.replace("dip =", "dipp ="),
            'unknown key "dipp"; did you mean dip?; allowed here: from, to, dip, within, late',
        ),
        (EXAMPLE.replace("format = 1", "format = 2"), "must be 1"),
        (EXAMPLE.replace("format = 1", ""), '"format" is missing'),
        (EXAMPLE.replace('place = "road"', 'place = "street"'), 'must be "road", "closed course" or "parked"'),
        (EXAMPLE.replace("revision = 2", "revision = 0"), "must be at least 1"),
        (EXAMPLE.replace("revision = 2", "revision = true"), "must be a whole number"),
        (EXAMPLE.replace("revision = 2", "revision = 2.5"), "must be a whole number"),
        (EXAMPLE.replace("times  = 2", "times = 101"), "must be at most 100"),
        (EXAMPLE.replace("times  = 2", "times = [2]"), "must be a whole number"),
        (EXAMPLE.replace('id    = "part-load"', ""), '"id" is missing'),
        (EXAMPLE.replace('"part-load"', '"../x"'), "must be 1 to 40 lower-case letters, digits and hyphens"),
        (EXAMPLE.replace('"part-load"', "7"), "must be a text in quotes"),
        (EXAMPLE.replace('note = "Fill', f'note = "{"x" * 4001}Fill'), "must have at most 4000 characters"),
        (RECORD, '"capture" is missing'),
        (RECORD.replace("[record]", "capture = []\n[record]"), "must have at least 1 entry"),
        (RECORD.replace("[record]", "capture = 3\n[record]"), "must be a list"),
        (RECORD.replace("[record]", "capture = [3]\n[record]"), "must be a table"),
        (
            RECORD + "".join(f'[[capture]]\nid = "a{i}"\nhold = "1 s"\n' for i in range(101)),
            "must have at most 100 entries",
        ),
        (hold(keep="gear = []"), "must be a text with a number and a unit"),
        (hold(keep="gear = 2026-01-01"), "must be a text with a number and a unit"),
        (hold(keep="gear = true"), "must be a text with a number and a unit"),
        (hold(keep="gear = {}"), "a band needs at least one of min, max and wander"),
        (
            hold(keep='gear = 5\n[capture.limit]\nroad_speed = { min = "1 km/h", max = "2 km/h" }'),
            "a limit needs exactly one of min and max",
        ),
        (
            hold(keep='gear = 5\n[capture.limit]\nroad_speed = { scope = "drive" }'),
            "a limit needs exactly one of min and max",
        ),
        (hold(keep='gear = 5\n[capture.limit]\nroad_speed = "9 km/h"'), "must be a table"),
        (hold(keep='road_speed = { min = "1 km/h", wander = "-1 km/h" }'), "is negative"),
        (hold("needs = [1]"), "must be a text in quotes"),
        (hold("stale_after = { speed = '1 s' }"), 'there is no signal "speed"; did you mean road_speed?'),
        (hold(keep='RPM = "800 rpm"'), 'there is no signal "RPM"; did you mean engine_speed?'),
        (hold(keep='boost = "8 psi"'), "did you mean gauge_boost?"),
        (hold(keep='zzz = "8 psi"'), 'there is no signal "zzz"'),
        (hold() + '[capture.limit]\nspeeed = { max = "9 km/h" }\n', 'there is no signal "speeed"'),
        (hold() + '[capture.limit]\nroad_speed = { max = "9 kPa" }\n', "is a pressure where a speed was asked for"),
        (sweep(signal="engin_speed"), 'there is no signal "engin_speed"; did you mean engine_speed?'),
        (sweep('from = "1 km/h", to = "2 rpm"'), "is a speed where an engine speed was asked for"),
        (hold('stale_after = { road_speed = "1" }'), '"1" has no unit: write "1 s"'),
        (hold("stale_after = [1]"), "must be a table"),
        (hold().replace("[capture.keep]", "[capture.sweep]"), "unknown key"),
        (hold("sweep = {}"), "a sweep runs exactly one signal; here are 0"),
        (hold("sweep = { engine_speed = { from = '1 rpm' } }"), '"to" is missing'),
        (
            RECORD.replace('"4 Hz"', '{ rate = "4 Hz", least = "0 %" }') + hold()[len(RECORD) :],
            "least is a share above 0 % and up to 100 %",
        ),
        (RECORD.replace('"4 Hz"', '{ rate = "4 Hz", gap = "0 s" }') + hold()[len(RECORD) :], "a gap of no length"),
        (hold("hold = 3").replace('hold = "60 s"\n', ""), '"3" has no unit: write "3 s"'),
    ],
)
def test_a_fault_is_one_sentence(text, sentence):
    """What is wrong and what would be right, for each way to get it wrong."""
    assert any(sentence in f.message for f in found(text)), found(text)
    with pytest.raises(RecipeErrors):
        parse_recipe(text)


def test_faults_in_json_have_their_path():
    """JSON has no lines worth naming, but every fault says where it is."""
    keep = {"gear": None, "road_speed": {"min": [1]}}
    data = {
        "format": 1,
        "title": "t",
        "record": {"pedal": "1 Hz"},
        "capture": [{"id": "a", "hold": "1 s", "keep": keep}],
    }
    findings = found(json.dumps(data))
    assert {f.where for f in findings} == {'capture "a", keep.road_speed.min', 'capture "a", keep.gear'}
    assert all(f.line is None for f in findings)


def test_a_finding_is_json_able():
    """What an API hands out."""
    finding = found(BAD)[0]
    assert json.loads(json.dumps(finding.as_dict())) == {
        "level": "error",
        "code": "unknown_key",
        "message": finding.message,
        "where": "titel",
        "line": 2,
        "change": "Correct the key, or leave it out.",
    }
    assert str(finding).startswith("line 2, titel: unknown key")


values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["72 km/h", "3 min", "8 Hz", "road", "a", "9**9**9 km/h", "1:30 min"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["min", "max", "wander", "rate", "gap", "need", "from", "to", "dip", "for", "x", "road_speed", "gear"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)
capture_keys = st.sampled_from(
    [
        "id",
        "hold",
        "collect",
        "sweep",
        "start",
        "keep",
        "limit",
        "grace",
        "record",
        "needs",
        "times",
        "stale_after",
        "cells",
        "confirm",
        "place",
        "extra",
    ]
)


@given(
    st.dictionaries(
        st.sampled_from(["format", "title", "revision", "record", "calibration", "settle", "x"]), values, max_size=5
    ),
    st.lists(st.dictionaries(capture_keys, values, max_size=5) | values, max_size=3),
    st.booleans(),
)
def test_any_structure_is_a_recipe_or_a_list_of_faults(head, captures, complete):
    """Whatever the shape, every fault is an error with a sentence, and nothing else is raised."""
    data = {**({"format": 1, "title": "t"} if complete else {}), **head, "capture": captures}
    text = json.dumps(data, allow_nan=True)
    no_numbers = []  # outside of texts
    json.loads(text, parse_constant=no_numbers.append)
    if no_numbers:
        with pytest.raises(RecipeError, match="cannot be read"):
            examine(text)
        return
    recipe, findings = examine(text)
    assert recipe is not None or findings
    assert all(f.message and len(f.message) < 500 for f in findings)
    assert isinstance(recipe, Recipe | None)


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode(errors="replace")))
def test_any_bytes_are_refused_in_a_sentence(data):
    """No bytes raise anything but a RecipeError."""
    with pytest.raises(RecipeError):
        parse_recipe(data)


def test_what_is_found_beside_a_spoilt_capture_is_not_made_up():
    """A capture that does not load is not blamed for what only its missing parts would show."""
    text = hold(keep='road_speed = { min = "72 kPa" }').replace("[record]", '[record]\nfoo = "1 Hz"')
    assert codes(text) == ["unknown_signal", "bad_unit"]
