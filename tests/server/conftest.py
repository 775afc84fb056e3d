"""Services on a hand clock with a real store, tasks done in place; a client; a real server on a free port."""

import contextlib
import json
import threading
import time
from http.client import HTTPConnection

import pytest

from coach.clock import Clock, HandClock
from coach.drive.tasks import InPlace
from coach.server import Services, create_app
from coach.server.attempts import Attempts
from coach.server.models import StartDrive
from coach.server.run import listen
from coach.server.static import Static
from coach.sources.table import read_table
from coach.store import Store
from tests.server.doors import Phone, open_joining

ORIGIN = {"Origin": "http://localhost"}


@pytest.fixture
def services(tmp_path):
    store = Store(tmp_path / "data", HandClock())
    # The system's clock: a hand clock would let a drive at real speed run to its end at once.
    services = Services.make(store, InPlace(store.folder), Clock(), read_table)
    yield services
    services.close()


@pytest.fixture
def app(services, tmp_path):
    root = tmp_path / "web"
    (root / "js").mkdir(parents=True)
    (root / "index.html").write_text("<!doctype html>" + "<p>words</p>" * 100)
    (root / "js" / "main.js").write_text("export const a = 1;\n")
    (root / "package.json").write_text("{}")
    (root / ".secret.txt").write_text("x")
    (root / "program.exe").write_text("x")
    (tmp_path / "outside.txt").write_text("outside")
    return create_app(services, Static(root))


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture
def recipe(services):
    """SHA-256 of the bundled recipe."""
    return services.shelf.bundled[0]


@pytest.fixture
def drive(services, recipe):
    """A bundled drive, replayed flat out to its end."""

    def run(source="replay:everything-qualifies", speed=None, **more):
        asked = StartDrive(recipe=recipe, source=source, speed=speed, **more)
        made = services.start(asked)
        assert speed is not None or made.wait(60)
        return made

    return run


def wait_for(condition, seconds=60):
    """Waits for something that another thread brings about; tests hold a real server to its promises with it."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came true"
        time.sleep(0.005)


@pytest.fixture(name="wait_for")
def wait_for_fixture():
    return wait_for


class Live:
    """A real server on a free port, and its event streams."""

    def __init__(self, services, app):
        self.services = services
        self.server = listen("127.0.0.1", 0)
        self.server.wsgi_app = app
        self.thread = threading.Thread(target=self.server.serve, daemon=True)
        self.thread.start()
        self.port = self.server.bind_addr[1]
        self.open = []

    def ask(self, method, path, body=None, headers=None):
        """Status, headers and body of one request."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            # A server that has heard enough answers and shuts its ear; the answer is there all the same.
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):
                connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            connection.close()

    def stream(self, last=None):
        """Opens a stream: an iterator of (id, event, data)."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", "/api/live", headers={} if last is None else {"Last-Event-ID": last})
        answer = connection.getresponse()
        assert answer.status == 200, answer.read()
        assert answer.getheader("Content-Type").startswith("text/event-stream")
        self.open.append(connection)
        return parse(answer)

    def stop(self):
        for connection in self.open:
            connection.close()
        self.services.ring.close()
        self.server.stop()
        self.thread.join(60)


def parse(lines):
    """Server-sent events as the standard reads them."""
    event = {}
    for raw in lines:
        line = raw.decode().rstrip("\n")
        if line:
            name, _, value = line.partition(": ")
            event[name] = value
        elif "event" in event:
            yield event.get("id"), event["event"], json.loads(event["data"])
            event = {}
        else:
            event = {}


@pytest.fixture
def live(services, app):
    live = Live(services, app)
    yield live
    live.stop()


@pytest.fixture
def clock():
    return Clock()


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
def lan_app(services, joining):
    return create_app(services, joining=joining)


@pytest.fixture
def phone(lan_app, joining):
    return Phone(lan_app, joining)


@pytest.fixture
def laptop(lan_app):
    return lan_app.test_client()
