"""Bundles over the API: made, fetched, checked; bounded, and nothing is left behind."""

from __future__ import annotations

import shutil
import zipfile

import pytest

from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.server import Services, create_app
from coach.server import bundles as api
from coach.sources.table import read_table
from coach.store import Store

ORIGIN = {"Origin": "http://localhost"}


@pytest.fixture
def folder(stored, tmp_path):
    shutil.copytree(stored[0], tmp_path / "data")
    return tmp_path / "data"


@pytest.fixture
def client(folder, in_place):
    services = Services.make(Store(folder, Clock()), InPlace(folder), Clock(), read_table)
    yield create_app(services).test_client()
    services.close()


def send(client, raw, kind="application/zip", **more):
    return client.post("/api/bundles/check", data=raw, content_type=kind, headers=ORIGIN, **more)


def test_a_bundle_is_made_and_fetched(client, stored, folder, good):
    """The same bytes as on the command line; its contents are listed first."""
    answer = client.post("/api/bundles", json={"drives": [stored[1]]}, headers=ORIGIN)
    assert answer.status_code == 201, answer.text
    made = answer.json
    assert made["contents"][0]["windows"] == 1
    assert made["id"] == made["sha256"]
    fetched = client.get(f"/api/bundles/{made['id']}.zip")
    assert fetched.mimetype == "application/zip"
    assert fetched.data == good.read_bytes()
    assert len(fetched.data) == made["size"]
    assert "attachment" in fetched.headers["Content-Disposition"]
    fetched.close()
    wish = {"drives": [stored[1]], "whole": True, "full_vin": True}
    whole = client.post("/api/bundles", json=wish, headers=ORIGIN).json
    assert whole["size"] > made["size"]
    assert sorted(p.name for p in (folder / "bundles").iterdir()) == sorted(f"{m['id']}.zip" for m in (made, whole))


def test_only_the_last_few_are_kept(folder):
    place = folder / "bundles"
    place.mkdir()
    for n in range(7):
        (place / f"{n}.zip").write_bytes(b"x")
    api._tidy(place, "6")
    assert len(list(place.iterdir())) == api.KEPT
    assert (place / "6.zip").exists()


def test_what_cannot_be_made_or_fetched(client, stored):
    for body in ({"drives": []}, {"drives": [stored[1]] * 2}, {"drives": "x"}, {}, {"drives": [stored[1]], "more": 1}):
        assert client.post("/api/bundles", json=body, headers=ORIGIN).status_code == 400
    assert client.post("/api/bundles", json={"drives": ["../x"]}, headers=ORIGIN).status_code == 404
    for name in ("0" * 64, "..%2Fcoach", "x"):
        answer = client.get(f"/api/bundles/{name}.zip")
        assert answer.status_code == 404
        assert "error" in answer.json


def test_a_bundle_that_came_is_checked(client, good, forge, folder):
    """The same as on the command line; nothing of it stays."""
    answer = send(client, good.read_bytes())
    assert answer.status_code == 200, answer.text
    assert answer.json["ok"]
    changed = forge(lambda files: files.update({"README.txt": b"x"}), honest=False)
    told = send(client, changed.read_bytes(), "application/octet-stream").json
    assert [p["code"] for p in told["problems"]] == ["file_changed"]
    refused = send(client, b"hello")
    assert refused.status_code == 400
    assert refused.json["error"]["code"] == "bad_bundle"
    assert refused.json["error"]["where"] == "bundle.zip"
    assert list((folder / "bundles").iterdir()) == []


def test_a_body_that_is_too_large_or_of_another_kind(client, folder, monkeypatch, good):
    """Refused by its declared length, and by what really comes."""
    assert send(client, b"{}", "application/json").status_code == 415
    monkeypatch.setattr(api, "MOST_BYTES", 1_000)
    assert send(client, good.read_bytes()).status_code == 413
    with good.open("rb") as body:
        chunked = send(client, None, input_stream=body, environ_overrides={"wsgi.input_terminated": True})
    assert chunked.status_code == 413
    assert list((folder / "bundles").iterdir()) == []


def test_two_at_a_time(client, stored, good):
    """A third is told to come again: a laptop in a car has a drive to record."""
    with api._turn(), api._turn():
        assert client.post("/api/bundles", json={"drives": [stored[1]]}, headers=ORIGIN).status_code == 409
        assert send(client, good.read_bytes()).status_code == 409
    assert send(client, good.read_bytes()).status_code == 200


def test_a_folder_that_cannot_be_written(client, stored, good, folder):
    (folder / "bundles").write_text("a file")
    assert client.post("/api/bundles", json={"drives": [stored[1]]}, headers=ORIGIN).status_code == 507
    assert send(client, good.read_bytes()).status_code == 507


def test_what_is_made_can_be_opened_by_anyone(client, stored, tmp_path):
    made = client.post("/api/bundles", json={"drives": [stored[1]]}, headers=ORIGIN).json
    with client.get(f"/api/bundles/{made['id']}.zip") as answer:
        (tmp_path / "b.zip").write_bytes(answer.data)
    assert zipfile.ZipFile(tmp_path / "b.zip").testzip() is None
