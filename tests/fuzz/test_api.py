"""Every address of the API, asked by its own description and against it: no 500, no traceback, no hang, no growth."""

import logging
import random
import time
import tracemalloc
from urllib.parse import quote

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)  # fmt: skip

from coach.clock import Clock, HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.server import Services, create_app
from coach.server.api import ENDPOINTS
from coach.server.openapi import describe
from coach.soak.made import Made, setup
from coach.sources.table import read_table
from coach.store import Store
from tests.fuzz.feeding import MOST_S, TOKENS, tried

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
HANGS_S = 60.0
"""A machine with much else to do may take long; reading the pedal takes two seconds by design."""
STREAMS = {"/api/live"}
"""Does not end; tests/server/test_live.py is about it."""
ASKED = [e for e in ENDPOINTS if e.path not in STREAMS]


def _pairs(schema):
    """The same without `prefixItems`, which the library turns into a form that it then refuses itself."""
    if isinstance(schema, dict):
        made = {key: _pairs(value) for key, value in schema.items() if key != "prefixItems"}
        return made | {"items": {"anyOf": schema["prefixItems"]}} if "prefixItems" in schema else made
    return [_pairs(value) for value in schema] if isinstance(schema, list) else schema


class Place:
    """A server without a socket, with one drive in it."""

    def __init__(self, folder):
        store = Store(folder, HandClock())
        self.services = Services.make(store, InPlace(folder), Clock(), read_table)
        self.app = create_app(self.services)
        self.client = self.app.test_client()
        self.recipe = self.services.shelf.bundled[0]
        drive = Drive(setup(Made(20.0)), store, self.services.worker, store.clock, Ring())
        drive.start()
        assert drive.wait(60)
        self.drive = drive.id
        self.schema = schemathesis.openapi.from_dict(_pairs(describe(ENDPOINTS)))
        self.schema.app = self.app

    def known(self, name):
        """Values of a parameter that lead somewhere."""
        return {
            "id": [self.drive], "sha": [self.recipe], "recipe": [self.recipe], "capture": ["cruise", "settled"],
            "source": [e.id for e in self.services.garage.list()], "number": [0, 1], "drive": [self.drive],
        }.get(name, [])  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    made = Place(tmp_path_factory.mktemp("api") / "data")
    yield made
    made.services.close()


def examples():
    """A part of the profile's number for each of the many addresses: in all of them together it is many times that."""
    return max(6, settings.default.max_examples // 12)


# The library that asks does not close the answer that is a file; a server does.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("endpoint", ASKED, ids=lambda e: f"{e.method} {e.path}")
def test_every_address_keeps_to_its_description(place, endpoint, caplog):
    """Whatever it is sent, also what its description forbids."""
    operation = place.schema[endpoint.path][endpoint.method]
    good = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
    bad = operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)
    # A slash or a dot would lead to another address.
    texts = [t.decode("utf-8", "replace")[:300] for t in TOKENS]
    hostile = st.sampled_from([t for t in texts if t and "/" not in t and t.strip(".")])

    @settings(max_examples=examples(), suppress_health_check=list(HealthCheck), deadline=None)
    @given(case=good | bad if _can_be_wrong(operation) else good, data=st.data())
    def ask(case, data):
        for part in (case.path_parameters, case.query):
            for name in part or {}:
                values = place.known(name)
                if values and data.draw(st.booleans()):
                    part[name] = data.draw(st.sampled_from(values))
                elif name != "number" and data.draw(st.integers(0, 9)) == 0:
                    drawn = data.draw(hostile)
                    # The library puts what it is handed into the address as it stands: "#" would end it.
                    part[name] = quote(drawn, safe="") if part is case.path_parameters else drawn
        for name, value in (case.path_parameters or {}).items():
            # Without a name, or with a slash in it, this would be another address, with other promises; white space and
            # control characters are taken out of an address on its way.
            if "/" in str(value) or not any(c.isprintable() and c not in "./ " for c in str(value)):
                case.path_parameters[name] = "x"
        tried["API"] += 1
        began, wall = time.process_time(), time.monotonic()
        # Asked for plain: the library reads what comes as it is.
        answer = case.call(headers={"Origin": "http://localhost", "Accept-Encoding": "identity"})
        assert time.process_time() - began < MOST_S
        assert time.monotonic() - wall < HANGS_S
        assert b"Traceback" not in answer.content
        case.validate_response(answer, checks=CHECKS)
        current = place.services.current
        if current is not None and current.phase != "ended":
            place.services.current.finish()
            current.wait(10)

    with caplog.at_level(logging.ERROR):
        ask()
    assert not [r for r in caplog.records if r.exc_info]


def _can_be_wrong(operation):
    return any(True for _ in operation.iter_parameters()) or bool(operation.body)


RAW = [
    b"", b"{", b"[]", b"null", b'"x"', b"\xff", b"[" * 50_000, b'{"a":' * 5_000, b'{"recipe": 1e999}', b"9" * 5_000,
    b'{"role": "\\ud800"}', b'{"recipe": "x", "recipe": "y"}', b"\x00" * 100,
]  # fmt: skip


@pytest.mark.parametrize("endpoint", [e for e in ASKED if e.method != "GET"], ids=lambda e: f"{e.method} {e.path}")
def test_bodies_that_are_none(place, endpoint):
    """Broken JSON, nesting without end, the wrong type: one sentence, of one shape."""
    path = endpoint.path.replace("{id}", place.drive).replace("{sha}", "0" * 64).replace("{number}", "0")
    for name in ("capture", "name", "device", "signal"):
        path = path.replace("{" + name + "}", "x")
    for body in RAW:
        for kind in ("application/json", "text/plain; charset=utf-7") if body else ("application/json", ""):
            tried["API"] += 1
            answer = place.client.open(
                path, method=endpoint.method, data=body, content_type=kind, headers={"Origin": "http://localhost"}
            )  # fmt: skip
            assert answer.status_code != 500, (body[:40], kind)
            if answer.status_code >= 400:
                assert set(answer.get_json()["error"]) >= {"code", "message", "where"}


def test_asking_again_and_again_keeps_nothing(place):
    """Memory after many bad requests is what it was after some."""
    chance = random.Random(1)
    sizes = []
    tracemalloc.start()
    for n in range(1, 451):
        tried["API"] += 1
        junk = "".join(chance.choice("abc/%.{}?&=é") for _ in range(chance.randrange(40)))
        answer = place.client.get(f"/api/{junk}")
        assert answer.status_code < 500
        if n % 150 == 0:
            sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert sizes[-1] - sizes[0] < 300_000
