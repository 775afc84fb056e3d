"""The plan over HTTP: the same as `coach plan --json`, its plot, and a recipe that is still being written."""

from __future__ import annotations

import json
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.server.planning import Planned
from tests.recipe.making import EXAMPLE

SOURCE = "replay:everything-qualifies"


def test_the_plan_is_that_of_the_command(client, recipe, wait_for):
    """Recipe and source give figures, sentences and findings as the command line does."""
    from coach.cli import main

    query = {"recipe": recipe, "source": SOURCE}
    wait_for(lambda: client.get("/api/ready", query_string=query).json["marks"][0]["state"] != "looking")
    planned = client.get("/api/plan", query_string=query).json
    Planned.model_validate(planned)
    traces = traces_root()
    told = CliRunner().invoke(
        main,
        ["plan", str(traces / "demo-recipe.toml"), "--vehicle", str(traces / "demo-vehicle.toml"), "--json"],
        standalone_mode=False,
    )
    here = json.loads(told.output)
    assert planned["captures"] == here["captures"]
    assert (planned["minutes"], planned["order"], planned["findings"]) == (here["minutes"], here["order"], [])
    roll = planned["captures"][1]
    assert roll["need_text"] == "It ends at about 111 km/h and needs 550 m, run-up and stopping included."
    assert roll["course_text"] == ("Closed course or dyno: it asks for full pedal and it implies more than 100 km/h.")
    assert {row["signal"]: row["how"] for row in planned["signals"]}["gear"] == "derived"


def test_units_of_the_page_count(client, recipe):
    """Sentences come in what the page says its reader reads; figures stay in km/h and metres."""
    query = {"recipe": recipe, "source": SOURCE}
    planned = client.get("/api/plan", query_string=query, headers={"X-Units": "mph,psi,degF"}).json
    roll = planned["captures"][1]
    assert "69 mph" in roll["need_text"]
    assert "ft" in roll["room_text"]
    assert roll["top_kmh"] == pytest.approx(110.84, abs=0.01)


def test_the_running_drives_car_counts_without_a_source(client, services, recipe, drive):
    """The Arm screen asks with the recipe alone: the car of the drive that runs; none runs, no car."""
    nobody = client.get("/api/plan", query_string={"recipe": recipe}).json
    assert nobody["vehicle"] is None
    assert nobody["captures"][1]["top_kmh"] is None
    body = {"recipe": recipe, "source": SOURCE, "speed": 1.0, "role": "passenger"}
    assert client.post("/api/drives", json=body).status_code == 201
    running = client.get("/api/plan", query_string={"recipe": recipe}).json
    assert running["vehicle"]["label"] == "Demo hatchback"
    assert running["captures"][1]["room_m"] == pytest.approx(548, abs=10)
    client.post("/api/drives/current/finish")
    assert services.current.wait(60)


def test_pulls_of_a_stored_drive_count(client, recipe, drive):
    """What the car did in a drive that is here says more than its curve: as with `coach plan --drive`, unasked."""
    from coach.cli import main

    traces = traces_root()
    table = traces / "everything-qualifies.csv"
    words = ["plan", str(traces / "demo-recipe.toml"), "--vehicle", str(traces / "demo-vehicle.toml"), "--json"]
    query = {"recipe": recipe, "source": SOURCE}
    assert client.get("/api/plan", query_string=query).json["captures"][1]["gears"][0]["how"] == "full load"
    drive()
    planned = client.get("/api/plan", query_string=query).json
    assert planned["captures"][1]["gears"][0]["how"] == "earlier pulls"
    told = json.loads(CliRunner().invoke(main, [*words, "--drive", str(table)], standalone_mode=False).output)
    assert planned["captures"] == told["captures"]
    # At the desk the same car counts; another one has not been driven here.
    ask = {"recipe": EXAMPLE, "source": SOURCE}
    assert client.post("/api/plan", json=ask).json["captures"][1]["gears"][0]["how"] == "earlier pulls"
    other = (traces / "demo-vehicle.toml").read_text("utf-8").replace("Demo hatchback", "Another one")
    planned = client.post("/api/plan", json={**ask, "vehicle": other}).json
    assert planned["captures"][1]["gears"][0]["how"] == "full load"


def test_the_plot_takes_the_pages_style(client, recipe):
    """An SVG without a style sheet or inline style: the policy allows none."""
    answer = client.get("/api/plan.svg", query_string={"recipe": recipe, "source": SOURCE})
    assert answer.mimetype == "image/svg+xml"
    assert "style" not in answer.text
    root = ET.fromstring(answer.text)
    assert root.get("viewBox").startswith("0 0 350")


def test_a_recipe_that_is_being_written(client):
    """Text of recipe and vehicle in, findings with what to change out; what does not load is refused with all of it."""
    text = EXAMPLE.replace("gear  = 3", "gear  = 9")
    answer = client.post(
        "/api/plan", json={"recipe": text, "vehicle": "rpm_per_kmh = { 3 = 41.5, 4 = 31.0, 5 = 24.9 }"}
    )
    codes = {f["code"]: f for f in answer.json["findings"]}
    assert codes["no_such_gear"]["level"] == "error"
    assert codes["no_such_gear"]["where"] == 'capture "roll-on", keep.gear'
    assert all(f["change"] for f in answer.json["findings"])
    assert client.post("/api/plan", json={"recipe": EXAMPLE, "source": SOURCE}).json["vehicle"]["label"]
    bad = client.post("/api/plan", json={"recipe": "format = 1"})
    assert bad.status_code == 400
    assert bad.json["error"]["errors"]
    assert client.post("/api/plan", json={"recipe": EXAMPLE, "vehicle": "x = 1"}).json["error"]["code"] == "bad_vehicle"
    assert client.get("/api/plan", query_string={"recipe": "none"}).status_code == 404


def test_planning_loads_no_heavy_library():
    """A plan is made in the server's own process: no pandas, pint, scipy or plotting library comes with it."""
    code = (
        "import sys\n"
        "from coach.assets import traces_root\n"
        "from coach.catalogue import default_catalogue\n"
        "from coach.plan.drive_plan import plan_drive\n"
        "from coach.plan.plan_json import plan_json\n"
        "from coach.plan.plot import plan_svg\n"
        "from coach.recipe import load_recipe\n"
        "from coach.vehicle import load_vehicle\n"
        "root, c = traces_root(), default_catalogue()\n"
        "plan = plan_drive(load_recipe(root / 'demo-recipe.toml', c), c, load_vehicle(root / 'demo-vehicle.toml'))\n"
        "plan_json(plan, c); plan_svg(plan)\n"
        "print(*(n for n in ('pandas', 'pint', 'scipy', 'matplotlib', 'duckdb') if n in sys.modules))\n"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == ""
