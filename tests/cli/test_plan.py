"""`coach plan`, `coach vehicle`, `coach spans` and `coach recipe check --vehicle`: output, statuses, one sentence."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.vehicle import load_vehicle, vehicle_schema
from tests.recipe.making import EXAMPLE

TRACES = Path(__file__).parents[2] / "replay_traces"
RECIPE, CAR = TRACES / "demo-recipe.toml", TRACES / "demo-vehicle.toml"
DRIVE = TRACES / "everything-qualifies.csv"


def run(*words, status=0):
    """Runs the command; the result, held to its exit status."""
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == status, result.output
    return result


def test_plan_of_the_bundled_recipe():
    """The table, and as JSON the same figures; an earlier drive's pulls take the place of the curve."""
    assert "2200 to 4600 rpm in third: 53 km/h to 111 km/h" in run("plan", RECIPE, "--vehicle", CAR).stdout
    by_curve = json.loads(run("plan", RECIPE, "--vehicle", CAR, "--json").stdout)
    by_pulls = json.loads(run("plan", RECIPE, "--vehicle", CAR, "--drive", DRIVE, "--json").stdout)
    hows = [made["captures"][1]["gears"][0]["how"] for made in (by_curve, by_pulls)]
    assert hows == ["full load", "earlier pulls"]
    assert json.loads(run("plan", RECIPE, "--drive", DRIVE, "--json").stdout)["vehicle"] is None


def test_plan_writes_the_plot(tmp_path):
    """Whole or not at all, for its owner alone; a folder that is not there is a sentence."""
    out = tmp_path / "speeds.svg"
    run("plan", RECIPE, "--vehicle", CAR, "--svg", out)
    assert out.read_text().startswith("<svg")
    assert [p.name for p in tmp_path.iterdir()] == ["speeds.svg"]
    if os.name == "posix":
        assert out.stat().st_mode & 0o077 == 0
    told = run("plan", RECIPE, "--svg", tmp_path / "none" / "x.svg", status=2)
    assert "cannot be written" in told.stderr


def test_plan_with_a_link():
    """Rates and the cheapest change; with --require an error is a status of 1."""
    slow = ["--round-trip", "250 ms"]
    told = run("plan", RECIPE, "--vehicle", CAR, *slow).stdout
    assert "Rates (measured: 1 a request, 250 ms alone" in told
    assert "Smallest change that would do" in told
    run("plan", RECIPE, "--vehicle", CAR, *slow, "--require", status=1)
    fast = ["--round-trip", "40 ms", "--batch", "6", "--batch-round-trip", "55 ms"]
    made = json.loads(run("plan", RECIPE, "--vehicle", CAR, *fast, "--json", "--require").stdout)
    assert made["rates"]["feasible"]
    assert made["rates"]["batch"] == 6


def test_stated_bound_and_deceleration():
    """Both stand in the plan as they were given."""
    told = run("plan", RECIPE, "--vehicle", CAR, "--bound", "70 mph", "--stop", "4", "--units", "imperial").stdout
    assert "a closed course above 70 mph" in told
    assert "stopping at 4 m/s²" in told
    assert "it implies more than" not in told


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--batch", "6"], "without a measured round trip nothing is said about rates"),
        (["--round-trip", "0 ms"], "a round trip takes 1 ms to 10 s"),
        (["--round-trip", "40 ms", "--batch-round-trip", "20 ms"], "a full request no less than one signal"),
        (["--round-trip", "40 km"], "is a distance where a time was asked for"),
        (["--bound", "fast"], "is not one number and one unit"),
        (["--vehicle", "none.toml"], "the vehicle file cannot be read"),
        (["--drive", "none.csv"], "none.csv"),
    ],
)
def test_plan_refuses_in_one_sentence(words, sentence):
    """Status 2, one line on stderr, nothing on stdout."""
    told = run("plan", RECIPE, *words, status=2)
    assert sentence in told.stderr
    assert told.stderr.count("\n") == 1
    assert told.stdout == ""


def test_recipe_check_with_a_vehicle(tmp_path):
    """What does not suit the car is found, with what to change under it; in JSON too."""
    car = tmp_path / "car.toml"
    car.write_text('transmission = "CVT"\ninduction = "naturally aspirated"\n')
    recipe = tmp_path / "request.toml"
    recipe.write_text(EXAMPLE)
    told = run("recipe", "check", recipe, "--vehicle", car, "--require", status=1).stdout
    assert (
        'capture "roll-on", keep.gear: a continuously variable transmission has no gears\n  Ask for speed_ratio' in told
    )
    made = json.loads(run("recipe", "check", recipe, "--vehicle", car, "--json").stdout)
    assert {f["code"] for f in made["findings"]} >= {"no_gears", "no_boost"}
    assert all(f["change"] for f in made["findings"])
    assert run("recipe", "check", RECIPE, "--vehicle", CAR).stdout == "Nothing to object to.\n"


