"""Bad requests: one shape, one sentence, never a traceback, never a 500."""

import json
import re
import string

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.server.api import ENDPOINTS
from coach.server.guard import check_host, check_origin

JSON = {"Content-Type": "application/json"}


def check_shape(answer, status=None):
    """The one shape."""
    assert status is None or answer.status_code == status, answer.data
    assert answer.mimetype == "application/json"
    body = answer.json
    assert set(body) == {"error"}
    assert set(body["error"]) - {"errors"} == {"code", "message", "where"}
    assert isinstance(body["error"]["code"], str)
    assert body["error"]["message"].strip()
    assert "Traceback" not in answer.text
    assert "\n" not in body["error"]["message"]
    return body["error"]


def address(path):
    return path.replace("{number}", "0").replace("{sha}", "x").replace("{id}", "x").replace("{capture}", "x")


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda e: e.name)
def test_every_endpoint_has_the_one_shape_for_every_error(client, endpoint):
    """Wrong method, wrong type, too large, nonsense, unknown query, foreign origin: all alike."""
    path = address(endpoint.path)
    # One address may fit two descriptions: `x.zip` is also an `{sha}`.
    taken = {e.method for e in ENDPOINTS if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", e.path), path)}
    for method in {"GET", "POST", "PUT", "DELETE", "PATCH", "OPTIONS"} - taken:
        if method == "GET":
            # There is no drive, file or device of that name.
            check_shape(client.get(path), 404)
            continue
        answer = client.open(path, method=method)
        check_shape(answer, 405)
        assert endpoint.method in answer.headers["Allow"]
    foreign = client.open(path, method=endpoint.method, headers={"Host": "evil.example"})
    check_shape(foreign, 403)
    if endpoint.method == "GET":
        known = {} if endpoint.query is None else endpoint.query.model_fields
        assert "strange" not in known
        check_shape(client.get(path, query_string={"strange": "1"}), 400)
        return
    check_shape(client.open(path, method=endpoint.method, headers={"Origin": "https://evil.example"}), 403)
    if endpoint.takes is None and not endpoint.takes_text:
        return
    check_shape(client.post(path, data=b"x", headers={"Content-Type": "text/plain"}), 415)
    if endpoint.streamed:
        # It reads the body by itself, a piece at a time: its own tests say what it makes of one.
        return
    large = b" " * (endpoint.most_bytes + 1)
    error = check_shape(client.post(path, data=large, headers=JSON), 413)
    assert str(endpoint.most_bytes) in error["message"]
    for nonsense in (b"\xff\xfe", b"{", b"[1]", b'"x"', b"null", b"[" * 5000, b'{"a": NaN}', b'{"recipe": 1e999}'):
        check_shape(client.post(path, data=nonsense, headers=JSON), 400)


def test_what_is_not_there_is_said_in_the_same_shape(client):
    """Addresses, drives, recipes, sources, captures, numbers."""
    for path in ("/api", "/api/", "/api/nothing", "/api/drives/", "/nothing.js", "/api/drives/x/windows/y/-1"):
        check_shape(client.get(path), 404)
    for path in (
        "/api/drives/x", "/api/drives/x/attempts", "/api/drives/x/lane?capture=y", "/api/drives/x/windows/y/0",
        "/api/drives/x/windows/y/0.csv", "/api/recipes/x", "/api/ready?recipe=x&source=y",
    ):  # fmt: skip
        check_shape(client.get(path), 404)


def test_a_drive_that_has_no_such_attempt_says_so(client, drive):
    """A known drive with an unknown capture or number."""
    made = drive("replay:wrong-gear")
    path = f"/api/drives/{made.id}"
    for rest in ("windows/part-load/0", "windows/nothing/0", "windows/part-load/0.csv", "lane?capture=nothing",
                 "lane?capture=part-load&number=7"):  # fmt: skip
        check_shape(client.get(f"{path}/{rest}"), 404)
    check_shape(client.get(f"{path}/lane?capture=part-load&number=x"), 400)
    check_shape(client.get(f"{path}/lane"), 400)
    check_shape(client.get(f"{path}/windows/part-load/0.csv?form=round"), 400)


@pytest.mark.parametrize(
    ("change", "status", "where"),
    [
        ({"recipe": "x"}, 404, "x"),
        ({"source": "x"}, 404, "x"),
        ({"speed": 0}, 400, "speed"),
        ({"speed": -1}, 400, "speed"),
        ({"speed": 1e9}, 400, "speed"),
        ({"speed": "fast"}, 400, "speed"),
        ({"role": "pilot"}, 400, "role"),
        ({"acknowledged": ["x"] * 51}, 400, "acknowledged"),
        ({"acknowledged": "x"}, 400, "acknowledged"),
        ({"vehicle": "not = [toml"}, 400, "vehicle.toml"),
        ({"vehicle": "colour = 1"}, 400, None),
        ({"strange": 1}, 400, "strange"),
        ({"recipe": None}, 400, "recipe"),
    ],
)
def test_a_drive_that_cannot_start_says_why_and_leaves_nothing(client, services, recipe, change, status, where):
    """One sentence with its place; no half-made drive."""
    body = {"recipe": recipe, "source": "replay:wrong-gear", **change}
    error = check_shape(client.post("/api/drives", json=body), status)
    assert where is None or error["where"] == where
    assert services.store.drives() == []
    assert services.current is None


def test_a_table_that_cannot_be_read_is_a_bad_mark_and_a_400(client, services, recipe, tmp_path, wait_for):
    """Ready says it before the drive; starting says it too; a mended file works."""
    from coach.server.garage import Entry

    path = tmp_path / "broken.csv"
    path.write_text("no time here\n1\n")
    services.garage._add(Entry("table:x", "broken", "replay", "", path=path))
    query = {"recipe": recipe, "source": "table:x"}
    wait_for(lambda: client.get("/api/ready", query_string=query).json["marks"][0]["state"] == "bad")
    error = check_shape(client.post("/api/drives", json=query), 400)
    assert error["code"] == "bad_table"
    path.write_text("time [s],road_speed [km/h]\n0,1\n1,2\n")
    assert client.post("/api/drives", json={**query, "speed": None}).status_code == 201


def test_a_fault_of_our_own_shows_nothing_of_itself(client, services, monkeypatch, caplog):
    """500 in the one shape; the log has the traceback."""
    monkeypatch.setattr(services.shelf, "list", lambda: 1 / 0)
    error = check_shape(client.get("/api/recipes"), 500)
    assert error == {"code": "internal", "message": "something went wrong inside the server; its log says what",
                     "where": None}  # fmt: skip
    assert "ZeroDivisionError" in caplog.text


def test_a_folder_that_cannot_be_read_is_a_507(client, services):
    """The database is gone: a sentence."""
    services.store.path.unlink()
    check_shape(client.get("/api/drives"), 507)


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost.evil.example", "127.0.0.1.nip.example", "", "localhost@evil.example", "[::1", "a:b:c",
     "localhost:99999", "192.168.1.5", "LOCALHOST.", "localhost/x"],
)  # fmt: skip
def test_a_foreign_name_is_refused(client, host):
    """A name that somebody pointed at this machine does not open it."""
    check_shape(client.get("/api/about", headers={"Host": host}), 403)


