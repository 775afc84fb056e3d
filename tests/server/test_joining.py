"""Joining through the app: pairing, wrong and replayed secrets, strangers, roles, removal, and what is never told."""

import errno
import logging
import threading

import pytest

from coach.clock import US, HandClock
from coach.server import create_app
from coach.server.api import ENDPOINTS
from coach.server.attempts import Attempts
from coach.server.devices import INVITE_S
from coach.server.helppage import FILES, PAGES
from coach.server.joining import Watched, invitation, through
from coach.server.joining_api import rows_of
from coach.server.roles import TABLE, Access
from tests.server.doors import ADDRESS, Phone, Quiet, open_joining
from tests.server.test_errors import address, check_shape


@pytest.fixture(scope="module")
def one_joining(tmp_path_factory):
    """Opened once: a server's threads take their time to start."""
    made = open_joining(tmp_path_factory.mktemp("data"), HandClock())
    yield made
    made.close()


@pytest.fixture
def joining(one_joining):
    """As fresh: nobody is joined, nothing was tried."""
    for device in one_joining.devices.list():
        one_joining.devices.remove(device.id)
    one_joining.attempts = Attempts(one_joining.clock)
    return one_joining


@pytest.fixture
def clock(joining):
    return joining.clock


@pytest.fixture
def lan_app(services, joining):
    return create_app(services, joining=joining)


@pytest.fixture
def phone(lan_app, joining):
    return Phone(lan_app, joining)


@pytest.fixture
def laptop(lan_app):
    return lan_app.test_client()


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


# --- strangers


def test_a_stranger_gets_nothing_of_the_api(phone):
    """Every endpoint but pairing."""
    for endpoint in ENDPOINTS:
        if endpoint.path != "/api/pair":
            answer = phone.ask(endpoint.method, address(endpoint.path), {} if endpoint.method == "POST" else None)
            check_shape(answer, 401)


def test_a_stranger_gets_the_help_page_and_its_own_files_only(phone):
    """The page's address leads to it; everything else of the page is refused, also what does not exist."""
    answer = phone.get("/")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/join?on=1")
    for path in ("/join", "/trust", "/css/join.css", "/js/joining.js", "/js/light.js", "/trust/log-capture-coach.crt"):
        assert phone.get(path).status_code == 200, path
    for path in ("/index.html", "/js/main.js", "/js/api.js", "/sw.js", "/css/drive.css", "/words/en/page.car.json",
                 "/api/openapi.json", "/api/nothing", "/nothing", "/js/joining.js/x", "/css/../js/main.js", "/join/",
                 "/trust/authority.pem", "/joining/devices.db"):  # fmt: skip
        assert phone.get(path).status_code in {400, 401, 404}, path
        assert b"function" not in phone.get(path).data
    check_shape(phone.get("/js/main.js"), 401)
    check_shape(phone.post("/"), 401)


def test_the_help_page_needs_nothing_that_strangers_are_refused(phone):
    """Every file that it names is among those that are public."""
    import re

    for page in ("/join", "/trust"):
        named = set(re.findall(r'(?:src|href)="(/[^"?#]*)', phone.get(page).text)) - {"/"}
        assert {n for n in named if n.removeprefix("/") not in FILES and n not in PAGES} == set()
        assert all(phone.get(n).status_code == 200 for n in named)


def test_a_cookie_that_is_not_known_is_a_strangers(phone):
    phone.client.set_cookie("__Host-coach", "x" * 43, domain=phone.joining.name, secure=True)
    check_shape(phone.get("/api/state"), 401)


# --- names and origins


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost", "127.0.0.1", f"{ADDRESS}.evil.example", "", "192.168.77.6", "coach.local", None],
)
def test_a_foreign_host_is_refused_also_with_a_cookie(phone, host):
    """DNS rebinding: a foreign name that was pointed at the laptop brings the page's cookie nowhere."""
    phone.join()
    assert phone.get("/api/state", Host=host or "").status_code in {400, 403}


def test_the_own_names_are_taken(phone, joining):
    phone.join()
    for host in (joining.name, f"{joining.name}:{joining.port}", ADDRESS, f"{ADDRESS}:1"):
        assert phone.get("/join", Host=host).status_code == 200


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "null", "http://{host}", "https://{name}", "https://{host}.evil.example", None]
)
def test_a_foreign_origin_changes_nothing(phone, origin, services, recipe):
    """Another page in the same browser, also one over plain http from this very host, or none that says who."""
    phone.join()
    given = origin and origin.format(host=phone.host, name=phone.joining.name)
    body = {"recipe": recipe, "source": "replay:wrong-gear"}
    check_shape(phone.post("/api/drives", body, Origin=given), 403)
    check_shape(phone.post("/api/pair", {"secret": "x"}, Origin=given), 403)
    assert services.current is None


