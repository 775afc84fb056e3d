"""The API through Flask's client: what it gives, and that its models and description tell the truth."""

import csv
import hashlib
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.clock import HandClock
from coach.drive.tasks import InPlace
from coach.errors import StoreError
from coach.server import Services, create_app
from coach.server import answers as a
from coach.server.api import ENDPOINTS
from coach.server.openapi import describe, reference
from coach.server.starting import Given
from coach.sources.table import read_table
from coach.store import Store

GOOD = b"""format = 1
title = "One hold"
[record]
road_speed = "2 Hz"
[[capture]]
id = "hold"
hold = "5 s"
[capture.keep]
road_speed = { min = "40 km/h", max = "60 km/h" }
"""
TOML = {"Content-Type": "application/toml"}


def test_a_whole_drive_through_the_api(client, services, recipe, wait_for):
    """Choose, look, start, end, read the verdict: as the page does it."""
    assert client.get("/api/about").json["boot"] == services.boot
    assert [r["sha256"] for r in client.get("/api/recipes").json["recipes"]] == [recipe]
    ids = [s["id"] for s in client.get("/api/sources").json["sources"]]
    assert "replay:everything-qualifies" in ids
    assert "simulator:everything-qualifies" in ids
    query = {"recipe": recipe, "source": "replay:everything-qualifies"}
    wait_for(lambda: client.get("/api/ready", query_string=query).json["marks"][0]["state"] != "looking")
    marks = client.get("/api/ready", query_string=query).json["marks"]
    assert [(x["id"], x["state"]) for x in marks] == [
        ("link", "ok"), ("signals", "ok"), ("engine", "ok"), ("road", "warn"), ("room", "ok"),
    ]  # fmt: skip
    body = {"recipe": recipe, "source": query["source"], "speed": None, "role": "passenger", "acknowledged": ["law"]}
    started = client.post("/api/drives", json=body)
    assert started.status_code == 201
    drive = started.json["id"]
    assert services.current.wait(60)
    assert [(x.kind, x.text) for x in services.store.marks(drive)] == [("acknowledge", "law"), ("role", "passenger")]
    view = client.get(f"/api/drives/{drive}").json
    assert (view["asked"], view["qualified"], view["phase"]) == (3, 3, "ended")
    assert [(w["capture"], w["number"], w["whole"]) for w in view["windows"]] == [
        ("part-load", 0, True), ("roll-on", 0, True), ("roll-on", 1, True), ("settled-idle", 0, True),
    ]  # fmt: skip
    assert [d["id"] for d in client.get("/api/drives").json["drives"]] == [drive]
    assert client.get("/api/state").json["drive"]["phase"] == "ended"


def test_the_attempts_are_what_the_command_line_prints(client, drive):
    """One verdict: GET attempts equals `coach judge --json` on the same table, recipe and vehicle."""
    from coach.cli import main

    made = drive()
    traces = traces_root()
    run = CliRunner().invoke(
        main,
        ["judge", str(traces / "everything-qualifies.csv"), "--recipe", str(traces / "demo-recipe.toml"),
         "--vehicle", str(traces / "demo-vehicle.toml"), "--json"],
    )  # fmt: skip
    assert run.exit_code == 0, run.output
    there = json.loads(run.stdout)
    here = client.get(f"/api/drives/{made.id}/attempts").json
    assert here == there
    assert [c["qualified"] for c in here["captures"]] == [1, 2, 1]
    # The second answer comes from the cache and is the same.
    assert client.get(f"/api/drives/{made.id}/attempts").json == there


