"""Pairing through the app: wrong and replayed secrets, removal, taking over, and what is never told."""

import logging

import pytest

from coach.clock import US
from coach.server.devices import INVITE_S
from coach.server.joining import Watched, invitation
from coach.server.joining_api import rows_of
from tests.server.doors import Phone
from tests.server.test_errors import check_shape


@pytest.fixture
def clock(joining):
    """The one that the doors go by."""
    return joining.clock


# --- pairing


def test_a_phone_joins_with_the_square(phone, laptop, joining):
    """From the square on the laptop's page to the state; the phone is on the list."""
    shown = laptop.post("/api/joining/square", json={"role": "operator"}).json
    page, _, secret = shown["url"].partition("#s=")
    assert page == f"https://{joining.name}:{joining.port}/join"
    check_shape(phone.get("/api/state"), 401)
    answer = phone.post("/api/pair", {"secret": secret}, **{"User-Agent": "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0)"})
    assert answer.json == {"id": answer.json["id"], "name": "iPhone", "role": "operator"}
    assert phone.get("/api/state").status_code == 200
    assert phone.get("/").status_code == 200
    assert phone.get("/api/me").json == {
        "role": "operator",
        "laptop": False,
        "lan": True,
        "id": answer.json["id"],
        "name": "iPhone",
    }
    (device,) = laptop.get("/api/devices").json["devices"]
    assert (device["name"], device["role"]) == ("iPhone", "operator")


def test_the_cookie_is_one_that_only_this_server_sees(phone):
    """HttpOnly, Secure, SameSite=Strict, this host only: `__Host-` (RFC 6265bis)."""
    parts = phone.join().headers["Set-Cookie"].split("; ")
    assert parts[0].startswith("__Host-coach=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Strict"} <= set(parts)
    assert not any(part.startswith("Domain") for part in parts)


def test_a_wrong_secret_joins_nobody(phone, joining):
    """One sentence, no cookie."""
    joining.square("operator", "page")
    answer = phone.post("/api/pair", {"secret": "x" * 24})
    assert check_shape(answer, 403)["code"] == "bad_secret"
    assert "Set-Cookie" not in answer.headers
    check_shape(phone.get("/api/state"), 401)


def test_a_replayed_secret_joins_nobody(lan_app, joining, phone):
    """What somebody read off the phone's screen or history is worth nothing."""
    secret = joining.square("operator", "page")[0].partition("#s=")[2]
    assert phone.post("/api/pair", {"secret": secret}).status_code == 200
    other = Phone(lan_app, joining, "192.168.77.66")
    assert check_shape(other.post("/api/pair", {"secret": secret}), 403)["code"] == "bad_secret"
    check_shape(other.get("/api/me"), 401)


def test_an_old_secret_joins_nobody(phone, joining, clock):
    secret = joining.square("operator", "page")[0].partition("#s=")[2]
    clock.now_us += INVITE_S * US
    check_shape(phone.post("/api/pair", {"secret": secret}), 403)


def test_guessing_ends_and_joining_goes_on_later(lan_app, phone, joining, clock, laptop):
    """After five wrong ones even the right one waits; the laptop's page is told when all are shut out."""
    secret = joining.square("operator", "page")[0].partition("#s=")[2]
    for _ in range(5):
        check_shape(phone.post("/api/pair", {"secret": "x"}), 403)
    answer = phone.post("/api/pair", {"secret": secret})
    assert check_shape(answer, 429)["code"] == "too_many_attempts"
    assert answer.headers["Retry-After"] == "600"
    for n in range(30 - 5):
        Phone(lan_app, joining, f"192.168.77.{100 + n}").post("/api/pair", {"secret": "x"})
    assert laptop.get("/api/joining").json["shut_s"] == 600
    clock.now_us += 600 * US
    assert laptop.get("/api/joining").json["shut_s"] == 0
    assert phone.join().status_code == 200


def test_a_joined_phone_that_scans_again_stays_one_device(phone, laptop):
    """It keeps its name, and gets the new square's role."""
    phone.join(name="Ann's phone")
    assert phone.join("onlooker").json["name"] == "Ann's phone"
    (device,) = laptop.get("/api/devices").json["devices"]
    assert device["role"] == "onlooker"


def test_two_phones_of_a_kind_get_two_names(lan_app, joining):
    names = [Phone(lan_app, joining).join().json["name"] for _ in range(3)]
    assert names == ["Device", "Device 2", "Device 3"]


def test_the_laptop_itself_needs_no_joining(laptop):
    """It is the owner; and a square shown to itself stays good."""
    assert laptop.get("/api/me").json == {"role": "operator", "laptop": True, "lan": True, "id": None, "name": "laptop"}
    check_shape(laptop.post("/api/pair", json={"secret": "x"}), 409)
    check_shape(laptop.post("/api/leave"), 409)


def test_a_phone_can_leave(phone, laptop):
    """Its cookie is forgotten, and the pairing is gone."""
    phone.join()
    answer = phone.post("/api/leave")
    assert "Max-Age=0" in answer.headers["Set-Cookie"]
    check_shape(phone.get("/api/me"), 401)
    assert laptop.get("/api/devices").json == {"devices": []}


def test_without_lan_nobody_can_join(client):
    """Each of these endpoints says how it would work; and the page is told."""
    for method, path, body in (
        ("GET", "/api/joining", None), ("POST", "/api/joining/square", {}), ("GET", "/api/devices", None),
        ("POST", "/api/devices/x/remove", {}), ("POST", "/api/devices/x/name", {"name": "y"}),
        ("POST", "/api/pair", {"secret": "x"}), ("POST", "/api/leave", {}),
    ):  # fmt: skip
        assert "--lan" in check_shape(client.open(path, method=method, json=body), 409)["message"]
    assert client.get("/api/me").json["lan"] is False
    assert client.get("/join").status_code == 404


