"""What other programs may use: the same answers as the command, plain data, one kind of error."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import jsonschema_rs
import pytest
from click.testing import CliRunner

import coach
from coach.cli import main
from coach.errors import CoachError

ROOT = Path(__file__).parents[2]
TRACES = ROOT / "replay_traces"
RECIPE, VEHICLE = TRACES / "demo-recipe.toml", TRACES / "demo-vehicle.toml"


def typed(*words):
    """What the command prints as JSON."""
    result = CliRunner().invoke(main, [str(w) for w in words], prog_name="coach")
    return json.loads(result.stdout)


@pytest.mark.parametrize("name", sorted(p.stem for p in TRACES.glob("*.csv")))
def test_judging_says_what_the_command_says(name):
    """Files in, the command's own JSON out; it fits the schema that is published."""
    drive = TRACES / f"{name}.csv"
    made = coach.judge(drive, RECIPE, VEHICLE)
    assert made == typed("judge", drive, "--recipe", RECIPE, "--vehicle", VEHICLE, "--json")
    jsonschema_rs.validate(coach.schemas()["verdict"], made)


def test_objects_do_as_well_as_files():
    """Loaded once, used often."""
    car = coach.load_vehicle(VEHICLE)
    asked, drive = coach.load_recipe(RECIPE, car), coach.read_drive(TRACES / "early-lift.csv", car)
    assert coach.judge(drive, asked, car) == coach.judge(TRACES / "early-lift.csv", RECIPE, VEHICLE)
    assert coach.parse_recipe(RECIPE.read_bytes(), car).captures == asked.captures


def test_checking_says_what_the_command_says():
    """With and without a car."""
    assert coach.check_recipe(RECIPE) == typed("recipe", "check", RECIPE, "--json")["findings"]
    assert {f["code"] for f in coach.check_recipe(RECIPE, VEHICLE)} <= {
        f["code"] for f in typed("recipe", "check", RECIPE, "--vehicle", VEHICLE, "--json")["findings"]
    }


def test_proving_and_comparing():
    """What the desk does, as functions."""
    made = coach.prove(RECIPE, TRACES / "cold-engine.csv", VEHICLE)
    assert made["less"]["part-load"][0]["key"] == "keep.coolant_temp.min"
    text = RECIPE.read_text("utf-8")
    assert coach.changes(RECIPE, RECIPE) == []
    (change,) = coach.changes(
        coach.parse_recipe(text), coach.parse_recipe(text.replace("revision = 2", "revision = 3"))
    )
    assert change["key"] == "revision"


def test_every_schema_is_one(tmp_path):
    """JSON Schema 2020-12 as an independent validator takes it, and the bundled files fit theirs."""
    import tomllib

    schemas = coach.schemas()
    assert set(schemas) == {"recipe", "vehicle", "bundle", "verdict"}
    for schema in schemas.values():
        jsonschema_rs.meta.validate(schema)
    jsonschema_rs.validate(schemas["recipe"], tomllib.loads(RECIPE.read_text("utf-8")))
    jsonschema_rs.validate(schemas["vehicle"], tomllib.loads(VEHICLE.read_text("utf-8")))
    with pytest.raises(jsonschema_rs.ValidationError):
        jsonschema_rs.validate(schemas["recipe"], {"format": 1, "title": "t", "capture": [{"id": "X"}]})


@pytest.mark.parametrize(
    "call",
    [
        lambda p: coach.load_recipe(p / "none.toml"),
        lambda p: coach.load_vehicle(p / "none.toml"),
        lambda p: coach.read_drive(p / "none.csv"),
        lambda p: coach.read_drive(p / "none.parquet"),
        lambda p: coach.open_bundle(p / "none.zip"),
        lambda p: coach.check_bundle(p / "none.zip"),
        lambda p: coach.parse_recipe("format = 2"),
    ],
)
def test_what_a_person_can_cause_is_one_kind_of_error(call, tmp_path):
    """One sentence, no traceback of another kind."""
    with pytest.raises(CoachError) as error:
        call(tmp_path)
    assert error.value.message


def test_importing_is_light():
    """Nothing but the package itself is loaded until a function is asked for; an unknown name says so."""
    code = "import sys, coach; print([m for m in sys.modules if m.startswith('coach.') or m in ('numpy', 'pandas')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    with pytest.raises(AttributeError, match="no attribute 'judgement'"):
        _ = coach.judgement
    assert set(coach.__all__) <= set(dir(coach))


def test_the_examples_run(monkeypatch, capsys):
    """Every example of the reference runs as it stands, from the project's own folder."""
    monkeypatch.chdir(ROOT)
    text = (ROOT / "docs/reference/python-api.md").read_text("utf-8")
    examples = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert len(examples) == 2
    for example in examples:
        exec(compile(example, "python-api.md", "exec"), {})
    said = capsys.readouterr().out.splitlines()
    assert said == [
        "part-load 1 of 1", "roll-on 2 of 2", "settled-idle 1 of 1",
        "Met with coolant down to 30 °C; 80 °C are asked for.",
    ]  # fmt: skip


def test_the_reference_names_every_function():
    """And no other."""
    text = (ROOT / "docs/reference/python-api.md").read_text("utf-8")
    rows = "\n".join(line for line in text.splitlines() if line.startswith("| `"))
    assert set(re.findall(r"`(\w+)\(", rows)) == set(coach.__all__)