def test_a_full_disk_keeps_nobody_from_the_verdict(client, services, drive, monkeypatch):
    """What is stored stays readable: a verdict that cannot be kept is made anew."""
    made = drive("replay:speed-lost")

    def refuse(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(services.store, "put_verdict", refuse)
    first, again = (client.get(f"/api/drives/{made.id}/attempts") for _ in range(2))
    assert (first.status_code, again.json) == (200, first.json)


@pytest.mark.parametrize("name", ["limit-passed", "dropout"])
def test_attempts_that_failed_are_given_with_their_reasons(client, drive, name):
    """Stopped, sparse and missed attempts, and the alarm."""
    made = drive(f"replay:{name}")
    verdict = client.get(f"/api/drives/{made.id}/attempts").json
    expected = json.loads((traces_root() / "expected.json").read_text())[name]
    for capture in verdict["captures"]:
        assert [
            {"outcome": a["outcome"], "code": a["reason"] and a["reason"]["code"],
             "signal": a["reason"] and a["reason"]["signal"]}
            for a in capture["attempts"] if not a["small"]
        ] == expected["captures"][capture["id"]]  # fmt: skip
    assert sorted({a["signal"] for a in verdict["alarms"]}) == expected["alarms"]


def test_a_window_as_a_table_is_the_durable_file(client, services, drive):
    """The table that is downloaded is the file whose digest is listed."""
    made = drive()
    answer = client.get(f"/api/drives/{made.id}/windows/roll-on/0.csv")
    assert answer.mimetype == "text/csv"
    assert "attachment" in answer.headers["Content-Disposition"]
    listed = next(w for w in client.get(f"/api/drives/{made.id}").json["windows"] if w["capture"] == "roll-on")
    assert hashlib.sha256(answer.data).hexdigest() == listed["sha256"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    answer.close()
    stamps = [float(r["time [s]"]) for r in rows]
    attempt = client.get(f"/api/drives/{made.id}/attempts").json["captures"][1]["attempts"][0]
    assert attempt["start_s"] - 10 <= stamps[0] < attempt["start_s"] - 9
    assert attempt["end_s"] + 9 < stamps[-1] <= attempt["end_s"] + 10
    long = client.get(f"/api/drives/{made.id}/windows/roll-on/0.csv?form=long").text.splitlines()
    assert long[0] == "time [s],signal,value,unit"
    assert len(long) - 1 == sum(bool(v) for r in rows for k, v in r.items() if k != "time [s]")


def test_an_attempt_that_was_not_secured_has_its_table_too(client, drive):
    """There is no durable file; the samples are given all the same."""
    made = drive("replay:early-lift")
    answer = client.get(f"/api/drives/{made.id}/windows/roll-on/0.csv")
    assert answer.status_code == 200
    assert len(answer.text.splitlines()) > 10


def test_a_window_has_its_signals_thinned_and_its_peaks(client, services, drive):
    """At most 1000 points a signal; the highest and lowest value of each are among them."""
    made = drive()
    data = client.get(f"/api/drives/{made.id}/windows/settled-idle/0").json
    a.Window.model_validate(data)
    assert data["outcome"] == "secured"
    stored = services.store.recording(made.id, int(data["start_s"] * 1e6), int(data["end_s"] * 1e6))
    by_name = {s["signal"]: s for s in data["signals"]}
    assert list(by_name)[:3] == ["road_speed", "engine_speed", "coolant_temp"], "what is asked comes first"
    for name, series in stored.series.items():
        signal = by_name[name]
        assert len(signal["t_s"]) == len(signal["values"]) <= 1010
        assert signal["most"] == pytest.approx(series.value.max(), abs=1e-4)
        assert signal["least"] == pytest.approx(series.value.min(), abs=1e-4)
        assert max(v for v in signal["values"] if v is not None) >= signal["most"]
    assert by_name["engine_speed"]["asked"] == "650 to 1000 rpm"
    assert (by_name["engine_speed"]["low"], by_name["engine_speed"]["high"]) == (650, 1000)


def test_derived_signals_are_drawn_too(client, drive):
    """Gear and gauge boost are not recorded, and shown; a limit is given."""
    made = drive()
    data = client.get(f"/api/drives/{made.id}/windows/roll-on/0").json
    by_name = {s["signal"]: s for s in data["signals"]}
    assert by_name["gear"]["mean"] == 3
    assert by_name["gear"]["discrete"] is True
    assert by_name["gauge_boost"]["limit"] == 95


def test_a_lane_runs_from_start_to_goal(client, drive):
    """X from 0 to 1 along the hold or sweep; y in the band; a missed attempt stops short."""
    made = drive()
    hold = client.get(f"/api/drives/{made.id}/lane?capture=part-load").json
    a.Lane.model_validate(hold)
    assert hold["number"] == 0
    assert hold["points"][0][0] == 0
    assert hold["points"][-1][0] == 1
    assert len(hold["points"]) <= 600
    inside = [y for _, y in hold["points"]]
    assert all(-0.5 < y < 1.5 for y in inside)
    sweep = client.get(f"/api/drives/{made.id}/lane?capture=roll-on&number=1").json
    assert sweep["points"][0][0] < 0.05
    assert sweep["points"][-1][0] == 1
    assert all(y < 1 for _, y in sweep["points"]), "under the ceiling"
    never = drive("replay:wrong-gear")
    assert client.get(f"/api/drives/{never.id}/lane?capture=part-load").json == {
        "drive": never.id, "capture": "part-load", "number": None, "points": [],
    }  # fmt: skip


def test_an_uploaded_recipe_is_kept_and_can_be_driven(client, services):
    """Kept as received; the same again is the same; it can be started at once."""
    added = client.post("/api/recipes", data=GOOD, headers=TOML)
    assert added.status_code == 201
    sha = added.json["sha256"]
    assert sha == hashlib.sha256(GOOD).hexdigest()
    assert client.post("/api/recipes", data=GOOD, headers=TOML).json == added.json
    listed = client.get("/api/recipes").json["recipes"]
    assert next((r["sha256"], r["bundled"]) for r in listed) == (sha, False)
    assert services.store.recipe(sha).body == GOOD
    view = client.get(f"/api/recipes/{sha}").json
    assert view["captures"][0]["sentence"].startswith("Hold 40 to 60 km/h for 5 seconds")
    assert view["minutes"] == 5
    body = {"recipe": sha, "source": "simulator:everything-qualifies", "speed": None}
    drive = client.post("/api/drives", json=body).json["id"]
    assert services.current.wait(60)
    verdict = client.get(f"/api/drives/{drive}/attempts").json
    assert verdict["recipe"]["sha256"] == sha
    assert verdict["captures"][0]["qualified"] >= 1


def test_a_bad_recipe_is_refused_with_all_that_is_wrong(client):
    """400 in the one shape, every finding beside it, nothing kept."""
    bad = GOOD.replace(b"40 km/h", b"40 kPa").replace(b'hold = "5 s"', b'hold = "5 s"\nspeling = 1')
    answer = client.post("/api/recipes", data=bad, headers=TOML)
    assert answer.status_code == 400
    error = answer.json["error"]
    assert error["code"] == "bad_recipe"
    assert {e["code"] for e in error["errors"]} == {"bad_unit", "unknown_key"}
    assert all(e["line"] for e in error["errors"])
    assert len(client.get("/api/recipes").json["recipes"]) == 1


def test_what_a_driver_may_do_alone_is_parked(client, services, drive):
    """With the driver holding the phone, road captures wait for a passenger; they open with one."""
    made = drive("replay:everything-qualifies", speed=1.0, role="driver")
    skipped = {c["id"]: c["gate"] for c in services.state()["captures"]}
    assert skipped == {"part-load": "skipped", "roll-on": "skipped", "settled-idle": skipped["settled-idle"]}
    assert skipped["settled-idle"] != "skipped"
    assert client.post("/api/drives/current/role", json={"role": "passenger"}).status_code == 200
    assert "skipped" not in {c["gate"] for c in services.state()["captures"]}
    client.post("/api/drives/current/skip", json={"capture": "roll-on"})
    client.post("/api/drives/current/role", json={"role": "driver"})
    client.post("/api/drives/current/role", json={"role": "passenger"})
    gates = {c["id"]: c["gate"] for c in services.state()["captures"]}
    assert gates["roll-on"] == "skipped", "what somebody left out on purpose stays out"
    assert gates["part-load"] != "skipped"
    client.post("/api/drives/current/role", json={"role": None})
    assert services.state()["drive"]["role"] is None
    assert client.post("/api/drives/current/finish").status_code == 200
    assert made.wait(60)


def test_the_running_drive_is_steered_through_the_api(client, services, drive):
    """Every action answers with the drive and its phase; what does not fit is a conflict."""
    assert client.post("/api/drives/current/stop").status_code == 409
    made = drive(speed=1.0)

    def act(name, body=None):
        answer = client.post(f"/api/drives/current/{name}", json=body or {})
        return answer.status_code, answer.json.get("phase")

    assert act("stop") == (200, "stopping")
    assert act("carry-on") == (200, "recording")
    assert act("pause") == (200, "paused")
    assert act("resume") == (200, "recording")
    assert act("resume") == (409, None)
    assert act("skip", {"capture": "roll-on"}) == (200, "recording")
    assert act("unskip", {"capture": "roll-on"}) == (200, "recording")
    assert act("arm", {"capture": "roll-on"}) == (200, "recording"), "the drive begins at standstill"
    assert act("disarm", {"capture": "roll-on"}) == (200, "recording")
    assert act("confirm", {"capture": "roll-on", "item": "air conditioning off"}) == (200, "recording")
    assert act("seen", {"capture": None}) == (200, "recording")
    assert act("seen") == (200, "recording")
    assert act("arm", {"capture": "nothing"}) == (404, None)
    assert act("arm") == (400, None)
    body = {"recipe": services.shelf.bundled[0], "source": "replay:wrong-gear"}
    assert client.post("/api/drives", json=body).status_code == 409
    assert act("finish")[0] == 200
    assert made.wait(60)
    assert [x.kind for x in services.store.marks(made.id)] == [
        "pause", "resume", "skip", "unskip", "arm", "disarm", "confirm",
    ]  # fmt: skip


def test_the_verdict_of_a_running_drive_is_on_what_is_over(client, services, drive, wait_for):
    """An attempt that runs is not called missed, and nothing is kept in the cache."""
    made = drive("replay:speed-lost", speed=200.0)
    lane = f"/api/drives/{made.id}/lane?capture=part-load"
    wait_for(lambda: client.get(lane).json["number"] is not None)  # what is stored is a little behind what is judged
    verdict = client.get(f"/api/drives/{made.id}/attempts").json
    codes = [a["reason"] and a["reason"]["code"] for c in verdict["captures"] for a in c["attempts"]]
    assert "drive_ended" not in codes or services.current.phase == "ended"
    assert made.wait(60)
    done = client.get(f"/api/drives/{made.id}/attempts").json
    assert [a["reason"]["code"] for a in done["captures"][0]["attempts"]] == ["low", "drive_ended"]


def test_before_any_drive_the_state_says_so(client):
    """The page gets a whole state, with nothing in it."""
    state = client.get("/api/state").json
    a.State.model_validate(state)
    assert state["drive"]["phase"] == "none"
    assert state["lead"] is None
    assert state["face"]["line"] == "Not recording"


def test_answers_are_what_their_models_say(client, services, drive, recipe):
    """Each answer is checked against the model that the description is made from."""
    made = drive()
    path = f"/api/drives/{made.id}"
    addresses = {
        "/api/recipes/{sha}": f"/api/recipes/{recipe}",
        "/api/ready": f"/api/ready?recipe={recipe}&source=replay:wrong-gear",
        "/api/cars/{source}": "/api/cars/replay:wrong-gear",
        "/api/drives/{id}": path,
        "/api/drives/{id}/attempts": f"{path}/attempts",
        "/api/drives/{id}/lane": f"{path}/lane?capture=part-load",
        "/api/plan": f"/api/plan?recipe={recipe}&source=replay:wrong-gear",
        "/api/compare": f"/api/compare?a={made.id}&b={made.id}&capture=roll-on",
        "/api/drives/{id}/windows/{capture}/{number}": f"{path}/windows/part-load/0",
        "/api/desk/customer": "/api/desk/customer?name=Anna",
    }
    asked = {"customer": "Anna", "text": services.shelf.get(recipe).source.decode()}
    assert client.post("/api/desk/asked", json=asked).status_code == 201
    checked = 0
    needs_lan = {"/api/joining", "/api/devices"}
    for endpoint in ENDPOINTS:
        if endpoint.method == "GET" and endpoint.gives is not None and endpoint.path not in needs_lan:
            plain = endpoint.path.replace("{id}", made.id).replace("{capture}", "roll-on").replace("{number}", "0")
            answer = client.get(addresses.get(endpoint.path, plain))
            assert answer.status_code == endpoint.status, endpoint.path
            endpoint.gives.model_validate_json(answer.data)
            checked += 1
    assert checked >= 20


def test_the_description_names_every_route_and_every_model(app, client):
    """OpenAPI 3.1 from the same models, nothing left out, no reference into nowhere."""
    text = client.get("/api/openapi.json").json
    assert text == json.loads(json.dumps(describe(ENDPOINTS)))
    assert text["openapi"].startswith("3.1")
    routes = {
        (method, rule.rule.replace("<int:number>", "{number}").replace("<", "{").replace(">", "}"))
        for rule in app.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
        if rule.rule.startswith("/api/") and rule.rule != "/api/openapi.json"
    }
    assert routes == {(k.upper(), path) for path, item in text["paths"].items() for k in item}
    names = set(text["components"]["schemas"])
    used = {r.rpartition("/")[2] for r in json.dumps(text).split('"$ref": "')[1:] for r in [r.partition('"')[0]]}
    assert used <= names
    assert "Error" in names


def test_the_reference_in_the_docs_is_made_from_the_code():
    """Run `python -m coach.server` to make it anew."""
    docs = (Path(__file__).parents[2] / "docs" / "reference" / "http-api.md").read_text()
    _, _, made = docs.partition("## Endpoints\n")
    assert "## Endpoints\n" + made == reference(ENDPOINTS)
    for event in ("state", "judge", "saved", "not_saved", "drive", "gap", "ping"):
        assert f"| `{event}` |" in docs


def test_the_page_speaks_from_the_same_words(client):
    """All words, the page's included."""
    words = client.get("/api/words").json
    assert {"face", "page", "server"} <= set(words)


def test_given_files_are_offered_first(tmp_path):
    """Recipes and tables named when the server was started, with their vehicle."""
    recipe, table = tmp_path / "mine.toml", tmp_path / "mine.csv"
    recipe.write_bytes(GOOD)
    table.write_text("time [s],road_speed [km/h]\n" + "".join(f"{k / 2},50\n" for k in range(40)))
    store = Store(tmp_path / "data", HandClock())
    given = Given((recipe,), (table,), b'label = "mine"\n[units]\nsystem = "imperial"\n')
    services = Services.make(store, InPlace(store.folder), HandClock(), read_table, given)
    try:
        client = create_app(services).test_client()
        first = client.get("/api/recipes").json["recipes"][0]
        assert (first["name"], first["bundled"]) == ("mine.toml", True)
        assert client.get("/api/sources").json["sources"][0]["id"] == "table:0"
        body = {"recipe": first["sha256"], "source": "table:0", "speed": None}
        drive = client.post("/api/drives", json=body).json["id"]
        assert services.current.wait(60)
        window = client.get(f"/api/drives/{drive}/windows/hold/0").json
        speed = window["signals"][0]
        # 40 to 60 km/h in the driver's own unit.
        assert (speed["unit"], speed["mean"]) == ("mph", pytest.approx(31.0686, abs=1e-3))
        assert speed["low"] == pytest.approx(24.8548, abs=1e-3)
    finally:
        services.close()


def test_the_recipe_of_an_old_drive_can_still_be_looked_at(client, services, drive, recipe):
    """A drive keeps its recipe, also when the shelf no longer has it."""
    drive("replay:wrong-gear")
    services.shelf._bundled.clear()
    services.shelf._parsed.clear()
    assert client.get(f"/api/recipes/{recipe}").json["sha256"] == recipe