@pytest.mark.parametrize("host", ["localhost", "localhost:8765", "127.0.0.1:1", "[::1]:8765", "[::1]", "LocalHost:80"])
def test_this_machines_names_are_taken(host):
    """With and without a port, in any case."""
    check_host(host)


@pytest.mark.parametrize(
    ("origin", "site", "good"),
    [
        ("http://localhost", None, True),
        (None, None, True),
        (None, "same-origin", True),
        (None, "none", True),
        (None, "cross-site", False),
        (None, "same-site", False),
        ("null", None, False),
        ("https://evil.example", None, False),
        ("http://localhost:1", None, False),
        ("http://127.0.0.1", None, False),
        ("file://localhost", None, False),
        ("http://localhost.evil.example", "same-origin", False),
    ],
)
def test_only_the_page_itself_may_change_anything(client, origin, site, good):
    """Another page in the same browser is refused; a program without a page is not."""
    headers = {k: v for k, v in {"Origin": origin, "Sec-Fetch-Site": site}.items() if v is not None}
    answer = client.post("/api/drives/current/stop", headers=headers)
    if good:
        check_shape(answer, 409)
        check_origin(origin, "localhost", site)
    else:
        check_shape(answer, 403)


def test_every_answer_carries_the_headers_that_shut_doors(client):
    """Strict policy without inline, no guessing of types, not in a frame; on errors too."""
    for path in ("/", "/api/about", "/api/nothing", "/js/main.js"):
        headers = client.get(path).headers
        assert "'unsafe" not in headers["Content-Security-Policy"]
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert "Access-Control-Allow-Origin" not in headers


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=10,
)
keys = st.sampled_from(["recipe", "source", "speed", "role", "acknowledged", "vehicle", "capture", "item", "number"])
bodies = st.one_of(
    st.binary(max_size=200),
    json_values.map(lambda v: json.dumps(v).encode()),
    st.dictionaries(keys, json_values, max_size=6).map(lambda v: json.dumps(v).encode()),
)
posts = [e for e in ENDPOINTS if e.method == "POST"]
gets = [e for e in ENDPOINTS if e.method == "GET" and e.path != "/api/live"]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(posts), bodies, st.sampled_from(["application/json", "application/toml", "text/plain", ""]))
def test_nonsense_in_a_body_is_never_a_fault(client, endpoint, body, kind):
    """Whatever a browser sends: a 4xx in the one shape, unless it happens to be what the endpoint takes."""
    answer = client.post(address(endpoint.path), data=body, headers={"Content-Type": kind} if kind else {})
    assert answer.status_code < 500, (endpoint.path, answer.data)
    if not taken(endpoint, body) or answer.status_code >= 400:
        assert answer.status_code >= 400, (endpoint.path, answer.data)
        check_shape(answer)


def taken(endpoint, body):
    """Whether a body is one that the endpoint's model takes: `{}` is, where every key has a default."""
    try:
        return endpoint.takes is not None and endpoint.takes.model_validate_json(body or b"{}") is not None
    except ValueError:
        return False


segment = st.text(string.printable + "é☃\x00", min_size=1, max_size=30)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(gets), st.lists(segment, min_size=3, max_size=3), st.dictionaries(keys, segment, max_size=3))
def test_nonsense_in_an_address_is_never_a_fault(client, endpoint, parts, query):
    """Any text for an id, any query."""
    from urllib.parse import quote

    path = endpoint.path
    for name, part in zip(("{sha}", "{id}", "{capture}"), parts, strict=True):
        path = path.replace(name, quote(part, safe=""))
    answer = client.get(path.replace("{number}", "0"), query_string=query)
    assert answer.status_code < 500, (path, answer.data)
    if answer.status_code >= 400:
        check_shape(answer)