def test_the_doors_do_not_mix(laptop, lan_app):
    """No header says through which door a request came; and the laptop's door is for the laptop."""
    for name in ("coach.door", "Coach-Door", "X-Forwarded-For", "X-Forwarded-Host", "Forwarded"):
        assert laptop.get("/api/me", headers={name: "127.0.0.1"}).json["laptop"] is True
    check_shape(laptop.get("/api/me", environ_base={"REMOTE_ADDR": "192.168.77.20"}), 403)
    check_shape(laptop.get("/api/me", headers={"Host": "coach-k7d2.local"}), 403)


def test_a_server_without_lan_does_not_answer_the_network(client):
    """Should its app ever be reached from there."""
    check_shape(client.get("/api/state", environ_base={"coach.door": "lan", "REMOTE_ADDR": "192.168.77.20"}), 403)


# --- roles


def test_every_endpoint_has_its_place_in_the_table():
    """And the table has no other line: what is forgotten is for the laptop only, and a test says so."""
    assert {f"{e.method} {e.path}" for e in ENDPOINTS} | {"GET /api/openapi.json"} == set(TABLE)


def test_only_looking_is_for_onlookers():
    """Nothing that changes anything, but leaving; a plan is computed and not kept."""
    watch = {name for name, access in TABLE.items() if access <= Access.ONLOOKER and not name.startswith("GET ")}
    assert watch == {"POST /api/pair", "POST /api/leave", "POST /api/plan"}


def test_the_table_is_what_happens(lan_app, joining):
    """Each role at each endpoint: refused for its role, or answered by the endpoint itself."""
    for role, access in (("onlooker", Access.ONLOOKER), ("operator", Access.OPERATOR)):
        for endpoint in ENDPOINTS:
            if endpoint.path == "/api/live":
                continue
            phone = Phone(lan_app, joining)
            phone.join(role)
            answer = phone.ask(endpoint.method, address(endpoint.path), {} if endpoint.method == "POST" else None)
            refused = answer.status_code == 403 and answer.json["error"]["code"] == "not_allowed"
            assert refused is (access < TABLE[f"{endpoint.method} {endpoint.path}"]), (role, endpoint.path, answer.data)
            for device in joining.devices.list():
                joining.devices.remove(device.id)


def test_an_onlooker_cannot_stop_a_drive(lan_app, joining, services, drive):
    """It sees the drive; Stop is refused, and the drive goes on. An operator's Stop stops it."""
    made = drive(speed=1.0)
    onlooker, operator = Phone(lan_app, joining), Phone(lan_app, joining)
    onlooker.join("onlooker")
    operator.join("operator")
    assert onlooker.get("/api/state").json["drive"]["id"] == made.id
    for action in ("stop", "finish", "pause", "role", "skip", "arm"):
        error = check_shape(onlooker.post(f"/api/drives/current/{action}", {"capture": "part-load"}), 403)
        assert "watches only" in error["message"]
    assert made.phase == "recording"
    assert operator.post("/api/drives/current/stop").status_code == 200
    assert made.phase == "stopping"
    check_shape(onlooker.post("/api/drives/current/carry-on"), 403)


def test_an_operators_phone_joins_and_removes_nobody(phone, joining):
    """A lost phone cannot let others in."""
    phone.join()
    for method, path, body in (
        ("POST", "/api/joining/square", {"role": "operator"}), ("GET", "/api/joining", None),
        ("GET", "/api/devices", None), ("POST", f"/api/devices/{joining.devices.list()[0].id}/remove", {}),
    ):  # fmt: skip
        assert check_shape(phone.ask(method, path, body), 403)["code"] == "not_allowed"
    assert len(joining.devices.list()) == 1


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


# --- life


def test_the_name_stays_the_same_for_as_long_as_the_folder_lives(tmp_path):
    """A phone keeps what it has by the page's address: a new one would lose it."""
    first = open_joining(tmp_path)
    name, print_ = first.name, first.certificates.authority.fingerprint
    first.close()
    again = open_joining(tmp_path)
    assert (again.name, again.certificates.authority.fingerprint) == (name, print_)
    assert name.startswith("coach-")
    again.close()
    other = open_joining(tmp_path / "other")
    assert other.name != name
    other.close()


def serial(joining):
    from cryptography import x509

    return x509.load_pem_x509_certificate(joining.certificates.path.read_bytes()).serial_number


def test_a_server_that_runs_for_months_renews_its_certificate(joining, clock):
    """Ten seconds apart it looks; five months on there is a new one, and the door has it."""
    first, context = serial(joining), joining.tls.context
    clock.now_us += 5 * US
    joining.tick()
    clock.now_us += 140 * 86_400 * US
    joining.tick()
    assert (serial(joining), joining.tls.context) == (first, context)
    clock.now_us += 10 * 86_400 * US
    joining.tick()
    assert serial(joining) != first
    assert joining.tls.context is not context


