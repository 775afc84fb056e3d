"""The desk over HTTP: write, look, preview, prove, compare, send, take what comes back, judge it again."""

import re

import pytest

from coach.assets import traces_root
from coach.bundle.make import make_bundle
from coach.desk.share import unpack
from coach.desk.signing import signature_of
from coach.server.roles import TABLE, Access
from tests.server.conftest import ORIGIN

DEMO = (traces_root() / "demo-recipe.toml").read_text("utf-8")
GOOD = "replay:everything-qualifies"


@pytest.fixture
def post(client):
    def ask(path, status=200, **body):
        answer = client.post(f"/api/{path}", json=body, headers=ORIGIN)
        assert answer.status_code == status, answer.get_data(as_text=True)
        return answer.get_json()

    return ask


@pytest.fixture
def bundle(services, drive, tmp_path):
    """A bundle of a good drive, as bytes."""
    made = drive()
    make_bundle(services.store.folder, [made.id], tmp_path / "b.zip")
    return (tmp_path / "b.zip").read_bytes()


@pytest.fixture
def received(client, bundle):
    """The same, taken in."""
    return send(client, bundle).get_json()


def send(client, body, **query):
    return client.post(
        "/api/desk/received", data=body, content_type="application/zip", headers=ORIGIN, query_string=query
    )


def test_everything_at_the_desk_is_for_the_laptop_itself():
    """A paired phone writes no recipes and sees no customers."""
    desk = [name for name in TABLE if "/api/desk" in name or name == "POST /api/keys"]
    assert len(desk) == 19
    assert {TABLE[name] for name in desk} == {Access.LAPTOP}


def test_starting_points_and_signals(client):
    """Every kind with its words; each signal with its unit."""
    found = client.get("/api/desk/starts").get_json()
    assert {"steady", "full-pedal", "cold-start"} <= {s["kind"] for s in found["starts"]}
    assert all(s["title"] and s["about"] for s in found["starts"])
    assert next(s for s in found["signals"] if s["name"] == "engine_speed")["unit"] == "rpm"
    assert re.fullmatch(r"([0-9a-f]{4} ){4}[0-9a-f]{4}", found["fingerprint"])


def test_from_an_empty_recipe(post):
    """Begun empty it is looked at without fear; with a starting point it loads; figures come from the car."""
    empty = post("desk/new")
    assert (empty["data"]["revision"], empty["captures"], empty["plan"]) == (1, [], None)
    added = post("desk/edit", text=empty["text"], edits=[{"do": "add", "value": "idle"}], source=GOOD)
    assert [c["id"] for c in added["captures"]] == ["idle"]
    assert added["plan"]["vehicle"] is not None
    assert added["minutes"] > 0


def test_an_edit_keeps_comments_and_takes_the_signature_off(post):
    """What was signed is no longer signed once it is another text."""
    text = post("desk/share", text=DEMO + "# mind the rest\n", sign=True)["text"]
    assert signature_of(text.encode()).good
    made = post("desk/edit", text=text, edits=[{"do": "set", "path": ["title"], "value": "Other"}])["text"]
    assert "# mind the rest" in made
    assert "# signed" not in made


def test_what_is_wrong_is_said_with_its_place(post):
    """By capture and line; what is no TOML has its line too; an edit that leads nowhere is refused."""
    text = DEMO.replace("[capture.keep]", "[capture.keep]\nnonsense = 3", 1)
    found = post("desk/edit", text=text)["findings"]
    assert any(f["level"] == "error" and f["place"] == 0 and f["line"] for f in found)
    broken = post("desk/edit", text="title = \n")
    assert (broken["data"], broken["findings"][0]["line"]) == (None, 1)
    assert post("desk/edit", 400, text=DEMO, edits=[{"do": "remove", "path": ["capture", 9]}])["error"]["message"]


def test_the_phone_is_previewed_in_its_own_states(post, client):
    """Four moments of a hold; each is a live state as the page knows it."""
    name = post("desk/edit", text=DEMO)["captures"][0]["id"]
    moments = post("desk/preview", text=DEMO, capture=name, source=GOOD)["moments"]
    assert set(moments) == {"approach", "going", "correct", "secured"}
    live = client.get("/api/state").get_json()
    for state in moments.values():
        assert set(live) <= set(state)
        assert set(live["drive"]) - {"stored_s"} <= set(state["drive"])
        assert state["lead"]["id"] == name
    assert post("desk/preview", 404, text=DEMO, capture="none")["error"]["where"] == "none"


