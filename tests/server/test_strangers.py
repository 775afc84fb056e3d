"""Who may ask for what through the app: strangers, foreign names and origins, onlookers and operators."""

import pytest

from coach.server.api import ENDPOINTS
from coach.server.helppage import FILES, PAGES
from coach.server.roles import TABLE, Access
from tests.server.doors import ADDRESS, Phone
from tests.server.test_errors import address, check_shape

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