def test_a_new_address_gets_a_certificate_and_is_announced(tmp_path, clock, wait_for):
    """The old one is refused from then on; with no network for a moment, nothing changes."""
    found, quiet = [ADDRESS], Quiet()
    joining = open_joining(tmp_path, clock, addresses=lambda: list(found), announcer=quiet)
    joining.start(lambda *_: [], lambda *_: [])
    assert joining.wait_announced()
    first = serial(joining)
    for now, same in (([], True), (["10.0.0.9"], False), (["10.0.0.9"], False)):
        found[:] = now
        clock.now_us += 10 * US
        joining.tick()
        assert (serial(joining) == first) is same
    wait_for(lambda: len([t for t in quiet.told if t != "withdrawn"]) == 2)
    assert quiet.told[1] == (joining.name, ["10.0.0.9"], joining.port)
    assert joining.hosts() >= {"10.0.0.9", joining.name}
    assert ADDRESS not in joining.hosts()
    assert joining.address(number=True) == f"https://10.0.0.9:{joining.port}/"
    joining.close()
    assert quiet.told[-1] == "withdrawn"


def test_a_name_that_cannot_be_announced_is_said_and_a_number_used(tmp_path, services, wait_for):
    """The server goes on; the square and the command know the number."""
    joining = open_joining(tmp_path, announcer=Quiet("port 5353 is taken"))
    app = create_app(services, joining=joining)
    joining.start(app, app)
    assert joining.wait_announced()
    told = app.test_client().get("/api/joining").json
    assert (told["announced"], told["trouble"], told["nowhere"]) == (False, "port 5353 is taken", False)
    assert told["address"] == f"https://{ADDRESS}:{joining.port}/"
    assert app.test_client().post("/api/joining/square", json={}).json["url"].startswith(told["address"])
    wait_for(lambda: joining.devices.fact("address") == told["address"])
    joining.close()


def test_without_a_network_the_name_is_still_told(tmp_path):
    joining = open_joining(tmp_path, addresses=list, announcer=Quiet("this machine is in no private network"))
    joining.trouble = "x"
    assert joining.address() == f"https://{joining.name}:{joining.port}/"
    joining.close()


def test_a_server_that_ends_while_announcing_takes_it_back(tmp_path):
    """The announcement that was under way does not stay."""
    go = threading.Event()

    class Slow(Quiet):
        def announce(self, *given):
            assert go.wait(10)
            return super().announce(*given)

    slow = Slow()
    joining = open_joining(tmp_path, announcer=slow)
    joining.start(lambda *_: [], lambda *_: [])
    joining.shut()
    go.set()
    joining.close(5)
    assert slow.told[-1] == "withdrawn"
    assert not joining.announced


def test_a_port_in_use_is_said_before_anything_is_begun(tmp_path, joining):
    """And what was opened until then is closed again: no warning of a socket left behind."""
    from coach.errors import Conflict

    for taken in ({"port": joining.port, "help_port": 0}, {"port": 0, "help_port": joining.port}):
        from coach.server.joining import Joining, Lan

        with pytest.raises(Conflict, match="in use"):
            Joining.open(tmp_path / "x", HandClock(), Lan(bind="127.0.0.1", announcer=Quiet(), addresses=list, **taken))


def test_a_door_that_cannot_be_opened_after_all_is_said(monkeypatch):
    """The port was free a moment ago."""
    from coach.errors import Conflict
    from coach.server import joining as module

    def refuse(_self):
        raise OSError(errno.EADDRINUSE, "in use")

    monkeypatch.setattr(module.LanServer, "prepare", refuse)
    with pytest.raises(Conflict, match="in use"):
        module.listen_lan("127.0.0.1", 0, 1)


def test_a_door_that_is_opened_too_early_says_so(tmp_path):
    """Bound before everything is begun, it answers with a sentence until then."""
    joining = open_joining(tmp_path)
    said = []
    assert b"starting" in b"".join(joining.https.wsgi_app({}, lambda status, _: said.append(status)))
    assert said == ["503 Service Unavailable"]
    joining.close()


def test_the_door_is_written_by_the_server_only():
    """What a client sends becomes `HTTP_...`; the key of the door is set over whatever was there."""
    seen = []
    through(lambda environ, _: seen.append(environ["coach.door"]) or [])(
        {"coach.door": "x", "HTTP_COACH_DOOR": "y"}, None
    )
    assert seen == ["lan"]


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
    assert drive.wait(30)
    stored = [(m.kind, m.text) for m in services.store.recording(drive.id).marks if m.kind == "device"]
    assert ("device", "Ben's phone") in stored