def test_proved_on_a_recorded_drive_with_edits_that_do(post):
    """A band too narrow for the drive: the change offered, once applied, meets it."""
    text = DEMO
    data = post("desk/edit", text=text)["data"]
    place = next(n for n, c in enumerate(data["capture"]) if "hold" in c)
    name = data["capture"][place]["id"]
    longer = post("desk/edit", text=text, edits=[{"do": "set", "path": ["capture", place, "hold"], "value": "9 min"}])
    asked = {"kind": "source", "id": GOOD}
    found = post("desk/prove", text=longer["text"], **asked)
    assert name in found["less"]
    less = next(one for one in found["less"][name] if one["key"] == "hold")
    edits = [{"do": e["do"], "path": e["path"], "value": e["value"]} for e in less["edits"]]
    shorter = post("desk/edit", text=longer["text"], edits=edits)["text"]
    again = post("desk/prove", text=shorter, **asked)
    assert name not in again["less"]


def test_proved_on_a_stored_drive_and_on_what_came(post, drive, received):
    """Each with its own car."""
    made = drive()
    for asked in ({"kind": "drive", "id": made.id}, {"kind": "bundle", "id": received["sha256"]}):
        found = post("desk/prove", text=DEMO, **asked)
        assert all(c["qualified"] >= c["asked"] for c in found["verdict"]["captures"])
    assert post("desk/prove", 404, text=DEMO, kind="drive", id="none")["error"]["code"] == "not_found"
    refused = post("desk/prove", 400, text=DEMO, kind="source", id="simulator:everything-qualifies")
    assert "recorded" in refused["error"]["message"]


def test_what_changed_as_sentences(post):
    """From one text to the other."""
    found = post("desk/changes", old=DEMO, new=DEMO.replace('"90 s"', '"2 min"', 1))["changes"]
    assert len(found) == 1
    assert found[0]["text"].startswith("Hold in")


def test_sent_as_link_code_and_file(post):
    """The link carries the text byte for byte; a code where it fits, else why not; what has errors is not sent."""
    made = post("desk/share", text=DEMO, sign=True, page="http://localhost:9/")
    assert unpack(made["link"]) == made["text"].encode()
    assert made["link"].startswith("http://localhost:9/#/request/1.")
    assert made["name"].endswith(".toml")
    assert made["fingerprint"]
    assert (made["square"] is None) == bool(made["why"])
    small = post("desk/new", kinds=["free"])["text"]
    assert {len(row) for row in post("desk/share", text=small)["square"]} == {
        len(post("desk/share", text=small)["square"])
    }
    assert post("desk/share", 400, text="format = 1\n")["error"]["errors"]


def test_who_signed_a_recipe_is_said(post, client, services):
    """Unsigned, unknown, known once pinned, damaged."""

    def by(text):
        answer = client.post("/api/recipes", data=text.encode(), content_type="application/toml", headers=ORIGIN)
        return answer.get_json()["signed_by"]

    assert by(DEMO + "# a\n") is None
    text = post("desk/share", text=DEMO, sign=True)["text"]
    found = by(text)
    assert (found["good"], found["name"]) == (True, None)
    assert post("keys", 201, name="Workshop", public_key=found["public_key"])["fingerprint"] == found["fingerprint"]
    assert by(text)["name"] == "Workshop"
    assert by(text.replace("revision", "revision ", 1))["good"] is False
    assert post("keys", 400, name="Workshop", public_key="0" * 64)["error"]["where"] == "name"


def test_a_customer_from_asked_to_next(post, client, bundle):
    """Asked, received, complete, next: each in turn, with the marks of each capture by revision."""

    def row():
        return client.get("/api/desk/customers").get_json()["customers"][0]

    post("desk/asked", 201, customer="Anna", text=DEMO)
    assert row()["state"] == "asked"
    assert {c["mark"] for c in row()["revisions"][0]["captures"]} == {"todo"}
    assert send(client, bundle, file="from-anna.zip").get_json()["customer"] == "Anna"
    assert row()["state"] == "complete"
    assert {c["mark"] for c in row()["revisions"][0]["captures"]} == {"secured"}
    sha = row()["revisions"][0]["sha256"]
    text = post("desk/new", from_sha256=sha)["text"]
    number = row()["revisions"][0]["revision"]
    assert f"revision = {number + 1}" in text
    post("desk/asked", 201, customer="Anna", text=text, sent=False)
    assert row()["state"] == "next"
    one = client.get("/api/desk/customer?name=Anna").get_json()
    assert [r["file"] for r in one["received"]] == ["from-anna.zip"]
    assert one["asked"][0]["text"] == text
    assert client.get("/api/desk/customer?name=Nobody").status_code == 404


