"""The server with both doors as a whole: started, joined over real https, stopped; and what it costs without."""

import json
import subprocess
import sys
import threading

import pytest

from coach.errors import Conflict, StoreError
from coach.server import run
from coach.server.joining import Lan
from tests.server.doors import ADDRESS, Https, Quiet


class Served:
    """A server in a thread."""

    def __init__(self, folder, **lan):
        self.stop, self.ready, self.joining = threading.Event(), threading.Event(), None
        given = {"port": 0, "data_dir": folder, "stop": self.stop, "on_ready": self._url, "on_lan": self._lan}
        lan = Lan(0, 0, "127.0.0.1", lambda: [ADDRESS], **{"announcer": Quiet(), **lan})
        self.thread = threading.Thread(target=run.serve, kwargs=given | {"lan": lan})
        self.thread.start()
        assert self.ready.wait(60)
        self.https = Https(self.joining.port, self.joining.name, self.joining.certificates.authority.der)

    def _url(self, url):
        self.url = url

    def _lan(self, joining):
        self.joining = joining
        self.ready.set()

    def end(self):
        self.stop.set()
        self.thread.join(60)
        assert not self.thread.is_alive()


@pytest.fixture
def served(tmp_path):
    interval = sys.getswitchinterval()
    made = Served(tmp_path)
    yield made
    made.end()
    sys.setswitchinterval(interval)


def test_a_phone_joins_over_https_and_hears_the_stream_until_it_is_removed(served):
    """The whole way over real sockets, the certificate and its name checked; the open stream ends with the pairing."""
    secret = served.joining.square("operator", "page")[0].partition("#s=")[2]
    kind = {"Content-Type": "application/json"}
    status, headers, body = served.https.ask("POST", "/api/pair", json.dumps({"secret": secret}), kind)
    assert status == 200, body
    cookie = {"Cookie": headers["Set-Cookie"].partition(";")[0]}
    connection = served.https.connect()
    connection.request("GET", "/api/live", headers={"Host": served.https.name, **cookie})
    stream = connection.getresponse()
    assert stream.readline() == b"retry: 1000\n"
    served.joining.devices.remove(json.loads(body)["id"])
    assert b"event: ping" not in stream.read()
    connection.close()
    assert served.https.ask("GET", "/api/state", headers=cookie)[0] == 401


def test_it_ends_with_a_stream_open(served):
    """A phone that listens does not hold up the end."""
    secret = served.joining.square("onlooker", "page")[0].partition("#s=")[2]
    kind = {"Content-Type": "application/json"}
    headers = served.https.ask("POST", "/api/pair", json.dumps({"secret": secret}), kind)[1]
    connection = served.https.connect()
    connection.request(
        "GET", "/api/live", headers={"Host": served.https.name, "Cookie": headers["Set-Cookie"].partition(";")[0]}
    )
    stream = connection.getresponse()
    assert stream.readline()
    served.end()
    connection.close()


def test_the_name_is_looked_after_while_it_runs(monkeypatch, tmp_path, caplog):
    """What cannot be written then is a line in the log, not the end of a drive."""
    called = threading.Event()

    def tick(_self):
        called.set()
        raise StoreError("the disk is full")

    monkeypatch.setattr("coach.server.joining.Joining.tick", tick)
    served = Served(tmp_path)
    assert called.wait(60)
    assert served.https.ask("GET", "/join")[0] == 200
    served.end()
    assert "the certificate was not renewed: the disk is full" in caplog.text


def test_a_port_of_the_network_in_use_leaves_nothing_open(served, tmp_path):
    """Said at once, and the folder is free for the next try."""
    lan = Lan(served.joining.port, 0, "127.0.0.1", list, Quiet())
    with pytest.raises(Conflict, match="in use"):
        run.serve(port=0, data_dir=tmp_path / "other", lan=lan)
    other = Served(tmp_path / "other")
    other.end()


def test_a_server_for_this_machine_alone_loads_nothing_for_the_network():
    """Certificates, announcing, squares and adapters' lists cost memory and time: only `--lan` pays."""
    heavy = [
        "cryptography",
        "zeroconf",
        "segno",
        "ifaddr",
        "coach.server.joining",
        "coach.server.ca",
        "coach.server.tls",
    ]
    code = (
        "import sys, threading, pathlib, tempfile, urllib.request\nfrom coach.server import serve\n"
        "stop = threading.Event()\n"
        "def ready(url):\n    urllib.request.urlopen(url).read()\n    stop.set()\n"
        "with tempfile.TemporaryDirectory() as folder:\n"
        "    serve(port=0, data_dir=pathlib.Path(folder), on_ready=ready, stop=stop)\n"
        f"print(*[name for name in {heavy} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
