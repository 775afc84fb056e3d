"""While the car moves only stopping is open until a passenger has confirmed: the server holds that, the page shows."""

from __future__ import annotations

import pytest

from coach.recipe import parse_recipe
from coach.server.notes import NotAgreed, check_agreed, notes_for

LOCKED = ("pause", "resume", "seen", "arm", "disarm", "skip", "unskip", "confirm", "dial", "read-as")
BODIES = {"confirm": {"capture": "roll-on", "item": "x"}, "dial": {"shows": 80}} | {
    name: {"capture": "roll-on"} for name in ("arm", "disarm", "skip", "unskip")
}


@pytest.fixture
def moving(drive, wait_for):
    """A drive in which the car moves and nobody has said who holds the phone."""
    made = drive("replay:everything-qualifies", speed=30.0)
    wait_for(lambda: made.locked)
    yield made
    made.finish()
    assert made.wait(60)


def ask(client, name):
    return client.post(f"/api/drives/current/{name}", json=BODIES.get(name, {}))


def test_only_stopping_is_open_while_it_moves(client, services, moving, wait_for):
    """Everything else answers with one sentence; a stop can be given and taken back."""
    for name in LOCKED:
        answer = ask(client, name)
        assert (answer.status_code, answer.json["error"]["code"]) == (409, "locked"), name
        assert "a passenger confirms first" in answer.json["error"]["message"]
    wait_for(lambda: services.state()["drive"]["locked"] is True)
    assert ask(client, "stop").status_code == 200
    assert ask(client, "carry-on").status_code == 200


def test_a_passenger_opens_it_once_and_someone_else_shuts_it(client, services, moving):
    """Stored with its time; after Someone else holds it, it is asked for again."""
    assert client.post("/api/drives/current/role", json={"role": "passenger"}).status_code == 200
    assert ask(client, "skip").status_code == 200
    assert client.post("/api/drives/current/role", json={"role": None}).status_code == 200
    assert ask(client, "skip").json["error"]["code"] == "locked"
    assert client.post("/api/drives/current/role", json={"role": "driver"}).status_code == 200
    assert ask(client, "skip").json["error"]["code"] == "locked", "a driver who moves holds no phone"
    said = [(m.kind, m.text) for m in services.store.marks(moving.id) if m.kind == "role"]
    assert said[0] == ("role", "passenger")


def test_arming_is_for_a_passenger_at_standstill(client, drive, wait_for):
    """The driver who holds the phone arms nothing on a closed course: that waits for a passenger."""
    made = drive("replay:everything-qualifies", speed=1.0, role="driver")
    answer = client.post("/api/drives/current/arm", json={"capture": "roll-on"})
    assert answer.status_code == 409
    assert "passenger" in answer.json["error"]["message"]
    wait_for(lambda: client.post("/api/drives/current/arm", json={"capture": "settled-idle"}).status_code == 200)
    made.finish()
    assert made.wait(60)


# --- the notes

RECIPE = """format = 1
title = "A note for each place"
revision = 1
[record]
road_speed = "1 Hz"
engine_speed = "1 Hz"
[[capture]]
id = "one"
title = "One"
place = "{place}"
hold = "30 s"
[capture.keep]
road_speed = {{ max = "50 km/h" }}
"""


def recipe_at(place):
    return parse_recipe(RECIPE.format(place=place).encode(), name="x.toml")


@pytest.mark.parametrize(
    ("place", "codes"),
    [
        ("road", ["law", "warning_lamp", "driver_drives"]),
        ("closed course", ["closed_course", "warning_lamp", "driver_drives"]),
        ("parked", ["open_air", "warning_lamp"]),
    ],
)
def test_each_place_has_its_notes(place, codes):
    assert notes_for(recipe_at(place)) == codes


def test_a_real_car_needs_them_all_and_who_holds_the_phone():
    """One sentence with what is missing."""
    asked = recipe_at("parked")
    with pytest.raises(NotAgreed, match="warning_lamp"):
        check_agreed(asked, "passenger", ["open_air"])
    with pytest.raises(NotAgreed, match="who holds the phone"):
        check_agreed(asked, None, ["open_air", "warning_lamp"])
    check_agreed(asked, "driver", ["open_air", "warning_lamp", "law"])


def test_the_page_gets_the_notes_from_the_server(client, recipe):
    """One list, in one place."""
    assert client.get(f"/api/recipes/{recipe}").json["notes"] == [
        "law", "closed_course", "open_air", "warning_lamp", "driver_drives",
    ]  # fmt: skip
