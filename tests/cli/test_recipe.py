"""`coach recipe`, as typed."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.desk.share import unpack
from coach.desk.signing import signature_of
from tests.review.driving import TEXT


@pytest.fixture
def request_file(tmp_path):
    path = tmp_path / "request.toml"
    path.write_text(TEXT, "utf-8")
    return path


def coach(*words):
    return CliRunner().invoke(main, [str(w) for w in words], prog_name="coach")


def test_good_recipe(request_file):
    result = coach("recipe", "check", request_file, "--require")
    assert result.exit_code == 0
    assert "error" not in result.stdout.replace("0 errors", "")


def test_findings_with_line_and_place(request_file):
    """Errors are printed; the exit status is the check's own unless --require is given."""
    request_file.write_text(TEXT.replace('hold = "60 s"', 'hold = "0.5 s"'), "utf-8")
    result = coach("recipe", "check", request_file)
    assert result.exit_code == 0
    assert "error: line " in result.stdout
    assert 'capture "part-load"' in result.stdout
    assert coach("recipe", "check", request_file, "--require").exit_code == 1


def test_findings_as_json(request_file):
    request_file.write_text(TEXT.replace('hold = "60 s"', 'hold = "0.5 s"'), "utf-8")
    result = coach("recipe", "check", request_file, "--json")
    found = json.loads(result.stdout)
    assert found["recipe"]["revision"] == 2
    assert found["errors"] == len([f for f in found["findings"] if f["level"] == "error"]) > 0


def test_recipe_that_does_not_load_prints_all_findings_and_ends_with_2(request_file):
    request_file.write_text(TEXT.replace("grace", "gracee").replace('"2200 rpm"', '"2200 km/h"'), "utf-8")
    result = coach("recipe", "check", request_file)
    assert result.exit_code == 2
    assert result.stdout.count("error: ") == 2
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("coach: request.toml, line ")
    as_json = coach("recipe", "check", request_file, "--json")
    assert as_json.exit_code == 2
    assert json.loads(as_json.stdout)["recipe"] is None


def test_no_recipe_at_all(request_file):
    request_file.write_text("not = [toml", "utf-8")
    result = coach("recipe", "check", request_file)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("coach: request.toml")


def test_check_with_a_vehicle(request_file, tmp_path):
    """What this car cannot show is found before anyone drives."""
    request_file.write_text(TEXT.replace('coolant_temp = { min = "80 degC" }', "gear = 5", 1), "utf-8")
    car = tmp_path / "car.toml"
    car.write_text('label = "x"\n', "utf-8")
    result = coach("recipe", "check", request_file, "--vehicle", car)
    assert "gear" in result.stdout
    assert "ratios" in result.stdout
    assert coach("recipe", "check", request_file, "--vehicle", tmp_path / "none.toml").exit_code == 2


def test_schema_is_a_json_schema():
    result = coach("recipe", "schema")
    schema = json.loads(result.stdout)
    assert result.exit_code == 0
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert "capture" in schema["properties"]


def test_what_changed_is_told(request_file, tmp_path):
    """A sentence a change; 1 with --require; the same recipe says so."""
    other = tmp_path / "third.toml"
    other.write_text(TEXT.replace('hold = "60 s"', 'hold = "90 s"').replace("revision = 2", "revision = 3"), "utf-8")
    result = coach("recipe", "diff", request_file, other, "--require")
    assert (result.exit_code, result.stdout) == (
        1, "Revision from 2 to 3.\nHold in Steady part load from 1 minute to 90 seconds.\n",
    )  # fmt: skip
    assert coach("recipe", "diff", request_file, request_file, "--require").stdout == "They ask for the same.\n"
    assert [c["key"] for c in json.loads(coach("recipe", "diff", request_file, other, "--json").stdout)["changes"]] == [
        "revision", "hold",
    ]  # fmt: skip


def test_a_recipe_is_proved_on_an_earlier_drive(request_file, tmp_path):
    """The verdict, and what little less would have done."""
    table = tmp_path / "drive.csv"
    rows = [f"{t},{80 if t < 50 else 95},90,1500" for t in range(80)]
    table.write_text(
        "time [s],road_speed [km/h],coolant_temp [degC],engine_speed [rpm]\n" + "\n".join(rows) + "\n", "utf-8"
    )
    result = coach("recipe", "prove", request_file, table, "--require")
    assert result.exit_code == 1
    assert "Steady part load: any one of these changes would have done." in result.stdout
    assert "Met with a hold of 49 seconds; 1 minute are asked for." in result.stdout
    made = json.loads(coach("recipe", "prove", request_file, table, "--json").stdout)
    assert made["less"]["part-load"][0]["key"] in ("hold", "keep.road_speed.max")


def test_a_recipe_is_signed_in_place(request_file, tmp_path):
    """The same recipe with one more line; the key is made in the data folder."""
    result = coach("recipe", "sign", request_file, "--data", tmp_path / "data")
    assert result.exit_code == 0, result.output
    assert "signed with the key" in result.stdout
    assert request_file.read_text("utf-8").startswith(TEXT)
    assert signature_of(request_file.read_bytes()).good


def test_a_link_carries_the_recipe(request_file, tmp_path):
    """Behind the #, byte for byte; as a code too."""
    result = coach("recipe", "link", request_file, "--svg", tmp_path / "code.svg")
    assert result.exit_code == 0, result.output
    assert unpack(result.stdout) == request_file.read_bytes()
    assert (tmp_path / "code.svg").read_text("utf-8").startswith("<?xml")
