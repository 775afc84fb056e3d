"""What a phone and a laptop ask of a server, over HTTP, for the benchmark: a drive, a stream, pages, exports."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import threading
from http.client import HTTPConnection, HTTPException
from typing import Any, Self
from urllib.parse import urlsplit

from coach.clock import Clock

LINKED = re.compile(r'(?:href|src)="([^"]+)"')
PATIENCE_S = 60.0


class Client:
    """One caller of the server at `address`; each request is a connection of its own, so threads may share it."""

    def __init__(self, address: str) -> None:
        self.where = urlsplit(address).netloc

    def ask(self, method: str, path: str, body: object | None = None) -> bytes:
        """The answer's body. Raises OSError when it is an error."""
        connection = HTTPConnection(self.where, timeout=PATIENCE_S)
        try:
            sent = None if body is None else json.dumps(body).encode()
            connection.request(method, path, sent, {"Content-Type": "application/json"} if sent else {})
            answer = connection.getresponse()
            text = answer.read()
        finally:
            connection.close()
        if answer.status >= 400:
            raise OSError(f"{method} {path}: {text.decode('utf-8', 'replace')[:300]}")
        return text

    def json(self, method: str, path: str, body: object | None = None) -> Any:
        """The answer's JSON."""
        return json.loads(self.ask(method, path, body))

    def page(self) -> list[str]:
        """Loads the first page; gives the paths of what it names."""
        return ["/" + path for path in LINKED.findall(self.ask("GET", "/").decode()) if ":" not in path]

    def recipe(self, title: str) -> str:
        """The SHA-256 of the recipe with that title."""
        found = self.json("GET", "/api/recipes")["recipes"]
        return next(str(row["sha256"]) for row in found if row["title"] == title)

    def start(self, recipe: str, source: str, speed: float | None) -> str:
        """Starts a drive; gives its id."""
        asked = {"recipe": recipe, "source": source, "speed": speed, "role": "passenger"}
        return str(self.json("POST", "/api/drives", asked)["id"])

    def drive(self, drive: str) -> Any:
        """A drive as it stands in the list."""
        return self.json("GET", f"/api/drives/{drive}")

    def samples(self, drive: str) -> int:
        """How many samples of it are stored."""
        return int(self.drive(drive)["samples"])

    def over(self, clock: Clock, drive: str) -> None:
        """Waits until it has ended. Raises TimeoutError."""
        for _ in range(int(PATIENCE_S / 0.05)):
            if self.drive(drive)["phase"] == "ended":
                return
            clock.wait(threading.Event(), 0.05)
        raise TimeoutError(f"the drive {drive} does not end")


class _Busy:
    """Something that goes on in threads of its own until it is left."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []

    def __exit__(self, *_: object) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join()

    def _begin(self, *work: Any) -> None:
        self._threads = [threading.Thread(target=one, daemon=True) for one in work]
        for thread in self._threads:
            thread.start()


class Listening(_Busy):
    """A page that follows the live stream.

    Attributes:
        lines: that came.
    """

    def __init__(self, client: Client) -> None:
        super().__init__()
        self._connection = HTTPConnection(client.where, timeout=PATIENCE_S)
        self.lines = 0

    def __enter__(self) -> Self:
        self._connection.request("GET", "/api/live")
        self._answer = self._connection.getresponse()
        self._begin(self._listen)
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError, AttributeError):
            self._connection.sock.shutdown(socket.SHUT_RDWR)
        super().__exit__()
        self._connection.close()

    def _listen(self) -> None:
        with contextlib.suppress(OSError, HTTPException, ValueError):
            while not self._over.is_set() and self._answer.readline():
                self.lines += 1


class Loading(_Busy):
    """Pages that are loaded one after the other, and exports of a finished drive.

    Args:
        reports: make reports as well as bundles.

    Attributes:
        files, exports: how many so far.
    """

    def __init__(self, client: Client, drive: str, *, reports: bool = True) -> None:
        super().__init__()
        self._client, self._drive, self._reports = client, drive, reports
        self.files = self.exports = 0

    def __enter__(self) -> Self:
        self._begin(self._pages, self._exports)
        return self

    def _pages(self) -> None:
        while not self._over.is_set():
            for path in [*self._client.page(), "/api/words", "/api/state", "/api/recipes", "/api/drives"]:
                self._client.ask("GET", path)
                self.files += 1

    def _exports(self) -> None:
        while not self._over.is_set():
            made = self._client.json("POST", "/api/bundles", {"drives": [self._drive]})
            self._client.ask("GET", f"/api/bundles/{made['id']}.zip")
            self.exports += 1
            if self._reports and not self._over.is_set():
                self._client.ask("GET", f"/api/drives/{self._drive}/report")
                self.exports += 1
