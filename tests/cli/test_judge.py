"""`coach judge`: what it prints, and how it ends."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import main
from tests.review.driving import TEXT

ROOT = Path(__file__).parents[2]
GOOD = "t [s],road_speed [km/h],engine_speed [rpm],coolant_temp [degC]\n" + "".join(
    f"{t},80,1500,90\n" for t in range(100)
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "request.toml").write_text(TEXT, "utf-8")
    (tmp_path / "drive.csv").write_text(GOOD, "utf-8")
    (tmp_path / "car.toml").write_text('label = "x"\n[rpm_per_kmh]\n1 = 118\n2 = 62\n[units]\nspeed = "mph"\n', "utf-8")
    return tmp_path


def coach(*words):
    return CliRunner().invoke(main, [str(w) for w in words], prog_name="coach")


def judge(folder, *more, drive="drive.csv", recipe="request.toml"):
    return coach("judge", folder / drive, "--recipe", folder / recipe, *more)


def test_prints_the_verdict_in_sentences(folder):
    result = judge(folder)
    assert result.exit_code == 0
    assert "+ Steady part load (part-load): qualified 1 of 1" in result.stdout
    assert "1 of 2 captures qualified." in result.stdout
    assert result.stderr == ""


def test_json(folder):
    result = judge(folder, "--json")
    assert result.exit_code == 0
    verdict = json.loads(result.stdout)
    assert [c["qualified"] for c in verdict["captures"]] == [1, 0]
    assert verdict["drive"]["signals"]["road_speed"] == {"count": 100, "rate_hz": 1.0, "max_gap_s": 1.0}


def test_require(folder):
    """1 when not everything qualified, 0 when it did; the verdict is printed all the same."""
    assert judge(folder, "--require").exit_code == 1
    assert judge(folder, "--require", "--json").exit_code == 1
    one = TEXT[: TEXT.index('[[capture]]\nid = "pull"')]
    (folder / "one.toml").write_text(one, "utf-8")
    result = judge(folder, "--require", recipe="one.toml")
    assert result.exit_code == 0
    assert "Everything asked for qualified." in result.stdout


def test_packed_table_and_columns_file(folder):
    with gzip.open(folder / "drive.csv.gz", "wt", encoding="utf-8") as file:
        file.write(GOOD.replace("road_speed", "Wheel speed"))
    (folder / "columns.toml").write_text('format = 1\n[columns]\n"Wheel speed [km/h]" = "road_speed"\n', "utf-8")
    result = judge(folder, "--columns", folder / "columns.toml", drive="drive.csv.gz")
    assert result.exit_code == 0, result.stderr
    assert "qualified 1 of 1" in result.stdout


def test_units_of_the_car_or_of_the_option(folder):
    (folder / "drive.csv").write_text(GOOD.replace("90,80,", "90,96,"), "utf-8")
    fast = GOOD + "".join(f"{t},96,1500,90\n" for t in range(100, 110))
    (folder / "drive.csv").write_text(fast, "utf-8")
    assert "96 km/h" in judge(folder).stdout
    assert "60 mph" in judge(folder, "--vehicle", folder / "car.toml").stdout
    assert "60 mph" in judge(folder, "--units", "imperial").stdout
    assert "96 km/h" in judge(folder, "--vehicle", folder / "car.toml", "--units", "metric").stdout


@pytest.mark.parametrize(
    ("name", "body", "words"),
    [
        ("drive.csv", None, "drive.csv"),
        ("drive.csv", "", "drive.csv"),
        ("drive.csv", "road_speed\n80\n81\n", "time"),
        ("drive.csv", "t [s],road_speed [km/h]\n0,80\n1,fast\n", "drive.csv"),
        ("drive.csv", "\0\1\2\3", "drive.csv"),
        ("request.toml", None, "request.toml"),
        ("request.toml", "this is no recipe", "request.toml"),
        ("request.toml", TEXT.replace("grace", "gracee"), "grace"),
        ("request.toml", TEXT.replace('"72 km/h"', '"72 kPa"'), "72 kPa"),
        ("request.toml", TEXT.replace('min = "72 km/h"', 'min = "90 km/h"'), "road_speed"),
        ("car.toml", "gears = 5", "gears"),
        ("columns.toml", "x = [", "columns.toml"),
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence_and_2(folder, name, body, words):
    """What is wrong and where; nothing on stdout, no traceback."""
    if body is None:
        (folder / name).unlink()
    else:
        (folder / name).write_text(body, "utf-8")
    more = {"car.toml": ["--vehicle", folder / "car.toml"], "columns.toml": ["--columns", folder / "columns.toml"]}
    result = judge(folder, *more.get(name, []))
    if result.exit_code == 0:  # text in a number column is a note, not an end
        assert "fast" in body
        assert "Note:" in result.stdout
        return
    assert result.exit_code == 2, result.stdout
    assert result.stdout == ""
    assert result.stderr.startswith("coach: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr
    assert result.exception is None or isinstance(result.exception, SystemExit)


@pytest.mark.parametrize("trace", sorted((ROOT / "replay_traces").glob("*.csv*")), ids=lambda p: p.name)
def test_bundled_drives_come_out_as_they_were_made(trace):
    """Outcomes, reasons and alarms of each drive, as its scenario has it; small attempts left out."""
    folder = ROOT / "replay_traces"
    name = trace.name.split(".")[0]
    expected = json.loads((folder / "expected.json").read_text("utf-8"))[name]
    recipe, vehicle = folder / "demo-recipe.toml", folder / "demo-vehicle.toml"
    result = coach("judge", trace, "--recipe", recipe, "--vehicle", vehicle, "--json")
    assert result.exit_code == 0, result.stderr
    verdict = json.loads(result.stdout)
    assert [a["signal"] for a in verdict["alarms"]] == expected["alarms"]
    for capture in verdict["captures"]:
        seen = [
            {
                "outcome": a["outcome"],
                "code": (a["reason"] or {}).get("code"),
                "signal": (a["reason"] or {}).get("signal"),
            }
            for a in capture["attempts"]
            if not a["small"]
        ]
        assert seen == expected["captures"][capture["id"]], capture["id"]


def test_a_table_with_a_signal_of_the_maker_is_judged_by_the_vehicle_file(tmp_path):
    """A column by its name and unit; without the vehicle file nobody knows the signal."""
    table, recipe, vehicle = (tmp_path / name for name in ("drive.csv", "r.toml", "car.toml"))
    rows = "".join(f"{n / 5},80,{-1.5 if n < 60 else -5}\n" for n in range(100))
    table.write_text(f"t_s,road_speed [km/h],knock_retard [deg]\n{rows}")
    recipe.write_text("""
format = 1
title = "Steady, without knock"
revision = 1
[record]
road_speed = "4 Hz"
knock_retard = "4 Hz"
[[capture]]
id = "steady"
title = "Steady"
hold = "5 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
knock_retard = { min = "-4 deg" }
""")
    vehicle.write_text("""
[signals.knock_retard]
identifier = "203C"
length = 2
value = "s16(0) * 0.1"
unit = "deg"
min = "-30 deg"
max = "30 deg"
""")
    result = coach("judge", table, "--recipe", recipe, "--vehicle", vehicle)
    assert result.exit_code == 0, result.stderr
    assert "qualified 1 of 1" in result.stdout
    assert "Knock retard -5.0 ° against at least -4.0" in result.stdout
    assert coach("recipe", "check", recipe, "--vehicle", vehicle, "--require").exit_code == 0
    result = coach("judge", table, "--recipe", recipe)
    assert result.exit_code == 2
    assert 'there is no signal "knock_retard"' in result.stderr
