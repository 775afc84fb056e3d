"""Asking the car again at once: before a drive it is looked for anew, in one the other tester is taken to be gone."""

from __future__ import annotations

import pytest

from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.server.app import create_app
from coach.server.carlink import GivenLink
from coach.server.models import StartDrive
from coach.server.services import Services
from coach.server.starting import Given
from coach.sources.adapter import AdapterServer
from coach.sources.table import read_table
from coach.store import Store
from tests.link.wired import table_car


@pytest.fixture
def car(tmp_path):
    """Services and a client of a server with one car."""
    with AdapterServer(table_car()) as server:
        store = Store(tmp_path / "data", Clock())
        given = Given(links=(GivenLink(server.url, begin=lambda: None),))
        services = Services.make(store, InPlace(store.folder), Clock(), read_table, given)
        yield services, create_app(services).test_client(), server
        services.close()


def test_before_a_drive_the_car_is_looked_for_anew(car):
    services, client, _ = car
    link = services.garage.entry("link:0").link
    first = link.look().result(20)
    assert client.post("/api/links/link:0/retry", json={}).get_json() == {"driving": False}
    assert link.car is first  # what was found stands while it is looked at again
    assert link.look().result(20) is not first


def test_in_a_drive_another_tester_is_said_and_one_tap_asks_again(car, wait_for, monkeypatch):
    """The state tells it in words and that asking has stopped; without the tap it would be silent for ten minutes."""
    monkeypatch.setattr("coach.sources.link.quiet.QUIET_S", (600.0, 600.0))
    services, client, server = car
    sha = services.shelf.bundled[0]
    drive = services.start(StartDrive(recipe=sha, source="link:0", role="passenger"))
    wait_for(lambda: services.state()["link"]["state"] == "up" and services.store.drive(drive.id).samples > 0)
    server.faults.now("other-tester", None)
    wait_for(lambda: services.state()["link"]["occupied"])
    assert "Another tester or program is talking to the car" in services.state()["link"]["reason"]
    server.faults.clear()
    assert client.post("/api/drives/current/retry", json={}).get_json()["id"] == drive.id
    wait_for(lambda: services.state()["link"]["state"] == "up")
    assert client.post("/api/links/link:0/retry", json={}).get_json() == {"driving": True}
    drive.finish()
    assert drive.wait(60)
    assert client.post("/api/drives/current/retry", json={}).status_code == 409


def test_what_is_no_car_cannot_be_asked(car):
    services, client, _ = car
    for source, status in (("simulator:everything-qualifies", 409), ("link:7", 404)):
        assert client.post(f"/api/links/{source}/retry", json={}).status_code == status
    services.start(StartDrive(recipe=services.shelf.bundled[0], source="simulator:everything-qualifies"))
    answer = client.post("/api/drives/current/retry", json={})
    assert answer.status_code == 409
    assert "no car" in answer.get_json()["error"]["message"]