def test_what_is_missing_says_why_and_what_to_ask_next(client, services, drive, tmp_path, post):
    """On the desk and on the customer's page, in the reader's language and units; nothing of what qualified."""
    made = drive(source="replay:limit-passed")
    make_bundle(services.store.folder, [made.id], tmp_path / "b.zip")
    post("desk/asked", 201, customer="Anna", text=DEMO)
    assert send(client, (tmp_path / "b.zip").read_bytes(), customer="Anna").status_code == 201
    heard = {"Accept-Language": "de", "X-Units": "mph,psi,degF"}
    (row,) = client.get("/api/desk/customers", headers=heard).get_json()["customers"]
    short = [c for c in row["captures"] if c["qualified"] < c["asked"]]
    assert short
    assert all(c["lacks"] is None for c in row["captures"] if c not in short)
    said = " ".join(c["lacks"]["text"] for c in short)
    assert "Grenzwert verletzt bei 3390 rpm. Ladedruck, relativ 13" in said
    assert "psi" in said
    assert all(c["lacks"]["next"].endswith(".") for c in short)
    one = client.get("/api/desk/customer?name=Anna", headers=heard).get_json()
    assert one["standing"]["captures"] == row["captures"]
    told = {c["id"]: c["lacks"] for c in one["received"][0]["found"]["drives"][0]["captures"]}
    assert told == {c["id"]: c["lacks"] for c in row["captures"]}


def test_what_is_no_bundle_is_refused_and_not_kept(client, services):
    """With a sentence that names the file as the sender called it."""
    answer = send(client, b"nothing", file="x.zip")
    assert answer.status_code == 400
    assert "x.zip" in str(answer.get_json()["error"])
    assert list((services.store.folder / "incoming").iterdir()) == []
    assert client.get("/api/desk/customers").get_json()["customers"] == []


def test_assigned_fetched_removed(client, post, received, bundle):
    """A bundle is handed out as it came; its customer can be said later; removed it is gone."""
    sha = received["sha256"]
    post(f"desk/received/{sha}/assign", customer="Bert")
    assert client.get("/api/desk/customers").get_json()["customers"][0]["customer"] == "Bert"
    with client.get(f"/api/desk/received/{sha}.zip") as answer:
        assert answer.data == bundle
    assert client.delete(f"/api/desk/received/{sha}", headers=ORIGIN).status_code == 200
    assert client.get(f"/api/desk/received/{sha}.zip").status_code == 404


def test_opened_it_is_a_drive_like_any_other(client, post, services, received):
    """Put in once, marked where it came from, with the same verdict; every screen of a review shows it."""
    sha = received["sha256"]
    opened = post(f"desk/received/{sha}/open")["drive"]
    assert post(f"desk/received/{sha}/open")["drive"] == opened
    row = services.store.drive(opened)
    assert row.source["kind"] == "bundle"
    assert row.phase == "ended"
    original = next(d for d in services.store.drives() if d.source["kind"] != "bundle")
    a, b = (client.get(f"/api/drives/{d}/attempts").get_json()["captures"] for d in (original.id, opened))
    assert a == b
    assert client.get(f"/api/drives/{opened}/review").status_code == 200
    assert next(iter(client.get("/api/drives").get_json()["drives"]))["qualified"] > 0
    assert post(f"desk/received/{sha}/open", 404, drive="none")["error"]["where"] == "none"


def test_everything_is_judged_again_by_another_recipe(client, post, received, wait_for):
    """In a process of its own; what it was and what it is stand side by side; results are kept."""

    def judged(text):
        post("desk/again", 202, text=text)
        wait_for(lambda: client.get("/api/desk/again").get_json()["state"] != "running", 60)
        return client.get("/api/desk/again").get_json()

    found = judged(DEMO.replace('"90 s"', '"40 min"', 1))
    assert (found["state"], found["done"], found["total"], found["error"]) == ("done", 1, 1, None)
    captures = found["rows"][0]["drives"][0]["captures"]
    assert any(c["was"] >= c["asked"] > c["qualified"] for c in captures)
    assert found["rows"][0]["sha256"] == received["sha256"]
    # Nobody's words were recorded in a replay: that nobody armed the pull is not held against it.
    captures = judged(DEMO + "# again\n")["rows"][0]["drives"][0]["captures"]
    assert all(c["was"] == c["qualified"] == c["asked"] for c in captures)


def test_nothing_to_judge_again(post):
    """Said, not begun."""
    assert post("desk/again", 404)["error"]["message"] == "no bundle has come yet"
    assert post("desk/again/stop")["state"] == "idle"
