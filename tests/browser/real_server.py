"""The real app in this process behind a wire that can be cut, go dark or go down, so that tests see both ends."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cheroot.wsgi import Server

from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.server.app import create_app
from coach.server.models import StartDrive
from coach.server.services import MOST_STREAMS, Services
from coach.server.static import Static
from coach.sources.table import read_table
from coach.store import Store
from tests.browser.slow import hold_back
from tests.conftest import PATIENCE_MS

if TYPE_CHECKING:
    from playwright.sync_api import Page


def until(page: Page, script: str, arg: object = None) -> None:
    """Waits until an async function in the page gives something true; waiting in the browser takes a promise for it."""
    end = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < end:
        if page.evaluate(script, arg):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"it never came true: {script}")


class Wire:
    """Forwards connections to a port of this machine.

    Attributes:
        target: where to; None refuses to forward, which a browser sees as a connection that is closed at once.
        dark: whether everything that is sent is lost from now on, with no connection closed: a phone out of reach.
    """

    def __init__(self) -> None:
        self.target: int | None = None
        self.dark = False
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Closes every connection there is; new ones go through."""
        connections, self._open = self._open, []
        for each in connections:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def close(self) -> None:
        """The end of it."""
        self._listener.close()
        self.cut()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self.target is None:
                near.close()
                continue
            try:
                far = socket.create_connection(("127.0.0.1", self.target))
            except OSError:
                near.close()
                continue
            self._open += [near, far]
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65536):
                hold_back()
                if not self.dark:
                    other.sendall(data)
        for each in (one, other):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)


class RealServer:
    """The app on a data folder, reached through `wire`; it can be killed and started anew under the same address.

    Attributes:
        id: of the drive that a test is about.
    """

    def __init__(self, folder: Path, root: Path | None = None) -> None:
        self.folder, self.root = folder, root
        self.id = ""
        self.wire = Wire()
        self.url = f"http://127.0.0.1:{self.wire.port}"
        self.start()

    def start(self) -> None:
        """Starts it; every start has a boot of its own."""
        store = Store(self.folder, Clock())
        self.services = Services.make(store, InPlace(self.folder), Clock(), read_table)
        self.services.recover()
        self._server = Server(("127.0.0.1", 0), create_app(self.services, Static(self.root)), numthreads=24, timeout=6)
        self._server.shutdown_timeout = 0.2
        self._server.prepare()
        self._thread = threading.Thread(target=self._server.serve, daemon=True)
        self._thread.start()
        self.wire.target = self._server.bind_addr[1]

    def kill(self) -> None:
        """Nobody answers any more."""
        self.wire.target = None
        self.wire.cut()
        self.services.close(0.5)
        self._server.stop()
        self._thread.join(5)

    @contextlib.contextmanager
    def away(self) -> Iterator[None]:
        """Out of reach for a while: every connection is closed, and so is every new one."""
        target, self.wire.target = self.wire.target, None
        self.wire.cut()
        try:
            yield
        finally:
            self.wire.target = target

    @contextlib.contextmanager
    def unheard(self) -> Iterator[None]:
        """Out of reach for a while with nobody told: what is sent is lost. In reach again, connections are new ones."""
        self.wire.dark = True
        try:
            yield
        finally:
            self.wire.dark = False
            self.wire.cut()

    def close(self) -> None:
        """Ends everything."""
        self.kill()
        self.wire.close()

    @property
    def streams(self) -> int:
        """How many live streams are open."""
        return MOST_STREAMS - self.services.streams._value

    def drive(self, source: str = "replay:everything-qualifies", speed: float | None = 1.0) -> Any:
        """Starts a drive with the bundled recipe."""
        recipe = self.services.shelf.bundled[0]
        return self.services.start(
            StartDrive(recipe=recipe, source=source, speed=speed, role="passenger", acknowledged=[], vehicle=None)
        )

    def said(self, *, but: frozenset[str] = frozenset({"state"})) -> list[str]:
        """Ids of everything in the ring but states, oldest first."""
        messages = self.services.ring.since(0)
        assert messages is not None, "the ring has lost some; make the test shorter"
        return [f"{self.services.boot}-{m.sequence}" for m in messages if m.kind not in but]