# --- removal


def test_a_removed_device_is_a_stranger_at_once(phone, laptop):
    device = phone.join().json["id"]
    assert laptop.post(f"/api/devices/{device}/remove").json == {"id": device}
    check_shape(phone.get("/api/state"), 401)
    check_shape(laptop.post(f"/api/devices/{device}/remove"), 404)


def test_a_removed_devices_stream_ends(phone, laptop, services):
    """The open stream hears nothing more after the removal; what is inside is closed."""
    device = phone.join().json["id"]
    stream = phone.get("/api/live")
    events = iter(stream.response)
    assert b"retry" in next(events)
    assert b"event: state" in next(events)
    laptop.post(f"/api/devices/{device}/remove")
    services.ring.publish("state", {"drive": {"phase": "none"}})
    with pytest.raises(StopIteration):
        next(events)
    stream.close()


def test_a_watched_stream_closes_what_is_inside(joining):
    class Inner:
        closed = False

        def __iter__(self):
            return iter([b"x"])

        def close(self):
            self.closed = True

    inner = Inner()
    watched = joining.watched(inner, "nobody")
    assert list(watched) == []
    watched.close()
    assert inner.closed
    Watched([], joining.devices, "x").close()


def test_a_device_gets_another_name(phone, laptop):
    device = phone.join().json["id"]
    assert laptop.post(f"/api/devices/{device}/name", json={"name": " Ben's  phone "}).status_code == 200
    assert phone.get("/api/me").json["name"] == "Ben's phone"
    check_shape(laptop.post(f"/api/devices/{device}/name", json={"name": " "}), 400)
    check_shape(laptop.post("/api/devices/x/name", json={"name": "y"}), 404)


# --- secrets


def test_no_log_and_no_address_holds_a_secret(phone, laptop, joining, caplog, capfd, monkeypatch):
    """Everything that is logged at the finest level, and every address and query of the way, right and wrong."""
    caplog.set_level(logging.DEBUG)
    asked = []
    inside = phone.client.application.wsgi_app

    def listen(environ, start):
        asked.append(str({k: v for k, v in environ.items() if k.isupper() and k != "HTTP_COOKIE"}))
        return inside(environ, start)

    monkeypatch.setattr(phone.client.application, "wsgi_app", listen)
    wrong, secret = "w" * 24, laptop.post("/api/joining/square", json={}).json["url"].partition("#s=")[2]
    phone.post("/api/pair", {"secret": wrong})
    answer = phone.post("/api/pair", {"secret": secret})
    token = answer.headers["Set-Cookie"].partition("=")[2].partition(";")[0]
    monkeypatch.setattr(joining.devices, "list", lambda: 1 / 0)
    assert laptop.get("/api/devices").status_code == 500
    phone.post("/api/pair", {"secret": secret})
    told = caplog.text + "".join(capfd.readouterr()) + "".join(asked)
    assert "ZeroDivisionError" in caplog.text
    for hidden in (wrong, secret, token):
        assert hidden not in told
        assert hidden not in answer.text


def test_a_square_holds_the_secret_where_no_browser_sends_it():
    """Behind the # (RFC 3986, 3.5: a fragment is never part of a request)."""
    assert invitation("https://coach-ab12.local:8766/", "xyz") == "https://coach-ab12.local:8766/join#s=xyz"


def test_the_square_is_a_qr_code():
    """21 + 4 (version - 1) modules a side, with the three finder patterns (ISO/IEC 18004)."""
    rows = rows_of("https://coach-ab12.local:8766/join#s=" + "x" * 24)
    size = len(rows)
    assert (size - 21) % 4 == 0
    assert {len(row) for row in rows} == {size}
    finder = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    assert [row[:7] for row in rows[:7]] == finder
    assert [row[-7:] for row in rows[:7]] == finder
    assert [row[:7] for row in rows[-7:]] == finder


# --- taking over


def test_taking_over_is_asked_and_kept_with_the_drive(lan_app, joining, services, recipe, monkeypatch):
    """Ann's phone starts the drive; Ben's acts in the moving car and confirms first; both are kept in the drive."""
    ann, ben = Phone(lan_app, joining), Phone(lan_app, joining)
    ann.join(name="Ann's phone")
    ben.join(name="Ben's phone")
    asked = {"recipe": recipe, "source": "replay:everything-qualifies", "role": "passenger"}
    assert ann.post("/api/drives", asked).status_code == 201
    drive = services.current
    state = services.state()
    monkeypatch.setattr(services, "state", lambda: state | {"drive": state["drive"] | {"moving": True}})
    skip = {"capture": "part-load"}
    assert ann.post("/api/drives/current/skip", skip).status_code == 200
    assert "passenger" in check_shape(ben.post("/api/drives/current/unskip", skip), 409)["message"]
    assert "passenger" in check_shape(ann.post("/api/drives/current/unskip", skip), 409)["message"]
    assert ben.post("/api/drives/current/role", {"role": "passenger"}).status_code == 200
    assert ben.post("/api/drives/current/unskip", skip).status_code == 200
    assert ann.post("/api/drives/current/stop").status_code == 200
    said = [(m.kind, m.text) for m in drive.marks if m.kind in {"device", "role"}]
    assert said[0] == ("role", "passenger")
    assert ("device", "Ann's phone") in said
    assert said[-2:] == [("device", "Ben's phone"), ("role", "passenger")]
    assert ("role", "") in said
    drive.finish()
    assert drive.wait(60)
    stored = [(m.kind, m.text) for m in services.store.recording(drive.id).marks if m.kind == "device"]
    assert ("device", "Ben's phone") in stored
