"""The data folder over HTTP: its size, and a drive removed only when asked, and only from this machine."""

from coach.server.roles import TABLE, Access
from tests.server.conftest import ORIGIN


def test_the_size_is_told_and_grows_with_a_drive(client, drive):
    """In all, and for each drive."""
    before = client.get("/api/data").json
    assert before["drives"] == []
    made = drive()
    told = client.get("/api/data").json
    assert told["total_bytes"] == told["database_bytes"] + told["windows_bytes"] > before["total_bytes"]
    assert told["free_bytes"] > 0
    (one,) = told["drives"]
    assert one["id"] == made.id
    assert one["samples_bytes"] > 100_000
    assert one["windows_bytes"] == told["windows_bytes"] > 0


def test_a_drive_is_removed_when_asked(client, drive, services):
    """And is gone from the list; a second time it is not there."""
    made = drive()
    assert client.delete(f"/api/drives/{made.id}", headers=ORIGIN).json == {"id": made.id}
    assert client.get("/api/drives").json == {"drives": []}
    assert client.get(f"/api/drives/{made.id}").status_code == 404
    assert not (services.store.folder / "windows" / made.id).exists()
    assert client.delete(f"/api/drives/{made.id}", headers=ORIGIN).status_code == 404


def test_a_drive_that_is_being_recorded_stays(client, drive, services):
    made = drive(speed=1.0)
    answer = client.delete(f"/api/drives/{made.id}", headers=ORIGIN)
    assert (answer.status_code, answer.json["error"]["code"]) == (409, "conflict")
    assert services.store.drives()[0].id == made.id


def test_only_this_machine_may(client, drive):
    """Not a paired phone, and not another page."""
    assert TABLE["DELETE /api/drives/{id}"] == TABLE["GET /api/data"] == Access.LAPTOP
    made = drive()
    assert client.delete(f"/api/drives/{made.id}", headers={"Origin": "http://evil.example"}).status_code == 403
    assert len(client.get("/api/drives").json["drives"]) == 1