def test_learn_and_write(tmp_path):
    """Clusters without numbers ask for them; with numbers the file is written, and the next look agrees with it."""
    told = run("vehicle", "learn", DRIVE).stdout
    assert "no number" in told
    assert "--gears 1,2,3" in told
    out = tmp_path / "car.toml"
    told = run("vehicle", "learn", DRIVE, "--gears", "3,4,5", "--write", out).stdout
    assert f"Written: {out}" in told
    assert load_vehicle(out).ratios == pytest.approx({3: 41.5, 4: 31.0, 5: 24.9}, rel=0.01)
    again = run("vehicle", "learn", DRIVE, "--vehicle", out, "--write", out).stdout
    assert "There is nothing to write" in again
    assert "3, file" in again
    made = json.loads(run("vehicle", "learn", DRIVE, DRIVE, "--vehicle", CAR, "--json").stdout)
    assert [g["number"] for g in made["gears"]] == [2, 3, 4, 5]  # twice the time in second is enough
    assert made["conflicts"] == []
    assert made["drives"] == 2


def test_learn_names_conflicts(tmp_path):
    """A wrong tyre is one sentence, not three gears; a CVT has none to learn."""
    car = tmp_path / "car.toml"
    car.write_text("rpm_per_kmh = { 3 = 39.2, 4 = 29.25, 5 = 23.5 }\n")
    told = run("vehicle", "learn", DRIVE, "--vehicle", car).stdout
    assert "Every gear is +5.9 % off the file's ratio: the tyre" in told
    made = json.loads(run("vehicle", "learn", DRIVE, "--vehicle", car, "--json").stdout)
    assert made["conflicts"][0]["text"].startswith("Every gear is +")
    small = tmp_path / "drive.csv"
    small.write_text("time,engine_speed,road_speed\n0,800,0\n1,800,0\n")
    assert "No gear stood out" in run("vehicle", "learn", small).stdout
    car.write_text('transmission = "CVT"\n')
    assert "has no gears" in run("vehicle", "learn", small, "--vehicle", car).stdout
    assert "is not a list of gear numbers" in run("vehicle", "learn", DRIVE, "--gears", "a,b", status=2).stderr
    assert (
        "3 clusters were found, and the gears of 1 were given"
        in run("vehicle", "learn", DRIVE, "--gears", "1", status=2).stderr
    )


def test_show_and_schema(tmp_path):
    """What is known, what is not and what follows from it; the schema is that of the code."""
    told = run("vehicle", "show", CAR).stdout
    assert "41.50 rpm per km/h, 24.1 km/h at 1000 rpm" in told
    assert "no dial: the driver is told the car's own speed" in told
    empty = tmp_path / "car.toml"
    empty.write_text("")
    made = json.loads(run("vehicle", "show", empty, "--json").stdout)
    assert made["known"] == {}
    assert len(made["missing"]) == 15
    assert all(len(one["text"]) > 20 for one in made["missing"])
    assert json.loads(run("vehicle", "schema").stdout) == vehicle_schema()


def test_spans():
    """Both pulls of the bundled drive with what is left open; no span, no speed and ends upside down are sentences."""
    told = run("spans", DRIVE, "--from", "60 km/h", "--to", "100 km/h").stdout
    assert "Gradient and wind are not known" in told
    made = json.loads(run("spans", DRIVE, "--from", "60 km/h", "--to", "100 km/h", "--json").stdout)
    assert len(made["spans"]) == 2
    assert all(0 < s["seconds_pm"] < s["seconds"] for s in made["spans"])
    assert "never rises" in run("spans", DRIVE, "--from", "200 km/h", "--to", "210 km/h").stdout
    assert "the lower one first" in run("spans", DRIVE, "--from", "90 km/h", "--to", "60 km/h", status=2).stderr


def test_spans_need_a_speed(tmp_path):
    """A drive without road speed has none."""
    small = tmp_path / "drive.csv"
    small.write_text("time,engine_speed\n0,800\n1,900\n")
    assert "no road speed" in run("spans", small, "--from", "60 km/h", "--to", "90 km/h", status=2).stderr
