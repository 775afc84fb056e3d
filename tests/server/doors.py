"""What the tests of joining share: doors on the loopback address, a phone without a network, one with TLS."""

import json
import socket
import ssl
from http.client import HTTPConnection

from coach.clock import HandClock
from coach.server.joining import Joining, Lan
from coach.server.tls import LanServer

ADDRESS = "192.168.77.5"
PHONE = "192.168.77.20"


class Quiet:
    """Announces nothing; says what it was told to say."""

    def __init__(self, trouble=None):
        self.trouble = trouble
        self.told = []

    def announce(self, name, addresses, port):
        self.told.append((name, list(addresses), port))
        return self.trouble

    def withdraw(self):
        self.told.append("withdrawn")


def open_joining(folder, clock=None, **more):
    """Joining on the loopback address, announcing nothing."""
    lan = Lan(0, 0, "127.0.0.1", **{"addresses": lambda: [ADDRESS], "announcer": Quiet(), **more})
    return Joining.open(folder, clock or HandClock(), lan)


class Phone:
    """A phone at the https door, without sockets."""

    def __init__(self, app, joining, address=PHONE):
        self.client = app.test_client()
        self.joining = joining
        self.address = address
        self.host = f"{joining.name}:{joining.port}"

    def ask(self, method, path, body=None, **headers):
        """One request; `Host` and `Origin` are the page's own unless given (None leaves one out)."""
        given = {"Host": self.host, "Origin": f"https://{self.host}", **headers}
        kind = {} if body is None else {"data": json.dumps(body), "content_type": "application/json"}
        kept = {k: v for k, v in given.items() if v is not None}
        return self.client.open(
            path, method=method, base_url=f"https://{self.host}", headers=kept,
            environ_base={"coach.door": "lan", "REMOTE_ADDR": self.address}, **kind,
        )  # fmt: skip

    def get(self, path, **headers):
        return self.ask("GET", path, **headers)

    def post(self, path, body=None, **headers):
        return self.ask("POST", path, {} if body is None else body, **headers)

    def join(self, role="operator", **body):
        """Scans a new square; gives the answer."""
        secret = self.joining.square(role, "page")[0].partition("#s=")[2]
        return self.post("/api/pair", {"secret": secret, **body})


class Https:
    """A client that trusts one authority and checks the name, over a real connection."""

    def __init__(self, port, name, der):
        self.port, self.name = port, name
        self.context = ssl.create_default_context(cadata=der)

    def connect(self, timeout=20):
        """A connection that has shaken hands."""
        raw = socket.create_connection(("127.0.0.1", self.port), timeout=timeout)
        made = HTTPConnection(self.name, self.port, timeout=timeout)
        made.sock = self.context.wrap_socket(raw, server_hostname=self.name)
        return made

    def ask(self, method, path, body=None, headers=None):
        """Status, headers, body."""
        connection = self.connect()
        try:
            own = {"Host": f"{self.name}:{self.port}", "Origin": f"https://{self.name}:{self.port}"}
            connection.request(method, path, body, {**own, **(headers or {})})
            answer = connection.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            connection.close()


__all__ = ["ADDRESS", "PHONE", "Https", "LanServer", "Phone", "Quiet", "open_joining"]
